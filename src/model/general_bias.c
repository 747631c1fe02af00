/* The small-sample corrections of phi under a general covariance: model/general.h. */
#include "model/general_piece.h"

/* What is summed over the sets. G = sum_ij w_ij V_ij. */
typedef struct sums {
    qx_mat out;   /* p x p: sum w_ij Q_ij */
    qx_mat bent;  /* p x p: A'G A = sum w_ij R_ij */
    double *pull; /* m: tr P V_i P G */
} sums;

/* G over the rows of one set. */
static qx_status bend(qx_ctx *cx,
                      const qx_general *g,
                      const qx_general_point *at,
                      size_t s,
                      qx_mat w,
                      qx_mat out)
{
    const size_t k = qx_set_size(g, s);
    qx_mat second;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, &second));
    for (size_t i = 0; i < g->m; i++) {
        for (size_t j = 0; j < g->m; j++) {
            if (!qx_parts_curved(&g->parts, i, j)) {
                continue;
            }
            qx_parts_second(&g->parts, at->theta, i, j, k, g->row + g->start[s], second);
            for (size_t a = 0; a < k * k; a++) {
                out.at[a] += QX_AT(w, i, j) * second.at[a];
            }
        }
    }
    return QX_OK;
}

static qx_status add_set(qx_ctx *cx,
                         const qx_general *g,
                         const qx_general_point *at,
                         size_t s,
                         qx_mat w,
                         sums *sum)
{
    const size_t k = qx_set_size(g, s);
    const qx_mat A = qx_set_rows(g, s, at->A);
    qx_piece *pieces;
    qx_piece bent = {.nil = true};
    QX_NEW(cx, pieces, g->m);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, &bent.V));
    QX_TRY(bend(cx, g, at, s, w, bent.V));
    QX_TRY(qx_piece_fill(cx, g, at, s, &bent));
    if (!bent.nil) {
        QX_TRY(qx_mat_multiply(cx, 't', 'n', 1.0, A, bent.U, 1.0, sum->bent));
    }
    for (size_t i = 0; i < g->m; i++) {
        const qx_piece *one = &pieces[i];
        QX_TRY(qx_piece_make(cx, g, at, s, i, &pieces[i]));
        if (!one->nil && !bent.nil) {
            sum->pull[i] += qx_trace_of_product(one->T, bent.T) -
                            2.0 * qx_inner_whole(one->S, bent.W);
        }
    }
    for (size_t i = 0; i < g->m; i++) {
        for (size_t j = 0; j < g->m; j++) {
            if (!pieces[i].nil && !pieces[j].nil) {
                QX_TRY(qx_mat_multiply(cx,
                                       't',
                                       'n',
                                       QX_AT(w, i, j),
                                       pieces[i].U,
                                       pieces[j].W,
                                       1.0,
                                       sum->out));
            }
        }
    }
    return QX_OK;
}

/* What binds the sets: - sum w_ij P_i phi P_j, and tr phi P_i phi A'G A. */
static qx_status
couple(qx_ctx *cx, const qx_general *g, const qx_general_point *at, qx_mat w, sums *sum)
{
    qx_mat half, bent;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), g->p, g->p, &half));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), g->p, g->p, &bent));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, at->phi, sum->bent, 0.0, bent));
    for (size_t j = 0; j < g->m; j++) {
        QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, at->phi, at->P[j], 0.0, half));
        sum->pull[j] += qx_trace_of_product(half, bent);
        for (size_t i = 0; i < g->m; i++) {
            QX_TRY(qx_mat_multiply(
                cx, 'n', 'n', -QX_AT(w, i, j), at->P[i], half, 1.0, sum->out));
        }
    }
    return QX_OK;
}

static qx_status
correct(qx_ctx *cx, const qx_general *g, const qx_general_point *at, qx_mat w, qx_mat out)
{
    sums sum = {.out = out};
    QX_NEW(cx, sum.pull, g->m);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), g->p, g->p, &sum.bent));
    for (size_t s = 0; s < g->sets; s++) {
        qx_status status;
        QX_SCRATCH(cx, status, add_set(cx, g, at, s, w, &sum));
        QX_TRY(status);
    }
    QX_TRY(couple(cx, g, at, w, &sum));
    for (size_t i = 0; i < g->m; i++) {
        double shift = 0.0; /* -4 times the bias of theta_i */
        for (size_t j = 0; j < g->m; j++) {
            shift += QX_AT(w, i, j) * sum.pull[j];
        }
        for (size_t a = 0; a < g->p * g->p; a++) {
            out.at[a] += 0.125 * shift * at->P[i].at[a];
        }
    }
    for (size_t a = 0; a < g->p * g->p; a++) {
        out.at[a] -= 0.25 * sum.bent.at[a];
    }
    return QX_OK;
}

qx_status qx_general_bias(
    qx_ctx *cx, const qx_general *g, const qx_general_point *at, qx_mat w, qx_mat out)
{
    qx_status status;
    qx_mat_zero(out);
    QX_SCRATCH(cx, status, correct(cx, g, at, w, out));
    return status;
}
