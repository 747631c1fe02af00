/* numeric/variate.h - random numbers of the distributions of counts and shares.
 *
 * Binomial and Poisson by inversion from the mode outwards (one uniform each; some standard
 * deviations of steps), gamma by Marsaglia & Tsang 2000, ACM Trans Math Softw 26:363-372. The
 * same stream gives the same numbers everywhere as far as exp and log agree. */
#ifndef QX_NUMERIC_VARIATE_H
#define QX_NUMERIC_VARIATE_H

#include "numeric/rng.h"

/* k of n with probability p. n >= 0 whole, 0 <= p <= 1; NAN outside. */
QX_API double qx_variate_binomial(qx_rng *rng, double n, double p);

/* mean >= 0 and at most 1e15; NAN outside. */
QX_API double qx_variate_poisson(qx_rng *rng, double mean);

/* Mean `shape` (> 0), variance `shape`; NAN outside. */
QX_API double qx_variate_gamma(qx_rng *rng, double shape);

/* Mean a / (a + b); a, b > 0; NAN outside. */
QX_API double qx_variate_beta(qx_rng *rng, double a, double b);

#endif
