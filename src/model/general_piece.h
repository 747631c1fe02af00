/* model/general_piece.h - what one symmetric matrix G over the rows of a set (a derivative of
 * V) gives: the products from which traces of P G P H follow. Private to model/.
 *
 *     T = V^-1 G    U = G A    W = V^-1 G A    S = G A phi    v = G Py    x = V^-1 G Py
 *
 *     tr P G P H = sum over sets of tr T_G T_H - 2 tr S_G'W_H, plus tr phi P_G phi P_H */
#ifndef QX_MODEL_GENERAL_PIECE_H
#define QX_MODEL_GENERAL_PIECE_H

#include "model/general.h"

typedef struct qx_piece {
    bool nil;    /* G is nil in this set: nothing below is set but V */
    qx_mat V, T; /* k x k: G, V^-1 G */
    qx_mat U, W; /* k x p */
    qx_mat S;    /* k x p */
    double *v;   /* k */
    double *x;   /* k */
} qx_piece;

size_t qx_set_size(const qx_general *g, size_t s);
qx_mat qx_set_square(const qx_general *g, size_t s, double pool[]);
qx_mat qx_set_rows(const qx_general *g, size_t s, qx_mat a);

/* The products of out->V, which the caller has filled, at an evaluated point. In scratch. */
qx_status qx_piece_fill(
    qx_ctx *cx, const qx_general *g, const qx_general_point *at, size_t s, qx_piece *out);

/* Those of dV/dtheta_i. */
qx_status qx_piece_make(qx_ctx *cx,
                        const qx_general *g,
                        const qx_general_point *at,
                        size_t s,
                        size_t i,
                        qx_piece *out);

/* tr(A B) of square matrices; tr(A'B) of matrices that are laid out whole. */
double qx_trace_of_product(qx_mat A, qx_mat B);
double qx_inner_whole(qx_mat A, qx_mat B);

#endif
