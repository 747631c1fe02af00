/* layout/kind_crd.c - completely randomised: one unit with treatments, nothing above it (or
 * only units that hold a single one of it). */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    const qx_stratum *s = plan->stratum;
    return plan->stratum_count == 1 && s->group_count == 0 && s->rows == QX_WHOLE_TRIAL &&
           plan->placed[s->unit];
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    return qx_kind_describe_strata(cx, plan, drawn, "Completely randomised.", out);
}

const qx_layout_kind qx_kind_crd = {
    .key = "crd",
    .title = "Completely randomised",
    .source = "Fisher 1935, The Design of Experiments, Oliver & Boyd",
    .suits = suits,
    .check = qx_kind_check_strata,
    .build = qx_kind_build_strata,
    .describe = describe};
