/* findings/linearised_inner.h - the linear model while its variances are searched. Inner header of
 * linearised.h. */
#ifndef QX_FINDINGS_LINEARISED_INNER_H
#define QX_FINDINGS_LINEARISED_INNER_H

#include "findings/linearised.h"

typedef struct qx_linear_maker {
    qx_ctx *cx;
    const qx_linearised_rows *rows;
    size_t n, p, parts;
    const qx_linearised_part *part;
    qx_linearised_score *score;
    const void *fit; /* for score */
    double variance[QX_LINEARISED_TERMS_MOST];
    qx_mat inverse;                      /* n x n: Sigma^-1 */
    qx_mat W;                            /* n x p: Sigma^-1 X */
    qx_mat C;                            /* p x p */
    qx_mat P;                            /* n x n */
    qx_mat S;                            /* n x n: Sigma, then its factor */
    qx_mat XWX;                          /* p x p: inverse of C, then its factor */
    qx_mat WC;                           /* n x p */
    qx_mat SP[QX_LINEARISED_TERMS_MOST]; /* n x n: S_k P */
} qx_linear_maker;

/* A matrix in scratch, zeroed; all that the maker holds; a number for each unit of any part. */
qx_status qx_linear_room(qx_linear_maker *m, size_t rows, size_t cols, qx_mat *out);
qx_status qx_linear_rooms(qx_linear_maker *m);
qx_status qx_linear_unit_room(qx_linear_maker *m, double **unit);

/* Sigma^-1, Sigma^-1 X, C and P at m->variance; *done false when they cannot be had. */
qx_status qx_linear_solve(qx_linear_maker *m, bool *done);

/* tr(M S_k) for a symmetric M, and S_k M into out; unit: of qx_linear_unit_room. */
double qx_linear_trace(const qx_linear_maker *m, qx_mat M, size_t k);
void qx_linear_times(
    const qx_linear_maker *m, size_t k, qx_mat M, double unit[], qx_mat out);

/* 1/2 tr(P S_k P S_l), with what is known of a spread (fills m->SP). */
qx_status qx_linear_information(qx_linear_maker *m, qx_mat out);

/* Inverse over the parts that `used` names; rows and columns of the others 0. *done false when
 * the information is not positive there. */
qx_status
qx_linear_invert(qx_linear_maker *m, qx_mat I, const bool used[], qx_mat out, bool *done);

/* Covariance of the estimates, I^-1 J I^-1, from qx_linear_information, which is bounded. */
qx_status qx_linear_covariance(qx_linear_maker *m, qx_mat I, qx_mat out, bool *done);

#endif
