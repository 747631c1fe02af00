/* model/laplace_penalty.c - Jeffreys' prior of the fixed part, 1/2 log|I(beta)|, with
 * I = sum W_i (x) x_i x_i' at random effects of zero, and its slopes
 *
 *     d/deta_i[e] = -1/2 S_i . t_i[., ., e],   S_i[r, c] = x_i' (I^-1)_rc x_i
 *
 * Firth 1993, Biometrika 80:27-38. */
#include <math.h>
#include <string.h>

#include "model/laplace_inner.h"
#include "numeric/chol.h"

/* Adds the rows of one set to I (lower blocks r >= c whole). */
static void
add_information(const qx_laplace_room *room, const qx_laplace_set *set, qx_mat I)
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t p = f->p, d = f->d;
    for (size_t j = 0; j < set->rows; j++) {
        const double *x = &room->plan->x[(set->row + j) * p];
        for (size_t b = 0; b < d * d; b++) {
            const size_t r = b % d, c = b / d;
            const double w = -room->terms.h[j * d * d + b];
            for (size_t l = 0; l < p; l++) {
                for (size_t k = 0; k < p; k++) {
                    QX_AT(I, r * p + k, c * p + l) += w * x[k] * x[l];
                }
            }
        }
    }
}

/* At random effects of zero. */
static void rows_at_zero(qx_laplace_room *room, const qx_laplace_set *set)
{
    const size_t d = room->plan->problem.d;
    memcpy(room->eta, &room->fixed[set->row * d], set->rows * d * sizeof *room->eta);
    qx_laplace_rows(room, set, QX_ROWS_ALL);
}

/* S_i, d x d. */
static void
leverage_of(const qx_laplace_room *room, size_t place, qx_mat inverse, double S[])
{
    const qx_laplace_problem *f = &room->plan->problem;
    const double *x = &room->plan->x[place * f->p];
    for (size_t b = 0; b < f->d * f->d; b++) {
        const size_t r = b % f->d, c = b / f->d;
        double sum = 0.0;
        for (size_t l = 0; l < f->p; l++) {
            sum += x[l] * qx_dot(f->p, &QX_AT(inverse, r * f->p, c * f->p + l), x);
        }
        S[b] = sum;
    }
}

static void
add_slopes(qx_laplace_room *room, const qx_laplace_set *set, qx_mat inverse, double psi[])
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t d = f->d, dd = d * d;
    double S[QX_LAPLACE_PREDICTORS_MOST * QX_LAPLACE_PREDICTORS_MOST];
    for (size_t j = 0; j < set->rows; j++) {
        leverage_of(room, set->row + j, inverse, S);
        for (size_t e = 0; e < d; e++) {
            room->c[(set->row + j) * d + e] -=
                0.5 * qx_dot(dd, S, &room->terms.t[(j * d + e) * dd]);
        }
        for (size_t i = 0; i < f->s; i++) {
            psi[i] -= 0.5 * qx_dot(dd, S, &room->terms.hp[(j * f->s + i) * dd]);
        }
    }
}

static qx_status
penalty(qx_ctx *cx, qx_laplace_room *room, double *value, double psi[], bool slopes)
{
    const qx_laplace_plan *plan = room->plan;
    const size_t length = plan->problem.d * plan->problem.p;
    qx_mat I, inverse;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), length, length, &I));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), length, length, &inverse));
    for (size_t b = 0; b < plan->set_count; b++) {
        rows_at_zero(room, &plan->set[b]);
        add_information(room, &plan->set[b], I);
    }
    if (qx_chol_factor(cx, I) != QX_OK) {
        qx_ctx_forgive(cx);
        *value = -INFINITY;
        return QX_OK;
    }
    *value = 0.5 * qx_chol_logdet(I);
    if (!slopes) {
        return QX_OK;
    }
    QX_TRY(qx_chol_inverse(cx, I, inverse));
    for (size_t b = 0; b < plan->set_count; b++) {
        if (plan->set_count > 1) {
            rows_at_zero(room, &plan->set[b]);
        }
        add_slopes(room, &plan->set[b], inverse, psi);
    }
    return QX_OK;
}

qx_status qx_laplace_penalty(
    qx_ctx *cx, qx_laplace_room *room, double *value, double psi_slope[], bool slopes)
{
    qx_status status;
    QX_SCRATCH(cx, status, penalty(cx, room, value, psi_slope, slopes));
    return status;
}
