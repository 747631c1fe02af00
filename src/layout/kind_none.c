/* layout/kind_none.c - units without treatments: placed and labelled, nothing is drawn. */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    return plan->stratum_count == 0;
}

static qx_status check(qx_ctx *cx, const qx_plan *plan, qx_complaints *to)
{
    (void)cx;
    (void)plan;
    (void)to;
    return QX_OK;
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    (void)drawn;
    (void)cx;
    (void)plan;
    qx_text_add(out, "No treatments: the units were placed and labelled.");
    return QX_OK;
}

const qx_layout_kind qx_kind_none = {.key = "none",
                                     .title = "No treatments",
                                     .source = "nothing is drawn",
                                     .suits = suits,
                                     .check = check,
                                     .build = qx_kind_build_strata,
                                     .describe = describe};
