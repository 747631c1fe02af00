/* numeric/dense.h - dense matrices, column-major, and their products.
 *
 * A view borrows its numbers: element (i, j) is at[i + j * ld], ld >= rows. Products go
 * through BLAS with sizes narrowed in one checked place; one BLAS thread (set at the first
 * call), since our own workers use the cores. */
#ifndef QX_NUMERIC_DENSE_H
#define QX_NUMERIC_DENSE_H

#include <stddef.h>

#include "base/ctx.h"

typedef struct qx_mat {
    double *at;
    size_t rows, cols, ld;
} qx_mat;

#define QX_AT(m, i, j) ((m).at[(i) + (j) * (m).ld])

/* rows x cols zeroed in `arena`. QX_E_NOMEM. */
QX_API qx_status
qx_mat_new(qx_ctx *cx, qx_arena *arena, size_t rows, size_t cols, qx_mat *out);
QX_API qx_mat qx_mat_of(double *at, size_t rows, size_t cols); /* view, ld = rows */
QX_API qx_mat qx_mat_part(qx_mat a, size_t row, size_t col, size_t rows, size_t cols);
QX_API void qx_mat_copy(qx_mat to, qx_mat from); /* same sizes (asserted) */
QX_API void qx_mat_zero(qx_mat a);

/* C = alpha op(A) op(B) + beta C; ta, tb: 'n' or 't'. QX_E_SHAPE. */
QX_API qx_status qx_mat_multiply(qx_ctx *cx,
                                 char ta,
                                 char tb,
                                 double alpha,
                                 qx_mat A,
                                 qx_mat B,
                                 double beta,
                                 qx_mat C);

/* C = A'A, both triangles filled. QX_E_SHAPE. */
QX_API qx_status qx_mat_crossprod(qx_ctx *cx, qx_mat A, qx_mat C);

/* y = alpha op(A) x + beta y; lengths follow from A. */
QX_API void
qx_mat_vector(char ta, double alpha, qx_mat A, const double x[], double beta, double y[]);

QX_API double qx_dot(size_t n, const double x[], const double y[]);

/* x'Ax for a symmetric A (both triangles valid). */
QX_API double qx_quadratic(qx_mat A, const double x[]);

/* sum of products of all elements: tr(A'B). Same sizes. */
QX_API double qx_mat_inner(qx_mat A, qx_mat B);

#endif
