/* layout/kind_incomplete.c - incomplete blocks: one unit with treatments inside blocks that
 * cannot hold every combination equally often; any number of levels, block size and
 * replicates. Sets of blocks that hold all (the units tell: block within replicate) stay
 * complete. */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    return plan->stratum_count == 1 && plan->stratum[0].rule == QX_RULE_INCOMPLETE;
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    return qx_kind_describe_strata(cx, plan, drawn, "Incomplete blocks.", out);
}

const qx_layout_kind qx_kind_incomplete = {
    .key = "incomplete",
    .title = "Incomplete blocks",
    .source = "Yates 1936, J Agric Sci 26:424-455; Patterson & Williams 1976, Biometrika "
              "63:83-92",
    .suits = suits,
    .check = qx_kind_check_strata,
    .build = qx_kind_build_strata,
    .describe = describe};
