/* layout/kind_split.c - split plots to any depth: treatments on several units of which each
 * lies inside the one before. The larger units are drawn as they would be alone; the
 * smaller ones inside each of the larger. */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    for (size_t i = 1; i < plan->stratum_count; i++) {
        if (!qx_plan_above(plan, plan->stratum[i].unit, plan->stratum[i - 1].unit)) {
            return false;
        }
    }
    return plan->stratum_count > 1;
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    return qx_kind_describe_strata(cx, plan, drawn, "Split plot.", out);
}

const qx_layout_kind qx_kind_split = {.key = "split",
                                      .title = "Split plot",
                                      .source =
                                          "Yates 1935, Suppl J R Stat Soc 2:181-247",
                                      .suits = suits,
                                      .check = qx_kind_check_strata,
                                      .build = qx_kind_build_strata,
                                      .describe = describe};
