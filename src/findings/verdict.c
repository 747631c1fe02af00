#include "findings/verdict.h"

#include <math.h>

double qx_verdict_p(const qx_difference *d)
{
    const double p =
        d->method_small_sample != NULL ? d->p_adjusted_small_sample : d->p_adjusted;
    return d->tests > 1.0 && !isnan(p) ? fmin(1.0, d->tests * p) : p;
}

void qx_verdict_give(qx_difference *d, double alpha)
{
    /* Grades are tested as a whole; a single class differs when its own interval says so. */
    const bool away = d->class_ == NULL || d->lower > 0.0 || d->upper < 0.0;
    const bool differs = qx_verdict_p(d) < alpha && away; /* false for not-a-number */
    const bool inside = !isnan(d->margin) && d->p_equivalence < alpha;
    d->beyond_margin = !isnan(d->margin) && differs && !inside &&
                       (d->lower > d->margin || d->upper < -d->margin);
    if (isnan(qx_verdict_p(d))) {
        d->verdict = QX_CANNOT_TELL; /* no test: a word would be made up */
    } else if (differs && inside) {
        d->verdict = QX_TRIVIAL;
    } else if (differs) {
        d->verdict = d->estimate > 0.0 ? QX_HIGHER : QX_LOWER_VERDICT;
    } else {
        d->verdict = inside ? QX_EQUIVALENT : QX_UNSETTLED;
    }
}

double qx_contrast_p(const qx_contrast_line *line)
{
    return line->df_small_sample > 0.0 ? line->p_small_sample : line->p;
}

double qx_contrast_df(const qx_contrast_line *line)
{
    return line->df_small_sample > 0.0 ? line->df_small_sample : line->df;
}
