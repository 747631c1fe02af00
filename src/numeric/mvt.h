/* numeric/mvt.h - multivariate t: the joint distribution of several comparisons.
 *
 * P( |T_j| <= x for all j ), T multivariate t with correlation matrix and df.
 *
 * one-factor form: correlation rho_ij = b_i b_j (i != j), |b_j| <= 1: Dunnett's comparisons
 *   with a control (b_j = sqrt(n_j/(n_j + n_0))). Exact by Gauss-Legendre / adaptive
 *   quadrature in two dimensions, to 1e-10 or better.
 *   Dunnett 1955, J Am Stat Assoc 50:1096-1121.
 * general form: the distance from the centre exactly, directions by quasi-Monte Carlo with
 *   its error estimate (Deak 1980, Naval Res Logist Q 27:207-218; Genz & Bretz 2009,
 *   Computation of Multivariate Normal and t Probabilities, ch. 4; singular matrices
 *   allowed). Deterministic: fixed lattice and seeded shifts.
 * df may be INFINITY (multivariate normal). */
#ifndef QX_NUMERIC_MVT_H
#define QX_NUMERIC_MVT_H

#include <stdbool.h>

#include "numeric/dense.h"

/* Does the correlation matrix have one-factor form? If so b (length R.rows) is filled. */
QX_API bool qx_mvt_one_factor_of(qx_mat R, double b[]);

/* P(max |T_j| > x) for the one-factor form, m comparisons. */
QX_API qx_status qx_mvt_one_factor_p(
    qx_ctx *cx, size_t m, const double b[], double df, double x, double *p);

/* A family of comparisons made ready: the costly part is done once for all x and df.
 * Lives in `arena`; R (m x m, symmetric, ones on its diagonal) is not kept.
 * QX_E_SHAPE; QX_E_ARG: no correlation matrix; QX_E_NOT_PD. One-factor form: no cost;
 * general form: some 50 ms for m = 10. */
typedef struct qx_mvt_family qx_mvt_family;
QX_API qx_status qx_mvt_family_new(qx_ctx *cx,
                                   qx_arena *arena,
                                   qx_mat R,
                                   qx_mvt_family **out);

/* P(max |T_j| > x); `error`: about 99 % bound, may be NULL. df >= 1 or QX_E_ARG. */
QX_API qx_status qx_mvt_family_p(qx_ctx *cx,
                                 const qx_mvt_family *family,
                                 double df,
                                 double x,
                                 double *p,
                                 double *error);

/* The x with P(max |T_j| > x) = alpha, 0 < alpha < 1. */
QX_API qx_status qx_mvt_family_q(
    qx_ctx *cx, const qx_mvt_family *family, double df, double alpha, double *x);

/* The same for one question. P(max |T_j| > x) for any correlation matrix, by whichever form
 * fits; `error`: about 99 % bound, may be NULL. Errors as above. */
QX_API qx_status
qx_mvt_p(qx_ctx *cx, qx_mat R, double df, double x, double *p, double *error);

/* The x with P(max |T_j| > x) = alpha, by whichever form fits. */
QX_API qx_status qx_mvt_q(qx_ctx *cx, qx_mat R, double df, double alpha, double *x);

#endif
