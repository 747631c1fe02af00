/* numeric/mvt_inner.h - the two computations behind mvt.h, each with its own arguments.
 *
 * Internal to numeric/ and its tests. */
#ifndef QX_NUMERIC_MVT_INNER_H
#define QX_NUMERIC_MVT_INNER_H

#include "numeric/dense.h"

/* P(max |T_j| > x) in the one-factor form; all arguments checked by the caller. */
double qx_mvt_factor_tail(size_t m, const double b[], double df, double x);

/* The distribution over directions u of M(u) = max_j |(L u)_j|, where R = LL': one
 * histogram for each random shift, of QX_MVT_BINS + 1 points from 0 to 1. */
#define QX_MVT_SHIFTS 8
#define QX_MVT_BINS   4096
typedef struct qx_mvt_sphere {
    size_t rank;
    qx_mat share; /* (QX_MVT_BINS + 1) x QX_MVT_SHIFTS: columns sum to 1 */
} qx_mvt_sphere;

/* Histograms in `arena`. R is a correlation matrix (checked by the caller); QX_E_NOT_PD
 * when it is not positive semidefinite. */
qx_status qx_mvt_sphere_new(qx_ctx *cx, qx_arena *arena, qx_mat R, qx_mvt_sphere *out);

/* P(max |T_j| > x), x > 0; `error`: about 99 % bound, may be NULL. */
double
qx_mvt_sphere_tail(const qx_mvt_sphere *sphere, double df, double x, double *error);

#endif
