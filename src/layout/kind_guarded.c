/* layout/kind_guarded.c - guards: things beside treated ones that stay untreated, or the edges of
 * treated plots, which are treated and not measured. */
#include "layout/kind.h"

static bool suits(const qx_plan *plan)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    for (size_t u = 0; u < plan->spec->unit_count; u++) {
        if (wishes != NULL && wishes->guards != NULL && wishes->guards[u] > 0) {
            return true;
        }
    }
    return false;
}

static qx_status
describe(qx_ctx *cx, const qx_plan *plan, const qx_drawn *drawn, qx_text *out)
{
    const size_t *guards = plan->spec->wishes->guards;
    for (size_t u = 0; u < plan->spec->unit_count; u++) {
        if (guards[u] > 0) {
            qx_text_printf(
                out,
                qx_plan_treated(plan, u)
                    ? "%zu of %s after each treated one stay untreated as guards. "
                    : "The outer %zu of %s at both ends are guards: treated, not "
                      "measured. ",
                guards[u],
                plan->spec->unit[u].name);
        }
    }
    return qx_kind_describe_beneath(cx, plan, drawn, out);
}

const qx_layout_kind qx_kind_guarded = {
    .key = "guarded",
    .title = "With guards",
    .source = "Federer 1955, Experimental Design, Macmillan, on borders (from memory)",
    .suits = suits,
    .check = qx_kind_check_strata,
    .build = qx_kind_build_strata,
    .describe = describe,
    .adds = true};
