/* findings/working_parts.h - what the linear models near to a fit (working.h) share. Inner header
 * of working.h. */
#ifndef QX_FINDINGS_WORKING_PARTS_H
#define QX_FINDINGS_WORKING_PARTS_H

#include "findings/linearised.h"
#include "findings/work.h"

/* What a row that tells nothing (of none) has for a variance. */
#define QX_NO_NEWS 1e12

/* Units of the random terms with these variances, in the order of the choice. */
void qx_working_units(const qx_work *w,
                      const double variance[],
                      qx_linearised_part part[]);

/* The deviation of a variance; nil is looked at from beside it. */
double qx_working_deviation(double variance);

/* Derivatives by deviations become those by variances v = sd^2: over 2 sd. */
void qx_working_by_variance(size_t count, const double variance[], double slope[]);

#endif
