/* layout/kind_augmented.c - new levels once in the whole trial, checks in every block, or down the
 * diagonals of rows and columns, so that what is new can be compared across them. */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    return plan->stratum_count == 1 && plan->stratum[0].check != NULL;
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    return qx_kind_describe_strata(cx,
                                   plan,
                                   drawn,
                                   plan->stratum[0].rule == QX_RULE_ROWCOL
                                       ? "Augmented rows and columns."
                                       : "Augmented blocks.",
                                   out);
}

const qx_layout_kind qx_kind_augmented = {
    .key = "augmented",
    .title = "Augmented blocks",
    .source =
        "Federer 1956, Hawaiian Planters' Record 55:191-208; rows and columns: Federer, "
        "Nair & Raghavarao 1975, Biometrics 31:361-373",
    .suits = suits,
    .check = qx_kind_check_strata,
    .build = qx_kind_build_strata,
    .describe = describe};
