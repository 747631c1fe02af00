/* layout/kind_blocks.c - complete blocks: one unit with treatments inside another, which
 * holds every combination equally often (generalised blocks: more than once). */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    const qx_stratum *s = plan->stratum;
    return plan->stratum_count == 1 && s->rows == QX_WHOLE_TRIAL &&
           (s->group_count > 0 || !plan->placed[s->unit]);
}

static qx_status describe(qx_ctx *cx, const qx_plan *plan, qx_text *out)
{
    qx_text_add(out, "Complete blocks. ");
    return qx_kind_describe_stratum(cx, plan, plan->stratum, out);
}

const qx_layout_kind qx_kind_blocks = {
    .key = "blocks",
    .title = "Complete blocks",
    .source = "Fisher 1935, The Design of Experiments, Oliver & Boyd",
    .suits = suits,
    .check = qx_kind_check_strata,
    .build = qx_kind_build_strata,
    .describe = describe};
