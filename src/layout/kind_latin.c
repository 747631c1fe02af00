/* layout/kind_latin.c - Latin square: one unit with treatments in the cells of rows and
 * columns; every combination once in each row and each column. Several squares, each in a
 * group of its own, are drawn one by one. */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    return plan->stratum_count == 1 && plan->stratum[0].rows != QX_WHOLE_TRIAL &&
           plan->stratum[0].rule != QX_RULE_ROWCOL;
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    return qx_kind_describe_strata(cx, plan, drawn, "Latin square.", out);
}

const qx_layout_kind qx_kind_latin = {
    .key = "latin",
    .title = "Latin square",
    .source =
        "Fisher & Yates 1934, Proc Camb Philos Soc 30:492-507; drawn after Jacobson & "
        "Matthews 1996, J Combin Designs 4:405-437",
    .suits = suits,
    .check = qx_kind_check_strata,
    .build = qx_kind_build_strata,
    .describe = describe};
