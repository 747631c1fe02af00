/* The restricted likelihood of model/general.h and its derivatives at one theta. */
#include <math.h>
#include <string.h>

#include "model/general.h"
#include "numeric/chol.h"

/* A derivative of V with at most this share of entries that are not nil is multiplied
 * entry by entry: units and series touch few pairs of rows. */
#define THIN 0.2

static size_t size_of(const qx_general *g, size_t s)
{
    return g->start[s + 1] - g->start[s];
}

static qx_mat square_of(const qx_general *g, size_t s, double pool[])
{
    return qx_mat_of(pool + g->offset[s], size_of(g, s), size_of(g, s));
}

static qx_mat rows_of(const qx_general *g, size_t s, qx_mat a)
{
    return qx_mat_part(a, g->start[s], 0, size_of(g, s), a.cols);
}

static bool inside(const qx_general *g, const double theta[])
{
    for (size_t i = 0; i < g->m; i++) {
        const qx_part *part = &g->parts.part[i];
        if (!(theta[i] >= part->low && theta[i] <= part->high)) {
            return false;
        }
    }
    return true;
}

/* Factor of V of one set; adds its part of F, e, log|V| and r'V^-1 r. */
static qx_status
add_set(qx_ctx *cx, const qx_general *g, qx_general_point *at, size_t s, double *sum)
{
    const size_t k = size_of(g, s);
    const qx_mat L = square_of(g, s, at->factor);
    qx_mat W;
    double *w;
    qx_parts_covariance(&g->parts, at->theta, k, g->row + g->start[s], L);
    QX_TRY(qx_chol_factor(cx, L));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, g->p, &W));
    QX_NEW(cx, w, k);
    qx_mat_copy(W, rows_of(g, s, g->Q));
    memcpy(w, g->r + g->start[s], k * sizeof *w);
    QX_TRY(qx_chol_solve_lower(cx, 'n', L, W));
    QX_TRY(qx_chol_solve_lower(cx, 'n', L, qx_mat_of(w, k, 1)));
    QX_TRY(qx_mat_multiply(cx, 't', 'n', 1.0, W, W, 1.0, at->F));
    qx_mat_vector('t', 1.0, W, w, 1.0, at->e);
    *sum += qx_chol_logdet(L) + qx_dot(k, w, w);
    return QX_OK;
}

static qx_status value(qx_ctx *cx, const qx_general *g, qx_general_point *at)
{
    double sum = 0.0;
    qx_mat_zero(at->F);
    memset(at->e, 0, g->p * sizeof *at->e);
    for (size_t s = 0; s < g->sets; s++) {
        qx_status status;
        QX_SCRATCH(cx, status, add_set(cx, g, at, s, &sum));
        QX_TRY(status);
    }
    QX_TRY(qx_chol_factor(cx, at->F));
    memcpy(at->d, at->e, g->p * sizeof *at->d);
    QX_TRY(qx_chol_solve(cx, at->F, qx_mat_of(at->d, g->p, 1)));
    at->f = sum + qx_chol_logdet(at->F) - qx_dot(g->p, at->e, at->d);
    return QX_OK;
}

/* A matrix that lost its definiteness is a bad place, not a failure. */
static qx_status pardon(qx_ctx *cx, qx_status status, qx_general_point *at)
{
    if (status == QX_E_NOT_PD || status == QX_E_NUMERIC) {
        qx_ctx_forgive(cx);
        at->f = INFINITY;
        return QX_OK;
    }
    return status;
}

qx_status qx_general_value(qx_ctx *cx,
                           const qx_general *g,
                           const double theta[],
                           qx_general_point *at)
{
    at->f = INFINITY;
    memmove(at->theta, theta, g->m * sizeof *theta);
    if (!inside(g, theta)) {
        return QX_OK;
    }
    QX_TRY(pardon(cx, value(cx, g, at), at));
    if (isnan(at->f)) {
        at->f = INFINITY;
    }
    return QX_OK;
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

/* What one parameter gives in one set. */
typedef struct piece {
    bool nil;    /* the parameter is not met in this set */
    qx_mat V, T; /* k x k: V_i, V^-1 V_i */
    qx_mat U, W; /* k x p: V_i A, V^-1 V_i A */
    qx_mat S;    /* k x p: V_i A phi */
    double *v;   /* k: V_i Py */
    double *x;   /* k: V^-1 V_i Py */
} piece;

static size_t count_filled(qx_mat V)
{
    size_t filled = 0;
    for (size_t i = 0; i < V.rows * V.cols; i++) {
        filled += V.at[i] != 0.0 ? 1 : 0;
    }
    return filled;
}

static qx_status make_piece(qx_ctx *cx,
                            const qx_general *g,
                            const qx_general_point *at,
                            size_t s,
                            size_t i,
                            piece *out)
{
    qx_arena *scratch = qx_ctx_scratch(cx);
    const size_t k = size_of(g, s);
    const qx_mat A = rows_of(g, s, at->A);
    const double *py = at->py + g->start[s];
    QX_TRY(qx_mat_new(cx, scratch, k, k, &out->V));
    qx_parts_first(&g->parts, at->theta, i, k, g->row + g->start[s], out->V);
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
    QX_TRY(times(cx, square_of(g, s, at->square), out->V, filled, out->T));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, out->V, A, 0.0, out->U));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, out->T, A, 0.0, out->W));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, out->U, at->phi, 0.0, out->S));
    qx_mat_vector('n', 1.0, out->V, py, 0.0, out->v);
    qx_mat_vector('n', 1.0, out->T, py, 0.0, out->x);
    return QX_OK;
}

/* tr(A B) of square matrices. */
static double trace_of_product(qx_mat A, qx_mat B)
{
    double sum = 0.0;
    for (size_t j = 0; j < A.cols; j++) {
        for (size_t i = 0; i < A.rows; i++) {
            sum += QX_AT(A, i, j) * QX_AT(B, j, i);
        }
    }
    return sum;
}

/* inner product of matrices that are laid out whole. */
static double inner(qx_mat A, qx_mat B)
{
    return qx_dot(A.rows * A.cols, A.at, B.at);
}

/* The block of P over the rows of a set: V^-1 - A phi A'. */
static qx_status projected(
    qx_ctx *cx, const qx_general *g, const qx_general_point *at, size_t s, qx_mat *out)
{
    const size_t k = size_of(g, s);
    const qx_mat A = rows_of(g, s, at->A);
    qx_mat half;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, out));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, g->p, &half));
    qx_mat_copy(*out, square_of(g, s, at->square));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, A, at->phi, 0.0, half));
    return qx_mat_multiply(cx, 'n', 't', -1.0, half, A, 1.0, *out);
}

/* One set on its way through the derivatives. */
typedef struct pass {
    const qx_general *g;
    qx_general_point *at;
    size_t s;
    piece *pieces; /* m */
    qx_mat block;  /* of P over the rows of the set */
} pass;

/* Adds to Hessian and expected Hessian what the pair i, j gives in one set. */
static qx_status add_pair(qx_ctx *cx, const pass *w, size_t i, size_t j)
{
    const size_t k = size_of(w->g, w->s);
    const size_t first = w->g->start[w->s];
    const double *py = w->at->py + first;
    const piece *a = &w->pieces[i];
    const piece *b = &w->pieces[j];
    if (!a->nil && !b->nil) {
        const double norm = trace_of_product(a->T, b->T) - 2.0 * inner(a->S, b->W);
        QX_AT(w->at->expected, i, j) += norm;
        QX_AT(w->at->hessian, i, j) += 2.0 * qx_dot(k, a->v, b->x) - norm;
    }
    if (qx_parts_curved(&w->g->parts, i, j)) {
        qx_mat second;
        double *v;
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, &second));
        QX_NEW(cx, v, k);
        qx_parts_second(&w->g->parts, w->at->theta, i, j, k, w->g->row + first, second);
        qx_mat_vector('n', 1.0, second, py, 0.0, v);
        QX_AT(w->at->hessian, i, j) += inner(second, w->block) - qx_dot(k, py, v);
    }
    return QX_OK;
}

static qx_status
derive_set(qx_ctx *cx, const qx_general *g, qx_general_point *at, size_t s)
{
    const size_t k = size_of(g, s);
    const qx_mat A = rows_of(g, s, at->A);
    const double *py = at->py + g->start[s];
    pass w = {.g = g, .at = at, .s = s};
    QX_NEW(cx, w.pieces, g->m);
    QX_TRY(projected(cx, g, at, s, &w.block));
    for (size_t i = 0; i < g->m; i++) {
        piece *one = &w.pieces[i];
        QX_TRY(make_piece(cx, g, at, s, i, one));
        if (!one->nil) {
            at->gradient[i] += inner(one->V, w.block) - qx_dot(k, py, one->v);
            QX_TRY(qx_mat_multiply(cx, 't', 'n', 1.0, A, one->U, 1.0, at->P[i]));
            qx_mat_vector('t', 1.0, A, one->v, 1.0, &QX_AT(at->along, 0, i));
        }
        for (size_t j = 0; j <= i; j++) {
            qx_status status;
            QX_SCRATCH(cx, status, add_pair(cx, &w, i, j));
            QX_TRY(status);
        }
    }
    return QX_OK;
}

/* V^-1, A and Py of one set. */
static qx_status
invert_set(qx_ctx *cx, const qx_general *g, qx_general_point *at, size_t s)
{
    const size_t first = g->start[s];
    const qx_mat square = square_of(g, s, at->square);
    const qx_mat A = rows_of(g, s, at->A);
    QX_TRY(qx_chol_inverse(cx, square_of(g, s, at->factor), square));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, square, rows_of(g, s, g->Q), 0.0, A));
    qx_mat_vector('n', 1.0, square, g->r + first, 0.0, at->py + first);
    qx_mat_vector('n', -1.0, A, at->d, 1.0, at->py + first);
    return QX_OK;
}

/* What binds the sets together: the fixed columns. */
static qx_status couple(qx_ctx *cx, const qx_general *g, qx_general_point *at)
{
    qx_mat *between; /* P_i phi */
    double *half;
    QX_NEW(cx, between, g->m);
    QX_NEW(cx, half, g->p);
    for (size_t i = 0; i < g->m; i++) {
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), g->p, g->p, &between[i]));
        QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, at->P[i], at->phi, 0.0, between[i]));
        qx_mat_vector('n', 1.0, at->phi, &QX_AT(at->along, 0, i), 0.0, half);
        for (size_t j = 0; j <= i; j++) {
            const double norm = trace_of_product(between[i], between[j]);
            QX_AT(at->expected, i, j) += norm;
            QX_AT(at->hessian, i, j) -=
                norm + 2.0 * qx_dot(g->p, half, &QX_AT(at->along, 0, j));
            QX_AT(at->expected, j, i) = QX_AT(at->expected, i, j);
            QX_AT(at->hessian, j, i) = QX_AT(at->hessian, i, j);
        }
    }
    return QX_OK;
}

static qx_status derive(qx_ctx *cx, const qx_general *g, qx_general_point *at)
{
    QX_TRY(qx_chol_inverse(cx, at->F, at->phi));
    memset(at->gradient, 0, g->m * sizeof *at->gradient);
    qx_mat_zero(at->hessian);
    qx_mat_zero(at->expected);
    qx_mat_zero(at->along);
    for (size_t i = 0; i < g->m; i++) {
        qx_mat_zero(at->P[i]);
    }
    for (size_t s = 0; s < g->sets; s++) {
        qx_status status;
        QX_SCRATCH(cx, status, invert_set(cx, g, at, s));
        QX_TRY(status);
        QX_SCRATCH(cx, status, derive_set(cx, g, at, s));
        QX_TRY(status);
    }
    qx_status status;
    QX_SCRATCH(cx, status, couple(cx, g, at));
    return status;
}

qx_status qx_general_evaluate(qx_ctx *cx,
                              const qx_general *g,
                              const double theta[],
                              qx_general_point *at)
{
    QX_TRY(qx_general_value(cx, g, theta, at));
    if (!isfinite(at->f)) {
        return QX_OK;
    }
    return pardon(cx, derive(cx, g, at), at);
}

/* sum_ij w_ij (Q_ij - R_ij / 4) of one set, added to out. */
static qx_status bias_set(qx_ctx *cx,
                          const qx_general *g,
                          const qx_general_point *at,
                          size_t s,
                          qx_mat w,
                          qx_mat out)
{
    const size_t k = size_of(g, s);
    const qx_mat A = rows_of(g, s, at->A);
    piece *pieces;
    qx_mat second, half;
    QX_NEW(cx, pieces, g->m);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, &second));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, g->p, &half));
    for (size_t i = 0; i < g->m; i++) {
        QX_TRY(make_piece(cx, g, at, s, i, &pieces[i]));
    }
    for (size_t i = 0; i < g->m; i++) {
        for (size_t j = 0; j < g->m; j++) {
            const double weight = QX_AT(w, i, j);
            if (!pieces[i].nil && !pieces[j].nil) {
                QX_TRY(qx_mat_multiply(
                    cx, 't', 'n', weight, pieces[i].U, pieces[j].W, 1.0, out));
            }
            if (qx_parts_curved(&g->parts, i, j)) {
                qx_parts_second(
                    &g->parts, at->theta, i, j, k, g->row + g->start[s], second);
                QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, second, A, 0.0, half));
                QX_TRY(qx_mat_multiply(cx, 't', 'n', -0.25 * weight, A, half, 1.0, out));
            }
        }
    }
    return QX_OK;
}

static qx_status bias_between(
    qx_ctx *cx, const qx_general *g, const qx_general_point *at, qx_mat w, qx_mat out)
{
    qx_mat half;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), g->p, g->p, &half));
    for (size_t j = 0; j < g->m; j++) {
        QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, at->phi, at->P[j], 0.0, half));
        for (size_t i = 0; i < g->m; i++) {
            QX_TRY(
                qx_mat_multiply(cx, 'n', 'n', -QX_AT(w, i, j), at->P[i], half, 1.0, out));
        }
    }
    return QX_OK;
}

qx_status qx_general_bias(
    qx_ctx *cx, const qx_general *g, const qx_general_point *at, qx_mat w, qx_mat out)
{
    qx_status status;
    qx_mat_zero(out);
    for (size_t s = 0; s < g->sets; s++) {
        QX_SCRATCH(cx, status, bias_set(cx, g, at, s, w, out));
        QX_TRY(status);
    }
    QX_SCRATCH(cx, status, bias_between(cx, g, at, w, out));
    return status;
}
