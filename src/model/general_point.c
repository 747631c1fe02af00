/* The restricted likelihood of model/general.h and its derivatives at one theta. */
#include <math.h>
#include <string.h>

#include "model/general_piece.h"
#include "numeric/chol.h"

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
    const size_t k = qx_set_size(g, s);
    const qx_mat L = qx_set_square(g, s, at->factor);
    qx_mat W;
    double *w;
    qx_parts_covariance(&g->parts, at->theta, k, g->row + g->start[s], L);
    QX_TRY(qx_chol_factor(cx, L));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, g->p, &W));
    QX_NEW(cx, w, k);
    qx_mat_copy(W, qx_set_rows(g, s, g->Q));
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

/* The block of P over the rows of a set: V^-1 - A phi A'. */
static qx_status projected(
    qx_ctx *cx, const qx_general *g, const qx_general_point *at, size_t s, qx_mat *out)
{
    const size_t k = qx_set_size(g, s);
    const qx_mat A = qx_set_rows(g, s, at->A);
    qx_mat half;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, out));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, g->p, &half));
    qx_mat_copy(*out, qx_set_square(g, s, at->square));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, A, at->phi, 0.0, half));
    return qx_mat_multiply(cx, 'n', 't', -1.0, half, A, 1.0, *out);
}

/* One set on its way through the derivatives. */
typedef struct pass {
    const qx_general *g;
    qx_general_point *at;
    size_t s;
    qx_piece *pieces; /* m */
    qx_mat block;     /* of P over the rows of the set */
} pass;

/* Adds to Hessian and expected Hessian what the pair i, j gives in one set. */
static qx_status add_pair(qx_ctx *cx, const pass *w, size_t i, size_t j)
{
    const size_t k = qx_set_size(w->g, w->s);
    const size_t first = w->g->start[w->s];
    const double *py = w->at->py + first;
    const qx_piece *a = &w->pieces[i];
    const qx_piece *b = &w->pieces[j];
    if (!a->nil && !b->nil) {
        const double norm =
            qx_trace_of_product(a->T, b->T) - 2.0 * qx_inner_whole(a->S, b->W);
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
        QX_AT(w->at->hessian, i, j) +=
            qx_inner_whole(second, w->block) - qx_dot(k, py, v);
    }
    return QX_OK;
}

static qx_status
derive_set(qx_ctx *cx, const qx_general *g, qx_general_point *at, size_t s)
{
    const size_t k = qx_set_size(g, s);
    const qx_mat A = qx_set_rows(g, s, at->A);
    const double *py = at->py + g->start[s];
    pass w = {.g = g, .at = at, .s = s};
    QX_NEW(cx, w.pieces, g->m);
    QX_TRY(projected(cx, g, at, s, &w.block));
    for (size_t i = 0; i < g->m; i++) {
        qx_piece *one = &w.pieces[i];
        QX_TRY(qx_piece_make(cx, g, at, s, i, one));
        if (!one->nil) {
            at->gradient[i] += qx_inner_whole(one->V, w.block) - qx_dot(k, py, one->v);
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
    const qx_mat square = qx_set_square(g, s, at->square);
    const qx_mat A = qx_set_rows(g, s, at->A);
    QX_TRY(qx_chol_inverse(cx, qx_set_square(g, s, at->factor), square));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, square, qx_set_rows(g, s, g->Q), 0.0, A));
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
            const double norm = qx_trace_of_product(between[i], between[j]);
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
