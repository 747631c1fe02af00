/* layout/kind_stem.c - limbs or sectors of one tree as units: treatments inside a tree, trees
 * as blocks (complete or not), neighbours around the stem. */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    return plan->stratum_count == 1 && wishes != NULL && wishes->around != NULL &&
           wishes->around[plan->stratum[0].unit];
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    qx_text_printf(out,
                   "Each %s stands around the stem, the last one beside the first. ",
                   plan->spec->unit[plan->stratum[0].unit].name);
    return qx_kind_describe_beneath(cx, plan, drawn, out);
}

const qx_layout_kind qx_kind_stem = {
    .key = "stem",
    .title = "Around the stem",
    .source = "Fisher 1935, The Design of Experiments, Oliver & Boyd",
    .suits = suits,
    .check = qx_kind_check_strata,
    .build = qx_kind_build_strata,
    .describe = describe,
    .adds = true};
