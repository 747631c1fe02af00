/* numeric/sums.h - sums and sums of squares that lose no digit to a large mean.
 *
 * Compensated (Neumaier 1974, ZAMM 54:39-51) sums, and shifts of exact decimals: data are
 * first moved by one of their own values in integer arithmetic, so that 1000000000000.4
 * minus 1000000000000.2 is 0.2 to the last bit (base/decimal.h). */
#ifndef QX_NUMERIC_SUMS_H
#define QX_NUMERIC_SUMS_H

#include <stddef.h>

#include "base/decimal.h"

QX_API double qx_sum(size_t n, const double x[]);
QX_API double qx_mean(size_t n, const double x[]);

/* Sum of squares about the mean, two passes, compensated. */
QX_API double qx_sum_of_squares(size_t n, const double x[]);

/* out[i] = exact[i] - exact[first], rounded once; `shift` = value of exact[first]. When a
 * value is inexact, plain double differences are used for all. n >= 1. */
QX_API void qx_shift_exactly(size_t n,
                             const qx_decimal exact[],
                             const double value[],
                             double out[],
                             double *shift);

#endif
