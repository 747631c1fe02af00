/* model/graded.h - a profile (model/profile.h) for units of very different size: blocks whose
 * variation is a million times that of the trees in them. Private to model/.
 *
 * rr - b'b and G - B'B lose as many digits as the ratio of the variances has. Nothing is
 * subtracted here. An orthogonal U from the QR of [Z X], terms that vary most first, turns
 * rows into coordinates: d of them hold Z and X, and what is left of r is `rest`, a sum of
 * squares of its own. In these V is graded (large first), and all follows from whitening:
 *
 *     V = I + sum gamma_k Z_k Z_k' = L L'    Z* = L^-1 Z    X* = L^-1 X    y* = L^-1 r
 *     X* = H R*                              E = (I - HH')Z*    f = (I - HH')y*
 *     y'Py = rest + f'f      w = Z'Py = E'f      T = Z'PZ = E'E
 *     log|A| = log|V| + 2 log|R*| - 2 log|R_X|
 *     phi = R*^-1 R*'^-1     N = Z'V^-1 X phi = Z*'H R*'^-1     (over the columns of X)
 *     beta = beta of least squares + R*^-1 H'y*
 *
 * A Cholesky factor is exact relative to the matrix scaled to a unit diagonal (Higham 2002,
 * Accuracy and Stability of Numerical Algorithms, 2nd ed., sec. 10.1), a QR relative to each
 * column, so that what is left to lose is the rounding of the response itself: a ratio of
 * standard deviations of 10^k costs k of 16 digits, not 2k.
 *
 * gamma may be negative as long as V is positive definite. Cost of a point O((q + p)^3), of
 * the making O(n (q + p)^2). */
#ifndef QX_MODEL_GRADED_H
#define QX_MODEL_GRADED_H

#include <stdbool.h>

#include "model/design.h"
#include "model/profile.h"

struct qx_graded {
    size_t rank;    /* of Z */
    size_t d;       /* of [Z X] */
    qx_mat Z;       /* rank x q */
    qx_mat X;       /* d x p */
    double *y;      /* d: of r - X change */
    double *change; /* p: coefficients beside those of least squares, at the start: large
                        units leak into those, and rounding with them */
    double rest;    /* of r: squares outside of [Z X] */
    double *start;  /* m: ratios to begin a search with */
    double log_x;   /* log|R_X| */
};

struct qx_graded_room {
    qx_mat L;   /* rank x rank */
    qx_mat Zs;  /* d x q: H'Z* in the first p rows, E below */
    qx_mat R;   /* p x p: R* */
    double *ys; /* d: H'y* in the first p, f below */
};

/* A profile as qx_profile_again gives it, with its layout's codes and design and r = My. */
typedef struct qx_graded_of {
    const qx_profile *profile;
    const uint32_t *const *code; /* m: n each */
    const qx_design *design;
    double log_x;
    const double *r; /* n */
} qx_graded_of;

/* Is the layout small enough for this? Are ratios so large that the ordinary ways lose more
 * digits than are owed? Both, or the same by what is left of the response at a point. */
bool qx_graded_fits(const qx_profile *f);
bool qx_graded_steep(const qx_profile *f, const double gamma[]);
bool qx_graded_wanted(const qx_profile *f, const qx_profile_point *at);

/* *out: the profile with its graded form, which all functions of model/profile.h then use;
 * a room must be made again. `arena` is not the scratch of cx, which is rewound on the way
 * (QX_E_ARG). QX_E_NOMEM. */
qx_status
qx_graded_make(qx_ctx *cx, qx_arena *arena, const qx_graded_of *of, qx_profile *out);

/* Does nothing but rounding vary inside the smallest units? (r is of size 1.) */
bool qx_graded_exhausted(const qx_profile *f);

qx_status qx_graded_room_make(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_profile *f,
                              struct qx_graded_room **out);

/* log_a and ypy at the gamma of the point; then w and T as well. QX_E_NOT_PD, QX_E_NUMERIC. */
qx_status qx_graded_value(qx_ctx *cx, const qx_profile *f, qx_profile_point *at);
qx_status qx_graded_evaluate(qx_ctx *cx, const qx_profile *f, qx_profile_point *at);

/* At an evaluated point, over the columns of X: phi (p x p) and N (q x p). */
qx_status qx_graded_kernels(
    qx_ctx *cx, const qx_profile *f, const qx_profile_point *at, qx_mat phi, qx_mat N);

/* At an evaluated point: r becomes y - X beta - Z u; change (p) is what is added to the
 * coefficients of least squares. */
qx_status qx_graded_settle(qx_ctx *cx,
                           const qx_graded_of *of,
                           const qx_profile_point *at,
                           double change[],
                           double r[]);

#endif
