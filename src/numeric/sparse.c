#include "numeric/sparse.h"

/* Triplet numbers in the order of `key`, those of equal key in the order of `from`: one
 * pass of a radix sort. start: keys + 1, where each key begins. */
static void sort_by(size_t count,
                    const uint32_t key[],
                    size_t keys,
                    size_t start[],
                    const uint32_t from[],
                    uint32_t to[])
{
    for (size_t k = 0; k < count; k++) {
        start[key[k] + 1]++;
    }
    for (size_t c = 0; c < keys; c++) {
        start[c + 1] += start[c];
    }
    for (size_t k = 0; k < count; k++) {
        const uint32_t which = from != NULL ? from[k] : (uint32_t)k;
        to[start[key[which]]++] = which;
    }
    for (size_t c = keys; c > 0; c--) {
        start[c] = start[c - 1];
    }
    start[0] = 0;
}

static qx_status
fill(qx_ctx *cx, qx_arena *arena, const qx_triplets *t, uint32_t place[], qx_sparse *s)
{
    const size_t count = t->count;
    const uint32_t *row = t->row, *col = t->col;
    size_t *by_row, *by_col;
    uint32_t *half, *order;
    size_t filled = 0;
    QX_NEW(cx, by_row, s->rows + 1);
    QX_NEW(cx, by_col, s->cols + 1);
    QX_NEW(cx, half, count);
    QX_NEW(cx, order, count);
    sort_by(count, row, s->rows, by_row, NULL, half);
    sort_by(count, col, s->cols, by_col, half, order);
    for (size_t k = 0; k < count; k++) {
        filled += k == 0 || row[order[k]] != row[order[k - 1]] ||
                  col[order[k]] != col[order[k - 1]];
    }
    QX_NEW_IN(cx, arena, s->start, s->cols + 1);
    QX_NEW_IN(cx, arena, s->row, filled);
    QX_NEW_IN(cx, arena, s->value, filled);
    filled = 0;
    for (size_t k = 0; k < count; k++) {
        const uint32_t which = order[k];
        if (k == 0 || row[which] != row[order[k - 1]] ||
            col[which] != col[order[k - 1]]) {
            s->row[filled++] = row[which];
            s->start[col[which] + 1] = filled;
        }
        s->value[filled - 1] += t->value != NULL ? t->value[which] : 0.0;
        if (place != NULL) {
            place[which] = (uint32_t)(filled - 1);
        }
    }
    for (size_t c = 0; c < s->cols; c++) {
        if (s->start[c + 1] < s->start[c]) {
            s->start[c + 1] = s->start[c]; /* an empty column */
        }
    }
    return QX_OK;
}

qx_status qx_sparse_make(qx_ctx *cx,
                         qx_arena *arena,
                         size_t rows,
                         size_t cols,
                         const qx_triplets *t,
                         uint32_t place[],
                         qx_sparse *out)
{
    qx_sparse s = {.rows = rows, .cols = cols};
    qx_status status;
    if (t->count >= UINT32_MAX) {
        return qx_fail(cx, QX_E_SHAPE, "%zu entries are too many for a matrix", t->count);
    }
    for (size_t k = 0; k < t->count; k++) {
        if (t->row[k] >= rows || t->col[k] >= cols) {
            return qx_fail(cx,
                           QX_E_SHAPE,
                           "entry %zu stands outside a matrix of %zu by %zu",
                           k,
                           rows,
                           cols);
        }
    }
    QX_SCRATCH(cx, status, fill(cx, arena, t, place, &s));
    QX_TRY(status);
    *out = s;
    return QX_OK;
}

void qx_sparse_symmetric_multiply(
    const qx_sparse *of, const double value[], double alpha, qx_mat X, qx_mat Y)
{
    for (size_t c = 0; c < X.cols; c++) {
        const double *x = &QX_AT(X, 0, c);
        double *y = &QX_AT(Y, 0, c);
        for (size_t j = 0; j < of->cols; j++) {
            const double xj = alpha * x[j];
            double sum = 0.0;
            for (size_t e = of->start[j]; e < of->start[j + 1]; e++) {
                const size_t i = of->row[e];
                if (i == j) {
                    y[j] += value[e] * xj;
                } else {
                    y[i] += value[e] * xj;
                    sum += value[e] * x[i];
                }
            }
            y[j] += alpha * sum;
        }
    }
}
