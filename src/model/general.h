/* model/general.h - the restricted likelihood of any covariance V(theta) of
 * model/covariance.h, with exact derivatives.
 *
 * Rows that share no unit, series or field do not covary: V falls into blocks, one for each
 * set of rows that hang together. With X = QR, r = My (M = I - QQ'), all sums over sets,
 *
 *     A = V^-1 Q    F = Q'A    phi = F^-1    d = phi A'r    Py = V^-1 r - A d
 *
 *     f(theta)  = log|V| + log|F| + r'Pr        (-2 log restricted likelihood, less its
 *                                                constants and 2 log|R|)
 *     df/di     = tr P V_i - y'P V_i P y
 *     d2f/di dj = tr P V_ij - tr P V_i P V_j + 2 y'P V_i P V_j P y - y'P V_ij P y
 *     expected    tr P V_i P V_j = I_ij, of which
 *                 tr V^-1 V_i V^-1 V_j - 2 tr phi Q_ij + tr phi P_i phi P_j
 *     P_i = A'V_i A    Q_ij = A'V_i V^-1 V_j A    R_ij = A'V_ij A
 *
 * P_i is the derivative of F with its sign turned, so that dphi/di = phi P_i phi. Cost: the
 * cube of each set for each parameter.
 *
 * Source: Patterson & Thompson 1971, Biometrika 58:545-554; Harville 1977, J Am Stat Assoc
 * 72:320-338. */
#ifndef QX_MODEL_GENERAL_H
#define QX_MODEL_GENERAL_H

#include "model/descend.h"
#include "model/parts.h"

/* Rows of one set beyond which the cube of their number is not paid. */
#define QX_GENERAL_ROWS_MOST 2500

typedef struct qx_general {
    qx_parts parts;
    size_t n, p, m;       /* rows, columns, parameters */
    size_t sets, largest; /* sets of rows, rows of the largest */
    const size_t *start;  /* sets + 1: places of set s are start[s] ... start[s+1] - 1 */
    const size_t *row;    /* n: row at each place */
    const size_t *offset; /* sets + 1: where the square of a set begins in a pool */
    qx_mat Q;             /* n x p, rows by place */
    const double *r;      /* n by place */
} qx_general;

/* Everything at one theta; room is made once and reused. */
typedef struct qx_general_point {
    double *theta;           /* m */
    double f;                /* of the header */
    double *factor, *square; /* pools: Cholesky factor of V, and V^-1 */
    qx_mat A;                /* n x p by place */
    qx_mat F, phi;           /* p x p; F holds its factor */
    double *e, *d;           /* p */
    double *py;              /* n by place */
    double *gradient;        /* m */
    qx_mat hessian;          /* m x m */
    qx_mat expected;         /* m x m: tr P V_i P V_j */
    qx_mat *P;               /* m: p x p */
    qx_mat along;            /* p x m: A'V_i Py */
} qx_general_point;

/* Sets of rows. parts (copied), Q (n x p, orthonormal columns of X) and r = My by row.
 * QX_E_INPUT: more than QX_GENERAL_ROWS_MOST rows hang together. */
qx_status qx_general_make(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_parts *parts,
                          qx_mat Q,
                          const double r[],
                          qx_general *out);

qx_status qx_general_room(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_general *general,
                          qx_general_point *out);

/* f alone; INFINITY where theta is out of its bounds or V not positive definite. */
qx_status qx_general_value(qx_ctx *cx,
                           const qx_general *g,
                           const double theta[],
                           qx_general_point *at);

/* All of the point; f INFINITY as above, then the rest is not set. */
qx_status qx_general_evaluate(qx_ctx *cx,
                              const qx_general *g,
                              const double theta[],
                              qx_general_point *at);

/* What stands between phi and phi in the small-sample correction of the covariance of beta
 * (phi_A = phi + 2 phi { } phi), p x p, at an evaluated point; w (m x m) the covariance of
 * theta:
 *
 *     sum_ij w_ij (Q_ij - P_i phi P_j - R_ij / 4) - 1/2 sum_i b_i P_i
 *     b_i = -1/4 sum_jkl w_ij w_kl tr P V_j P V_kl
 *
 * The first sum is Kenward & Roger 1997, Biometrics 53:983-997, who take the estimates of
 * theta as unbiased. Where V bends in theta they are not: b is their bias of first order
 * (from Cox & Snell 1968, J R Stat Soc B 30:248-275; nil for variances), and without it a
 * stratum variance that is estimated well seems estimated badly (tests/long/
 * test_general_rates.c: 15 % errors at 5 %). With it the result does not depend on how theta
 * is chosen, as in Kenward & Roger 2009, Comput Stat Data Anal 53:2583-2595. */
qx_status qx_general_bias(
    qx_ctx *cx, const qx_general *g, const qx_general_point *at, qx_mat w, qx_mat out);

/* Least f over theta, from the theta that is handed in (inside its bounds); `fixed` (m, or
 * NULL) stays. The point holds what was evaluated last. loose, gradient (m, over theta, or
 * NULL): model/descend.h. */
qx_status qx_general_descend(qx_ctx *cx,
                             const qx_general *g,
                             qx_general_point *room,
                             const bool fixed[],
                             bool loose,
                             double theta[],
                             double gradient[],
                             qx_descent_end *out);

#endif
