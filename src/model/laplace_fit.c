/* model/laplace_fit.c - a whole fit: the climb (laplace_climb.c), then, when full precision
 * is asked for, Newton steps with the Hessian by central differences of the exact gradient. */
#include <math.h>
#include <string.h>

#include "model/frame.h"
#include "model/laplace_search.h"

/* Half the squared step where the polish ends: an estimate is then off by 1e-8 of its standard
 * error. */
static const double FINE = 1e-16;
/* Step of differences, in standard errors of the parameter. */
static const double DIFFERENCE = 2e-3;

enum { POLISHES = 12 };

/* Hessian of -log L by central differences of the gradient, steps by the diagonal of B. */
static qx_status differences(qx_ctx *cx, qx_search *s, qx_mat out)
{
    double *x = s->new_x, *above = s->new_gradient, *below = s->step;
    memcpy(x, s->x, s->length * sizeof *x);
    qx_mat_zero(out);
    for (size_t j = 0; j < s->length; j++) {
        double high, low;
        const double diagonal = QX_AT(s->B, j, j);
        const double step =
            DIFFERENCE * (diagonal > 0.0 ? fmin(1.0 / sqrt(diagonal), 10.0) : 1.0);
        if (s->fixed[j]) {
            continue;
        }
        x[j] = s->x[j] + step;
        memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
        QX_TRY(qx_search_evaluate(cx, s, x, &high, above));
        x[j] = s->x[j] - step;
        memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
        QX_TRY(qx_search_evaluate(cx, s, x, &low, below));
        x[j] = s->x[j];
        for (size_t i = 0; i < s->length && isfinite(high) && isfinite(low); i++) {
            QX_AT(out, i, j) = (below[i] - above[i]) / (2.0 * step);
        }
    }
    for (size_t j = 0; j < s->length; j++) {
        for (size_t i = 0; i < j; i++) {
            const double mean = 0.5 * (QX_AT(out, i, j) + QX_AT(out, j, i));
            QX_AT(out, i, j) = QX_AT(out, j, i) = mean;
        }
    }
    return QX_OK;
}

/* Newton steps with the Hessian in B until nothing moves. */
static qx_status polish(qx_ctx *cx, qx_search *s)
{
    for (size_t i = 0; i < POLISHES; i++) {
        double value;
        const double slope = qx_search_direction(s);
        if (0.5 * slope < FINE) {
            return QX_OK;
        }
        for (size_t j = 0; j < s->length; j++) {
            s->new_x[j] = s->x[j] + s->step[j];
        }
        memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
        QX_TRY(qx_search_evaluate(cx, s, s->new_x, &value, s->new_gradient));
        /* log L has fewer digits than its slope: a step is judged by both. */
        if (!(value >= s->value - QX_SEARCH_SAME(s->value))) {
            return QX_OK;
        }
        memcpy(s->step, s->gradient, s->length * sizeof *s->step);
        qx_search_accept(s, value);
        if (qx_search_direction(s) >= slope) {
            return QX_OK; /* rounding, or curvature that is none (separation) */
        }
        s->iterations++;
    }
    return QX_OK;
}

/* No parameter in which log L is even is negative in the end. */
static void make_positive(qx_search *s)
{
    const qx_laplace_problem *f = &s->plan->problem;
    for (size_t j = s->even_from; j < s->even_to; j++) {
        if (!(s->x[j] < 0.0)) {
            continue;
        }
        s->x[j] = -s->x[j];
        s->gradient[j] = -s->gradient[j];
        for (size_t i = 0; i < s->length; i++) {
            QX_AT(s->B, i, j) *= i == j ? 1.0 : -1.0;
            QX_AT(s->B, j, i) = QX_AT(s->B, i, j);
        }
        const size_t k = j - s->even_from;
        size_t first = 0;
        for (size_t t = 0; t < k && k < f->random_count; t++) {
            first += f->random[t].level_count;
        }
        for (size_t c = 0; k < f->random_count && c < f->random[k].level_count; c++) {
            const size_t place = s->plan->place[first + c];
            if (place != QX_NO_COLUMN) {
                s->mode[place] = -s->mode[place];
            }
        }
    }
}

/* The last evaluation, and everything into the caller's arena. */
static qx_status
hand_over(qx_ctx *cx, qx_arena *arena, qx_search *s, bool curved, qx_laplace_fit *out)
{
    const qx_laplace_problem *f = &s->plan->problem;
    QX_NEW_IN(cx, arena, out->x, s->length);
    QX_NEW_IN(cx, arena, out->gradient, s->length);
    QX_NEW_IN(cx, arena, out->u, s->plan->q);
    QX_NEW_IN(cx, arena, out->eta, f->n * f->d);
    QX_NEW_IN(cx, arena, out->at_zero, f->random_count + f->even);
    memcpy(out->x, s->x, s->length * sizeof *s->x);
    memcpy(out->gradient, s->gradient, s->length * sizeof *s->x);
    out->value = s->value;
    for (size_t c = 0; c < s->plan->q; c++) {
        out->u[c] = s->plan->place[c] == QX_NO_COLUMN ? 0.0 : s->mode[s->plan->place[c]];
    }
    for (size_t k = 0; k < f->random_count + f->even; k++) {
        out->at_zero[k] = s->x[s->even_from + k] == 0.0;
    }
    qx_laplace_point(&s->room, s->x);
    for (size_t b = 0; b < s->plan->set_count; b++) {
        const qx_laplace_set *set = &s->plan->set[b];
        qx_laplace_predict(&s->room, set, &s->mode[set->column]);
        for (size_t j = 0; j < set->rows; j++) {
            memcpy(&out->eta[s->plan->row[set->row + j] * f->d],
                   &s->room.eta[j * f->d],
                   f->d * sizeof *out->eta);
        }
    }
    if (f->penalise) {
        QX_TRY(qx_laplace_penalty(cx, &s->room, &out->penalty, NULL, false));
    }
    if (curved) {
        QX_TRY(qx_mat_new(cx, arena, s->length, s->length, &out->hessian));
        for (size_t j = 0; j < s->length; j++) {
            for (size_t i = 0; i < s->length; i++) {
                QX_AT(out->hessian, i, j) =
                    s->fixed[i] || s->fixed[j] ? 0.0 : QX_AT(s->B, i, j);
            }
        }
    }
    out->rounding = s->room.rounding;
    out->iterations = s->iterations;
    out->evaluations = s->evaluations;
    return QX_OK;
}

qx_status qx_laplace_maximise_here(qx_ctx *cx,
                                   qx_arena *arena,
                                   const qx_laplace_plan *plan,
                                   const void *data,
                                   const double start[],
                                   const qx_laplace_options *options,
                                   qx_laplace_fit *out)
{
    qx_search s = {0};
    const bool full = options->precision == 0.0;
    qx_laplace_fit fit = {0};
    QX_TRY(qx_search_room(cx, plan, data, start, options, &s));
    QX_TRY(qx_search_evaluate(cx, &s, s.x, &s.value, s.gradient));
    if (!isfinite(s.value)) {
        return qx_fail(cx, QX_E_NUMERIC, "the likelihood cannot be had at the start");
    }
    memcpy(s.mode, s.room.mode, plan->q * sizeof *s.mode);
    QX_TRY(qx_search_climb_all(
        cx, &s, full ? QX_SEARCH_QUICK : options->precision, &fit.converged));
    const bool exact = plan->problem.random_count == 0 && plan->problem.s == 0 &&
                       !plan->problem.penalise;
    if ((full || !options->no_curvature) && exact) {
        QX_TRY(qx_search_curvature(cx, &s));
    } else if (full || !options->no_curvature) {
        QX_TRY(differences(cx, &s, s.L));
        qx_mat_copy(s.B, s.L);
        qx_search_hold_fixed(&s, s.B);
    }
    if (full) {
        QX_TRY(polish(cx, &s));
        if (exact) {
            QX_TRY(qx_search_curvature(
                cx, &s)); /* costs next to nothing: at the very place */
        }
    }
    make_positive(&s);
    QX_TRY(hand_over(cx, arena, &s, !options->no_curvature, &fit));
    *out = fit;
    return QX_OK;
}

qx_status qx_laplace_maximise(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_laplace_plan *plan,
                              const void *data,
                              const double start[],
                              const qx_laplace_options *options,
                              qx_laplace_fit *out)
{
    const qx_laplace_options none = {0};
    qx_status status;
    QX_SCRATCH(cx,
               status,
               qx_laplace_maximise_here(
                   cx, arena, plan, data, start, options == NULL ? &none : options, out));
    return status;
}
