/* numeric/chol.h - Cholesky factors of symmetric positive definite matrices (LAPACK).
 * Factor and solve; an inverse is formed only where its entries themselves are wanted. */
#ifndef QX_NUMERIC_CHOL_H
#define QX_NUMERIC_CHOL_H

#include "numeric/dense.h"

/* A (lower triangle read) becomes L with A = LL', upper triangle zeroed. QX_E_NOT_PD
 * without a stored failure message being a surprise: callers decide what it means. */
QX_API qx_status qx_chol_factor(qx_ctx *cx, qx_mat A);
QX_API qx_status qx_chol_solve(qx_ctx *cx, qx_mat L, qx_mat B); /* B = A^-1 B */
QX_API qx_status qx_chol_solve_lower(qx_ctx *cx,
                                     char t,
                                     qx_mat L,
                                     qx_mat B); /* L^-1 B or L'^-1 B */
QX_API qx_status qx_chol_inverse(qx_ctx *cx, qx_mat L, qx_mat out); /* (LL')^-1, full */
QX_API double qx_chol_logdet(qx_mat L);                             /* log |A| */

#endif
