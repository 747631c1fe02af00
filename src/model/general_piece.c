#include "model/general_piece.h"

/* A matrix with at most this share of entries that are not nil is multiplied entry by
 * entry: units and series touch few pairs of rows. */
#define THIN 0.2

size_t qx_set_size(const qx_general *g, size_t s)
{
    return g->start[s + 1] - g->start[s];
}

qx_mat qx_set_square(const qx_general *g, size_t s, double pool[])
{
    return qx_mat_of(pool + g->offset[s], qx_set_size(g, s), qx_set_size(g, s));
}

qx_mat qx_set_rows(const qx_general *g, size_t s, qx_mat a)
{
    return qx_mat_part(a, g->start[s], 0, qx_set_size(g, s), a.cols);
}

/* out = M V, V symmetric: column by column where V is thin. */
static qx_status times(qx_ctx *cx, qx_mat M, qx_mat V, size_t filled, qx_mat out)
{
    const size_t k = V.rows;
    if ((double)filled > THIN * (double)k * (double)k) {
        return qx_mat_multiply(cx, 'n', 'n', 1.0, M, V, 0.0, out);
    }
    qx_mat_zero(out);
    for (size_t c = 0; c < k; c++) {
        for (size_t a = 0; a < k; a++) {
            const double v = QX_AT(V, a, c);
            for (size_t b = 0; v != 0.0 && b < M.rows; b++) {
                QX_AT(out, b, c) += v * QX_AT(M, b, a);
            }
        }
    }
    return QX_OK;
}

static size_t count_filled(qx_mat V)
{
    size_t filled = 0;
    for (size_t i = 0; i < V.rows * V.cols; i++) {
        filled += V.at[i] != 0.0 ? 1 : 0;
    }
    return filled;
}

qx_status qx_piece_fill(
    qx_ctx *cx, const qx_general *g, const qx_general_point *at, size_t s, qx_piece *out)
{
    qx_arena *scratch = qx_ctx_scratch(cx);
    const size_t k = qx_set_size(g, s);
    const qx_mat A = qx_set_rows(g, s, at->A);
    const double *py = at->py + g->start[s];
    const size_t filled = count_filled(out->V);
    out->nil = filled == 0;
    if (out->nil) {
        return QX_OK;
    }
    QX_TRY(qx_mat_new(cx, scratch, k, k, &out->T));
    QX_TRY(qx_mat_new(cx, scratch, k, g->p, &out->U));
    QX_TRY(qx_mat_new(cx, scratch, k, g->p, &out->W));
    QX_TRY(qx_mat_new(cx, scratch, k, g->p, &out->S));
    QX_NEW(cx, out->v, k);
    QX_NEW(cx, out->x, k);
    QX_TRY(times(cx, qx_set_square(g, s, at->square), out->V, filled, out->T));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, out->V, A, 0.0, out->U));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, out->T, A, 0.0, out->W));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, out->U, at->phi, 0.0, out->S));
    qx_mat_vector('n', 1.0, out->V, py, 0.0, out->v);
    qx_mat_vector('n', 1.0, out->T, py, 0.0, out->x);
    return QX_OK;
}

qx_status qx_piece_make(qx_ctx *cx,
                        const qx_general *g,
                        const qx_general_point *at,
                        size_t s,
                        size_t i,
                        qx_piece *out)
{
    const size_t k = qx_set_size(g, s);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, &out->V));
    qx_parts_first(&g->parts, at->theta, i, k, g->row + g->start[s], out->V);
    return qx_piece_fill(cx, g, at, s, out);
}

double qx_trace_of_product(qx_mat A, qx_mat B)
{
    double sum = 0.0;
    for (size_t j = 0; j < A.cols; j++) {
        for (size_t i = 0; i < A.rows; i++) {
            sum += QX_AT(A, i, j) * QX_AT(B, j, i);
        }
    }
    return sum;
}

double qx_inner_whole(qx_mat A, qx_mat B)
{
    return qx_dot(A.rows * A.cols, A.at, B.at);
}
