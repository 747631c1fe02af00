#include "findings/verdict.h"

#include <math.h>

void qx_verdict_give(qx_difference *d, double alpha)
{
    const bool differs = d->p_adjusted < alpha; /* false for not-a-number */
    const bool inside = !isnan(d->margin) && d->p_equivalence < alpha;
    d->beyond_margin = !isnan(d->margin) && differs && !inside &&
                       (d->lower > d->margin || d->upper < -d->margin);
    if (differs && inside) {
        d->verdict = QX_TRIVIAL;
    } else if (differs) {
        d->verdict = d->estimate > 0.0 ? QX_HIGHER : QX_LOWER_VERDICT;
    } else {
        d->verdict = inside ? QX_EQUIVALENT : QX_UNSETTLED;
    }
}
