/* layout/kind_blocks.c - complete blocks: one unit with treatments inside another, which
 * holds every combination equally often (generalised blocks: more than once). */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    const qx_stratum *s = plan->stratum;
    const bool complete = s->rule == QX_RULE_SHUFFLE || s->rule == QX_RULE_NONE;
    return plan->stratum_count == 1 && s->rows == QX_WHOLE_TRIAL && complete &&
           (s->group_count > 0 || !plan->placed[s->unit]);
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    return qx_kind_describe_strata(cx, plan, drawn, "Complete blocks.", out);
}

const qx_layout_kind qx_kind_blocks = {
    .key = "blocks",
    .title = "Complete blocks",
    .source = "Fisher 1935, The Design of Experiments, Oliver & Boyd",
    .suits = suits,
    .check = qx_kind_check_strata,
    .build = qx_kind_build_strata,
    .describe = describe};
