/* numeric/qr.h - Householder QR that keeps the order of the columns, finds aliased ones,
 * and answers what is estimable.
 *
 * Columns are taken from left to right; one that adds less than QX_QR_ALIAS of its own
 * length to those before it is aliased and set aside (as a person reading the model from
 * left to right expects; column pivoting by length would not). */
#ifndef QX_NUMERIC_QR_H
#define QX_NUMERIC_QR_H

#include <stdbool.h>

#include "numeric/dense.h"

/* Relative length below which a column counts as aliased: factor columns are 0/1 and
 * covariates are centred and scaled before, so true aliases stand at 1e-15. */
#define QX_QR_ALIAS 1e-9

typedef struct qx_qr {
    size_t n, p, rank;
    qx_mat
        V; /* n x rank, Householder vectors v: H = I - tau v v'; zero above the pivot */
    double *tau;   /* rank factors */
    qx_mat R;      /* rank x p: R of all columns in terms of the kept ones */
    size_t *kept;  /* rank, ascending column numbers */
    qx_mat B;      /* rank x p: aliased columns in terms of the kept ones; else 0 */
    bool *aliased; /* p */
} qx_qr;

/* Factors a copy of X (n x p); all results in `arena`. QX_E_NUMERIC when a value of X is
 * not finite; QX_E_NOMEM. Cost O(n p^2). */
QX_API qx_status qx_qr_factor(qx_ctx *cx, qx_arena *arena, qx_mat X, qx_qr *out);

QX_API void
qx_qr_apply(const qx_qr *qr, char t, double y[]); /* y = Qy or Q'y, length n */

/* Least squares for y (length n): beta (length p, 0 for aliased columns), effects Q'y
 * (length n) into `effects` if not NULL. */
QX_API qx_status qx_qr_solve(
    qx_ctx *cx, const qx_qr *qr, const double y[], double beta[], double effects[]);

/* Is c'beta (c over all p columns) estimable: is c in the row space of X? */
QX_API bool qx_qr_estimable(const qx_qr *qr, const double c[]);

/* (X'X)^-1 of the kept columns, rank x rank. */
QX_API qx_status qx_qr_inverse_gram(qx_ctx *cx, const qx_qr *qr, qx_mat out);

/* Leverages: the diagonal of the hat matrix, length n. */
QX_API qx_status qx_qr_leverage(qx_ctx *cx, const qx_qr *qr, double out[]);

#endif
