/* model/laplace.h - likelihood of responses that are not normal, with random units:
 * the engine under counts, shares, grades and classes.
 *
 *     eta_ir = x_i' beta_r + sum_k sd_k u_k[code_k(i)]     k: terms that act on predictor r
 *     u ~ N(0, I)
 *     log L  = sum over rows of weight_i l_i(eta_i, psi), u integrated out
 *
 * Each of n rows has d linear predictors (1 for counts, shares and grades; classes - 1 for
 * classes), and the family may have s parameters psi of its own (thresholds, a spread).
 * The caller gives l_i and its derivatives; the engine does the rest.
 *
 *   Laplace:  log L = F(u^) - 1/2 log|H|,  F = sum l - u'u/2,  u^ its maximum for the given
 *             parameters by Newton steps (penalised iteratively reweighted least squares),
 *             H = -F'' at u^. Tierney & Kadane 1986, J Am Stat Assoc 81:82-86; Breslow &
 *             Clayton 1993, ibid. 88:9-25.
 *   Adaptive Gauss-Hermite quadrature (agq.h) instead, where each independent set has one
 *             random column.
 *
 * All parameters (beta, sd, psi) are estimated together, with the exact gradient (which
 * asks for third derivatives of l), by Newton-like steps to full convergence. A standard
 * deviation may come out at zero; log L is even in it, so the optimiser walks through zero
 * without a bound.
 *
 * Parameter vector x (length qx_laplace_length): beta_0 (p), ..., beta_{d-1} (p), sd (m),
 * psi (s), in this order.
 *
 * Random columns fall into sets that never meet (everything of one block, when blocks are
 * random): laplace_inner.h handles each apart, and inside a set the columns of the largest
 * term by their diagonal. A fit with 8 blocks of 4 trees costs microseconds.
 *
 * Not here: families of counts and shares (family.h), models with terms and tests
 * (glmm.h), grades and classes (ordinal.h, multinomial.h). */
#ifndef QX_MODEL_LAPLACE_H
#define QX_MODEL_LAPLACE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/ctx.h"
#include "numeric/dense.h"

#define QX_LAPLACE_PREDICTORS_MOST 29 /* d: thirty classes */
#define QX_LAPLACE_TERMS_MOST      64 /* m */

/* What the row likelihood gives for `count` rows; arrays by row, then as said. Symmetric
 * arrays are filled whole. Row i's part of an array of width w begins at [i * w]. */
typedef struct qx_row_terms {
    double *l; /* count: log-likelihood with all its constants, weight included; -INFINITY
                  where parameters cannot be (thresholds out of order) */
    double *g; /* d: dl/deta_r */
    double *h; /* d d: d2l/deta_r deta_c at [r + c d] */
    double *t; /* d d d: d3l/deta_r deta_c deta_e at [r + c d + e d d] */
    double *lp; /* s: dl/dpsi_j */
    double *gp; /* d s: d2l/deta_r dpsi_j at [r + j d] */
    double *hp; /* d d s: d3l/deta_r deta_c dpsi_j at [r + c d + j d d] */
} qx_row_terms;

typedef enum {
    QX_ROWS_VALUE, /* l */
    QX_ROWS_CURVE, /* l, g, h */
    QX_ROWS_ALL    /* everything (lp, gp, hp only where s > 0) */
} qx_rows_order;

/* The likelihood of rows: `row[j]` (j < count) are row numbers of the problem, eta holds
 * their predictors (d each, row j's at eta[j * d]). Writes only what `order` asks for.
 * No state is kept; may run in several threads at once. */
typedef void qx_row_likelihood(const void *data,
                               size_t count,
                               const size_t row[],
                               const double eta[],
                               const double psi[],
                               qx_rows_order order,
                               const qx_row_terms *out);

typedef struct qx_laplace_random {
    const uint32_t *code; /* n: which unit the row is in */
    size_t level_count;
    size_t predictor; /* the predictor that the effects are added to; below d */
} qx_laplace_random;

/* What is to be fitted. Everything is borrowed and must outlive the plan made from it,
 * except that `likelihood_data` may be given anew at each fit. */
typedef struct qx_laplace_problem {
    size_t n; /* rows; rows that are alike may be joined by the caller */
    size_t p; /* columns of X; may be 0 */
    size_t d; /* predictors; at least 1 */
    size_t s; /* parameters of the family */
    size_t
        even; /* how many of them, the first ones, are spreads in which l is even: they are
                    brought to zero like a standard deviation, and are not negative in the end */
    qx_mat X; /* n x p, the same for all predictors; columns of about unit size and not
                 near collinear are the caller's duty (glmm.c orthogonalises) */
    const double *offset; /* n d added to the predictors (row i's at [i * d]), or NULL */
    size_t random_count;
    const qx_laplace_random *random; /* from large to small units */
    qx_row_likelihood *likelihood;
    size_t quadrature; /* 0 or 1: Laplace; more: points of adaptive Gauss-Hermite
                          quadrature, only with sets of one column (QX_E_ARG) */
    bool
        penalise; /* adds 1/2 log|X'W X|, W = -h at u = 0 (Jeffreys' prior for beta; Firth
                      1993, Biometrika 80:27-38): estimates stay finite under separation */
} qx_laplace_problem;

/* The sets and where everything stands; made once, used by any number of fits, also in
 * several threads at once. */
typedef struct qx_laplace_plan qx_laplace_plan;

/* In `arena`. QX_E_ARG, QX_E_SHAPE, QX_E_NOMEM. */
QX_API qx_status qx_laplace_plan_make(qx_ctx *cx,
                                      qx_arena *arena,
                                      const qx_laplace_problem *problem,
                                      const qx_laplace_plan **out);

/* Length of x: d p + m + s. */
QX_API size_t qx_laplace_length(const qx_laplace_problem *problem);

/* log L and, if `gradient` is not NULL, its gradient (length of x) at x. *value is -INFINITY
 * where it cannot be had. `u` (qx_laplace_columns, in problem order: term by term, level by
 * level) may be NULL; else start of the modes in and modes out. */
QX_API qx_status qx_laplace_evaluate(qx_ctx *cx,
                                     const qx_laplace_plan *plan,
                                     const void *data,
                                     const double x[],
                                     double u[],
                                     double *value,
                                     double gradient[]);

/* Random columns in all: sum of level counts. */
QX_API size_t qx_laplace_columns(const qx_laplace_plan *plan);

typedef struct qx_laplace_options {
    const bool *fixed; /* length of x: parameters that stay where they start; or NULL */
    double precision;  /* stop when half the squared Newton step, in units of log L, is
                          below this; 0: 1e-14 with a last polish */
    size_t iterations; /* at most; 0: 200 */
    bool no_curvature; /* leave out hessian (simulations) */
    double rounding;   /* of log L, where its rows are small differences of large terms
                          (large counts); 0: that of its value */
} qx_laplace_options;

typedef struct qx_laplace_fit {
    double *x;        /* estimates; sd not negative */
    double *gradient; /* at x */
    double value;     /* log L (with the penalty, if there is one) */
    double penalty;   /* the part of `value` that is penalty; 0 without */
    double *u;        /* modes, on the scale N(0, 1): term by term, level by level */
    double *eta;      /* n d, at the modes */
    qx_mat hessian; /* of -log L over x, rows and columns of fixed parameters and of sd at
                         zero are 0; 0 x 0 with no_curvature */
    bool *at_zero;  /* m: sd that came out at zero */
    double rounding; /* as in the options */
    bool converged;
    size_t iterations, evaluations;
} qx_laplace_fit;

/* Maximises log L from `start` (length of x). Everything in `arena`.
 * A missed optimum is in the result. QX_E_NUMERIC: log L is not finite at the start;
 * QX_E_NOMEM, QX_E_CANCELLED. */
QX_API qx_status qx_laplace_maximise(qx_ctx *cx,
                                     qx_arena *arena,
                                     const qx_laplace_plan *plan,
                                     const void *data,
                                     const double start[],
                                     const qx_laplace_options *options,
                                     qx_laplace_fit *out);

/* Covariance of the estimates: the inverse of `hessian` over the parameters that `held`
 * (length of x, or NULL) does not hold; rows and columns of held, fixed and at-zero ones are
 * 0. `out` is length x length. Where the Hessian is not positive definite the directions
 * without curvature are left out and *whole is false (may be NULL). */
QX_API qx_status qx_laplace_covariance(qx_ctx *cx,
                                       const qx_laplace_plan *plan,
                                       const qx_laplace_fit *fit,
                                       const bool held[],
                                       qx_mat out,
                                       bool *whole);

/* Profile-likelihood interval of the standard deviation of term k (0 <= *lower; *upper may
 * be INFINITY) at `level`, and the likelihood ratio against sd_k = 0 with p from the
 * half-and-half mixture of chi-squared 0 and 1 (Self & Liang 1987, J Am Stat Assoc
 * 82:605-610). */
typedef struct qx_laplace_profile {
    double lower, upper; /* of the standard deviation */
    double lrt, p;
} qx_laplace_profile;

QX_API qx_status qx_laplace_profile_sd(qx_ctx *cx,
                                       const qx_laplace_plan *plan,
                                       const void *data,
                                       const qx_laplace_fit *fit,
                                       size_t k,
                                       double level,
                                       qx_laplace_profile *out);

#endif
