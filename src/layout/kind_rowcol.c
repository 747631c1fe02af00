/* layout/kind_rowcol.c - row-column layouts: one unit with treatments in the cells of rows and
 * columns that cross, incomplete in one direction or both; Youden squares and stretched
 * Latin squares among them. */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    return plan->stratum_count == 1 && plan->stratum[0].rule == QX_RULE_ROWCOL;
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    return qx_kind_describe_strata(cx, plan, drawn, "Rows and columns.", out);
}

const qx_layout_kind qx_kind_rowcol = {
    .key = "rowcol",
    .title = "Rows and columns",
    .source =
        "John & Williams 1995, Cyclic and Computer Generated Designs, Chapman & Hall",
    .suits = suits,
    .check = qx_kind_check_strata,
    .build = qx_kind_build_strata,
    .describe = describe};
