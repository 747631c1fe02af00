/* layout/kind_strip.c - strips that cross: treatments on units of which some lie beside each
 * other and cross (strip and cross strip of a block), each drawn by itself inside the block;
 * units in the cells may carry further treatments. */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    return plan->stratum_count > 1;
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    return qx_kind_describe_strata(cx, plan, drawn, "Strips.", out);
}

const qx_layout_kind qx_kind_strip = {.key = "strip",
                                      .title = "Strips that cross",
                                      .source =
                                          "Yates 1935, Suppl J R Stat Soc 2:181-247",
                                      .suits = suits,
                                      .check = qx_kind_check_strata,
                                      .build = qx_kind_build_strata,
                                      .describe = describe};
