/* model/profile.h - the restricted likelihood of variance ratios, with exact derivatives.
 *
 * y = X beta + sum Z_i u_i + e,  V = sigma2 (I + Z Gamma Z'),  Gamma = diag(gamma_i >= 0).
 * With X = QR (thin), M = I - QQ', r = My and, formed once,
 *
 *     G = Z'MZ (q x q)    C = Z'Q (q x p)    z = Z'r (q)    rr = r'r
 *
 * everything at gamma costs O(q^3) and nothing depends on n:
 *
 *     A    = I + L G L = KK',  L = Gamma^(1/2)
 *     B    = K^-1 L G,  b = K^-1 L z
 *     T    = Z'PZ  = G - B'B,   w = Z'Py = z - B'b,   y'Py = rr - b'b
 *     u    = L K'^-1 b           predicted random effects (BLUP)
 *
 * (P for V/sigma2: Woodbury's identity on the space orthogonal to X, so that log|A| is
 * log|V| + log|X'V^-1X| - log|X'X|.) The profiled criterion, free of constants,
 *
 *     f(gamma) = (n - p) log y'Py + log|A|
 *     df/dgamma_i  = tr T_ii - (n - p) w_i'w_i / y'Py
 *     d2f/dgamma_i dgamma_j = -|T_ij|^2 + (n - p) (2 w_i'T_ij w_j / y'Py
 *                                                  - w_i'w_i w_j'w_j / (y'Py)^2)
 *     expected:    |T_ij|^2 - tr T_ii tr T_jj / (n - p)         (|.|^2: sum of squares)
 *
 * Where the columns of Z fall into sets that never meet, G is not formed and the same
 * numbers come from model/blocks.h at the cost of the sets alone. For large data they come
 * from model/reduced.h, for units of very different size from model/graded.h.
 *
 * Source: Bates et al. 2015, J Stat Softw 67(1):1-48 (criterion); Patterson & Thompson
 * 1971, Biometrika 58:545-554 and Harville 1977, J Am Stat Assoc 72:320-338 (P and the
 * derivatives); the projected form is derived in docs/methods/mixed-models.md. */
#ifndef QX_MODEL_PROFILE_H
#define QX_MODEL_PROFILE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/ctx.h"
#include "numeric/dense.h"

typedef struct qx_profile {
    size_t n, p, m, q;   /* m random terms with q columns in all */
    const size_t *start; /* m + 1: columns of term i are start[i] ... start[i+1] - 1 */
    qx_mat G, C;         /* q x q (not with blocks); q x p */
    const double *z;     /* q */
    double rr;
    const struct qx_blocks
        *blocks; /* sets of columns that never meet; NULL: one matrix */
    /* Strata, where the layout has them (model/spectral.h); else NULL: */
    const struct qx_spectral *spectral;
    const double *t;  /* of the response */
    const double *ss; /* sums of squares by strata */
    double rest;
    /* Large and sparse (model/reduced.h), else NULL; then G, C and z are not there: */
    const struct qx_reduced *reduced;
    const struct qx_nest_data *data; /* of the response */
    /* Units of very different size (model/graded.h), else NULL; goes before the others: */
    const struct qx_graded *graded;
} qx_profile;

/* Everything at one gamma; room is made once and reused. */
typedef struct qx_profile_point {
    double *gamma;  /* m */
    double *lambda; /* q: root of each column's gamma */
    qx_mat K, B, T; /* q x q each; not with blocks */
    double *b;      /* q; not with blocks */
    double *w;      /* q */
    struct qx_blocks_room *blocks;
    struct qx_reduced_room *reduced; /* then lambda, w, K, B, T, b are not there */
    struct qx_graded_room *graded;   /* then K, B, b are not there */
    bool average; /* norm holds the average information (model/reduced.h) */
    double ypy, log_a;
    double *trace;   /* m: tr T_ii */
    double *square;  /* m: w_i'w_i */
    qx_mat norm;     /* m x m: |T_ij|^2 */
    qx_mat bilinear; /* m x m: w_i'T_ij w_j */
} qx_profile_point;

/* Cross-products of m factors with `levels[i]` levels and n codes each, an n x p matrix Q
 * with orthonormal columns and r = My. In `arena`. Cost O(n m (m + p) + q^2 p).
 * QX_E_INPUT: more columns than one matrix can hold. */
qx_status qx_profile_make(qx_ctx *cx,
                          qx_arena *arena,
                          size_t m,
                          const size_t levels[],
                          const uint32_t *const code[],
                          qx_mat Q,
                          const double r[],
                          qx_profile *out);

/* The same by sets of columns, even where one matrix would be quicker (for tests). */
qx_status qx_profile_make_blocks(qx_ctx *cx,
                                 qx_arena *arena,
                                 size_t m,
                                 const size_t levels[],
                                 const uint32_t *const code[],
                                 qx_mat Q,
                                 const double r[],
                                 qx_profile *out);

/* The same profile for another response r = My: everything but z and rr is borrowed from
 * `made`. Cost O(n m). */
qx_status qx_profile_again(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_profile *made,
                           const uint32_t *const code[],
                           const double r[],
                           qx_profile *out);

qx_status qx_profile_room(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_profile *profile,
                          qx_profile_point *out);

/* Room for the sums of a point alone (model/spectral.h). */
qx_status qx_profile_sums_room(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_profile *profile,
                               qx_profile_point *out);

/* Room for qx_profile_value and qx_profile_summary alone: without matrices where the layout
 * has strata. */
qx_status qx_profile_search_room(qx_ctx *cx,
                                 qx_arena *arena,
                                 const qx_profile *profile,
                                 qx_profile_point *out);

/* log_a and ypy alone. QX_E_NUMERIC when gamma is not finite. */
qx_status qx_profile_value(qx_ctx *cx,
                           const qx_profile *f,
                           const double gamma[],
                           qx_profile_point *at);

/* All of the point. */
qx_status qx_profile_evaluate(qx_ctx *cx,
                              const qx_profile *f,
                              const double gamma[],
                              qx_profile_point *at);

/* All of the point of a graded profile; ratios may be negative. *definite: is V, and are all
 * of them numbers? */
qx_status qx_profile_open(qx_ctx *cx,
                          const qx_profile *f,
                          const double gamma[],
                          qx_profile_point *at,
                          bool *definite);

/* log_a, ypy, trace, square, norm and bilinear: all that criterion and derivatives need.
 * By strata where the layout has them. Errors as for qx_profile_value. */
qx_status qx_profile_summary(qx_ctx *cx,
                             const qx_profile *f,
                             const double gamma[],
                             qx_profile_point *at);

/* Is a ratio of term k so near to nil that no number of the fit shows it? */
bool qx_profile_is_nil(const qx_profile *f, size_t k, double gamma);

/* f of the header; INFINITY when y'Py is not above zero. */
double qx_profile_criterion(const qx_profile *f, const qx_profile_point *at);

/* Gradient (m), Hessian and expected Hessian (m x m each) of f at an evaluated point. */
void qx_profile_derivatives(const qx_profile *f,
                            const qx_profile_point *at,
                            double gradient[],
                            qx_mat hessian,
                            qx_mat expected);

/* u = predicted random effects (q), at an evaluated point. */
qx_status qx_profile_random(qx_ctx *cx,
                            const qx_profile *f,
                            const qx_profile_point *at,
                            double u[]);

#endif
