#include "findings/working_parts.h"

#include <math.h>

/* A deviation of nil says nothing by its slope: it is looked at from here. */
#define BESIDE_NIL 0.02

void qx_working_units(const qx_work *w,
                      const double variance[],
                      qx_linearised_part part[])
{
    for (size_t k = 0; k < w->choice.random_count; k++) {
        const qx_factor *f = &w->data.frame.factor[w->choice.random[k].factor];
        part[k] = (qx_linearised_part){.variance = variance[k],
                                       .code = f->code,
                                       .count = f->level_count,
                                       .known = 1.0};
    }
}

double qx_working_deviation(double variance)
{
    return sqrt(fmax(variance, BESIDE_NIL * BESIDE_NIL));
}

void qx_working_by_variance(size_t count, const double variance[], double slope[])
{
    for (size_t k = 0; k < count; k++) {
        slope[k] /= 2.0 * qx_working_deviation(variance[k]);
    }
}
