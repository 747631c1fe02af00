/* What is asked of the units of a plan: above, treated, how many in one. */
#include "layout/plan.h"

size_t qx_times(size_t a, size_t b)
{
    if (a != 0 && b > SIZE_MAX / a) {
        return SIZE_MAX;
    }
    return a * b;
}

bool qx_plan_above(const qx_plan *plan, size_t u, size_t a)
{
    return plan->above[u * plan->spec->unit_count + a];
}

bool qx_plan_treated(const qx_plan *plan, size_t unit)
{
    for (size_t t = 0; t < plan->spec->treatment_count; t++) {
        if (plan->spec->treatment[t].on == unit) {
            return true;
        }
    }
    return false;
}

size_t qx_plan_held(const qx_plan *plan, size_t u, size_t g)
{
    return g == QX_WHOLE_TRIAL ? plan->total[u] : plan->total[u] / plan->total[g];
}

size_t qx_plan_path(const qx_plan *plan, size_t u, size_t out[])
{
    size_t n = 0;
    for (size_t i = 0; i < plan->spec->unit_count; i++) {
        if (qx_plan_above(plan, u, plan->order[i])) {
            out[n++] = plan->order[i];
        }
    }
    return n;
}
