/* model/looks.h - several looks at the data of one trial, and what each may cost.
 *
 * A trial is looked at when shares 0 < t_1 < ... < t_K of its information are in. The
 * statistics z_k at the looks are jointly normal with covariance sqrt(t_j / t_k), j <= k.
 * The level that may be spent up to share t is, two-sided,
 *
 *     a(t) = 4 (1 - Phi(z / sqrt t)),  z = upper alpha/4 point of the normal
 *
 * (little at first, a(1) = alpha; Lan & DeMets 1983, Biometrika 70:659-663, their first
 * function, made for O'Brien & Fleming 1979, Biometrics 35:549-556). The limit c_k is such
 * that P(|z_k| >= c_k, |z_j| < c_j for all j < k) = a(t_k) - a(t_k-1): by recursion over the
 * density of what has not stopped (Armitage, McPherson & Rowe 1969, J R Stat Soc A
 * 132:235-244; Jennison & Turnbull 2000, Group Sequential Methods, ch. 19). For t tests the
 * nominal level 2 (1 - Phi(c_k)) is compared with the p value.
 *
 * The same recursion gives the error rate of looks that nobody declared: testing at 5 % and,
 * if it falls short, again with more replicates, is a test at more than 5 %. */
#ifndef QX_MODEL_LOOKS_H
#define QX_MODEL_LOOKS_H

#include <stdint.h>

#include "base/ctx.h"

#define QX_LOOKS_MOST 20

typedef struct qx_look {
    double share;   /* of the information, 0 < share <= 1 */
    double spent;   /* level spent up to here */
    double limit;   /* of |z|; INFINITY where nothing may be spent */
    double nominal; /* two-sided level at this look */
} qx_look;

/* a(t): two-sided level spent up to share t; 0 for t <= 0, alpha for t >= 1. */
QX_API double qx_looks_spent(double share, double alpha);

/* Limits at looks with these shares (rising; the last need not be 1). out: count.
 * QX_E_ARG: no looks or too many, shares not rising inside (0, 1], alpha outside (0, 1). */
QX_API qx_status qx_looks_limits(
    qx_ctx *cx, size_t count, const double share[], double alpha, qx_look out[]);

/* Probability that at least one of `count` looks calls out, when each tests at its nominal
 * two-sided level (0 < level < 1) and nothing is there. Errors as above. */
QX_API qx_status qx_looks_error(qx_ctx *cx,
                                size_t count,
                                const double share[],
                                const double nominal[],
                                double *error);

/* Probability of calling out up to the last look when the drift at full information is
 * `drift` (expected z at share 1). */
QX_API qx_status qx_looks_power(qx_ctx *cx,
                                size_t count,
                                const double share[],
                                const double nominal[],
                                double drift,
                                double *power);

/* The same for t tests whose variance is estimated: df[k] degrees of freedom at look k, not
 * falling. By simulation of `trials` trials from the seed: z grows by independent steps, the
 * estimate of the variance by independent chi-squares. Monte Carlo error: sqrt(e (1 - e) /
 * trials). Errors as above. */
QX_API qx_status qx_looks_error_of_t(qx_ctx *cx,
                                     size_t count,
                                     const double share[],
                                     const double df[],
                                     const double nominal[],
                                     size_t trials,
                                     uint64_t seed,
                                     double *error);

#endif
