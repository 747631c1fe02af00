/* numeric/sparse.h - sparse matrices by compressed columns.
 *
 * Column j holds the entries start[j] ... start[j + 1] - 1: their rows, ascending and each
 * once, and their values. A symmetric matrix is kept by its lower triangle (row >= column);
 * functions say so when they read it that way.
 *
 * Not here: factors (numeric/spchol.h). */
#ifndef QX_NUMERIC_SPARSE_H
#define QX_NUMERIC_SPARSE_H

#include <stdint.h>

#include "numeric/dense.h"

typedef struct qx_sparse {
    size_t rows, cols;
    size_t *start; /* cols + 1 */
    size_t *row;   /* start[cols] */
    double *value; /* start[cols] */
} qx_sparse;

/* Entries one by one: (row[k], col[k]) gains value[k], k < count. value NULL: zeros, the
 * pattern alone. */
typedef struct qx_triplets {
    size_t count;
    const uint32_t *row, *col;
    const double *value;
} qx_triplets;

/* The matrix of these entries, in `arena`; those named more than once are added up. place
 * (count, may be NULL) tells where entry k went, so that new values may be added without
 * looking.
 * QX_E_SHAPE (an entry outside), QX_E_NOMEM. Cost O(count + rows + cols). */
QX_API qx_status qx_sparse_make(qx_ctx *cx,
                                qx_arena *arena,
                                size_t rows,
                                size_t cols,
                                const qx_triplets *t,
                                uint32_t place[],
                                qx_sparse *out);

/* Y += alpha S X for a symmetric S kept by its lower triangle with the pattern of `of` and
 * the values `value`; X and Y have as many rows as S. */
QX_API void qx_sparse_symmetric_multiply(
    const qx_sparse *of, const double value[], double alpha, qx_mat X, qx_mat Y);

#endif
