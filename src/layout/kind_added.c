/* layout/kind_added.c - factorial with an added control: one combination whose levels go
 * with no other, beside all combinations of the other levels. */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    for (size_t s = 0; s < plan->stratum_count; s++) {
        if (plan->stratum[s].cell != NULL) {
            return true;
        }
    }
    return false;
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    qx_text_add(out, "Factorial with an added control, which is crossed with nothing. ");
    return qx_kind_describe_beneath(cx, plan, drawn, out);
}

const qx_layout_kind qx_kind_added = {
    .key = "added",
    .title = "Factorial with an added control",
    .source = "Yates 1937, The Design and Analysis of Factorial Experiments, Imperial "
              "Bureau of Soil Science 35",
    .suits = suits,
    .check = qx_kind_check_strata,
    .build = qx_kind_build_strata,
    .describe = describe,
    .adds = true};
