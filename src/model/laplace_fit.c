/* model/laplace_fit.c - the largest log L: quasi-Newton steps (BFGS; Nocedal & Wright 2006,
 * Numerical Optimization, 2nd ed., ch. 6) from the information of laplace_information.c,
 * without random terms Newton's own; then, when full precision is asked for, Newton steps with
 * the Hessian by central differences of the exact gradient.
 *
 * log L is even in every standard deviation (and spread), so nil is an inner point where the
 * slope is nil. What ends near nil is put there if log L is not lower there; if a little
 * away from nil log L rises again, nil was a saddle and the search begins anew from a larger
 * value. */
#include <math.h>
#include <string.h>

#include "model/frame.h"
#include "model/laplace_inner.h"
#include "numeric/chol.h"
#include "numeric/dist.h"
#include "numeric/eigen.h"

/* Half the squared Newton step, in units of log L, where the quasi-Newton search ends. */
static const double QUICK = 1e-9;
/* ... and where the polish ends: an estimate is then off by 1e-8 of its standard error. */
static const double FINE = 1e-16;
/* Step of differences, in standard errors of the parameter. */
static const double DIFFERENCE = 2e-3;
/* A standard deviation below this is looked at for being nil: effects of a hundredth on the
 * link scale. */
static const double NEAR_NIL = 0.05;
/* Fall of log L that nil may cost: what rounding makes of a hundred rows. */
static const double SAME = 1e-9;
/* Where a search begins anew that was on a saddle. */
static const double AWAY = 0.3;

enum { ITERATIONS = 200, CUTS = 40, POLISHES = 12, RESTARTS = 3 };

typedef struct search {
    qx_laplace_room room;
    const qx_laplace_plan *plan;
    size_t length;
    size_t even_from, even_to; /* parameters in which log L is even */
    bool *fixed;
    double *x, *gradient; /* current point; gradient of log L */
    double value;
    double *new_x, *new_gradient, *step;
    double *mode; /* modes at x */
    qx_mat B, L;  /* approximate Hessian of -log L, and its factor */
    size_t iterations, evaluations, most;
} search;

static qx_status
evaluate(qx_ctx *cx, search *s, const double x[], double *value, double gradient[])
{
    s->evaluations++;
    if (qx_ctx_cancelled(cx)) {
        return qx_fail(cx, QX_E_CANCELLED, "stopped on request");
    }
    QX_TRY(qx_laplace_at(cx, &s->room, x, value, gradient));
    for (size_t j = 0; gradient != NULL && isfinite(*value) && j < s->length; j++) {
        gradient[j] = s->fixed[j] ? 0.0 : gradient[j];
    }
    return QX_OK;
}

static qx_status search_room(qx_ctx *cx,
                             const qx_laplace_plan *plan,
                             const void *data,
                             const double start[],
                             const qx_laplace_options *options,
                             search *s)
{
    const qx_laplace_problem *f = &plan->problem;
    s->plan = plan;
    s->length = qx_laplace_length(f);
    s->even_from = f->d * f->p;
    s->even_to = s->even_from + f->random_count + f->even;
    s->most = options->iterations > 0 ? options->iterations : ITERATIONS;
    QX_TRY(qx_laplace_room_make(cx, qx_ctx_scratch(cx), plan, data, &s->room));
    QX_NEW(cx, s->fixed, s->length);
    QX_NEW(cx, s->x, s->length);
    QX_NEW(cx, s->gradient, s->length);
    QX_NEW(cx, s->new_x, s->length);
    QX_NEW(cx, s->new_gradient, s->length);
    QX_NEW(cx, s->step, s->length);
    QX_NEW(cx, s->mode, plan->q);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), s->length, s->length, &s->B));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), s->length, s->length, &s->L));
    memcpy(s->x, start, s->length * sizeof *start);
    if (options->fixed != NULL) {
        memcpy(s->fixed, options->fixed, s->length * sizeof *s->fixed);
    }
    return QX_OK;
}

/* Fixed parameters take no part: their rows and columns become those of the unit matrix. */
static void hold_fixed(const search *s, qx_mat A)
{
    for (size_t j = 0; j < s->length; j++) {
        for (size_t i = 0; i < s->length; i++) {
            if (s->fixed[i] || s->fixed[j]) {
                QX_AT(A, i, j) = i == j ? 1.0 : 0.0;
            }
        }
    }
}

static qx_status curvature(qx_ctx *cx, search *s)
{
    QX_TRY(qx_laplace_information(cx, &s->room, s->x, s->gradient, s->B));
    hold_fixed(s, s->B);
    return QX_OK;
}

/* Cholesky of A into L in plain loops (parameters are few); false: not positive definite. */
static bool factor(qx_mat A, double ridge, qx_mat L)
{
    const size_t n = A.rows;
    for (size_t j = 0; j < n; j++) {
        for (size_t i = j; i < n; i++) {
            double sum = QX_AT(A, i, j);
            sum += i == j ? ridge * fabs(sum) : 0.0;
            for (size_t k = 0; k < j; k++) {
                sum -= QX_AT(L, i, k) * QX_AT(L, j, k);
            }
            if (i == j && (!(sum > 1e-14 * fabs(QX_AT(A, j, j))) || !isfinite(sum))) {
                return false;
            }
            QX_AT(L, i, j) = i == j ? sqrt(sum) : sum / QX_AT(L, j, j);
        }
    }
    return true;
}

static void solve(qx_mat L, const double b[], double out[])
{
    const size_t n = L.rows;
    for (size_t i = 0; i < n; i++) {
        double sum = b[i];
        for (size_t k = 0; k < i; k++) {
            sum -= QX_AT(L, i, k) * out[k];
        }
        out[i] = sum / QX_AT(L, i, i);
    }
    for (size_t i = n; i-- > 0;) {
        double sum = out[i];
        for (size_t k = i + 1; k < n; k++) {
            sum -= QX_AT(L, k, i) * out[k];
        }
        out[i] = sum / QX_AT(L, i, i);
    }
}

/* step = B^-1 gradient; with a ridge where B is not positive definite. Gives gradient'step. */
static double direction(search *s)
{
    double ridge = 0.0, sum = 0.0;
    while (!factor(s->B, ridge, s->L)) {
        ridge = ridge == 0.0 ? 1e-6 : 10.0 * ridge;
        if (ridge > 1e6) {
            qx_mat_zero(s->B);
            for (size_t j = 0; j < s->length; j++) {
                QX_AT(s->B, j, j) = 1.0;
            }
            ridge = 0.0;
        }
    }
    solve(s->L, s->gradient, s->step);
    for (size_t j = 0; j < s->length; j++) {
        sum += s->gradient[j] * s->step[j];
    }
    return sum;
}

/* Standard deviations do not jump far: beyond their size and one more the model is another. */
static double longest(const search *s)
{
    double part = 1.0;
    for (size_t j = s->even_from; j < s->even_to; j++) {
        const double most = 1.0 + fabs(s->x[j]);
        if (fabs(part * s->step[j]) > most) {
            part = most / fabs(s->step[j]);
        }
    }
    return part;
}

/* Along the step until log L rises enough (Armijo); new_x, new_gradient. *moved false: it
 * rises nowhere. */
static qx_status
line_search(qx_ctx *cx, search *s, double slope, double *new_value, bool *moved)
{
    double part = longest(s);
    const double slack = 1e-14 * fabs(s->value);
    *moved = false;
    for (size_t cut = 0; cut < CUTS && !*moved; cut++) {
        for (size_t j = 0; j < s->length; j++) {
            s->new_x[j] = s->x[j] + part * s->step[j];
        }
        memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
        QX_TRY(evaluate(cx, s, s->new_x, new_value, s->new_gradient));
        *moved = *new_value >= s->value + 1e-4 * part * slope - slack;
        /* Top of the parabola through both values and the slope, kept inside. */
        const double drop = s->value + part * slope - *new_value;
        const double top = 0.5 * part * part * slope / drop;
        part = top > 0.1 * part && top < 0.5 * part ? top : 0.25 * part;
    }
    return QX_OK;
}

/* BFGS on B with the step just made; without curvature along it B stays. */
static void update(search *s)
{
    const size_t n = s->length;
    double *Bd = s->step; /* free by now */
    double dy = 0.0, dBd = 0.0;
    for (size_t i = 0; i < n; i++) {
        double sum = 0.0;
        for (size_t j = 0; j < n; j++) {
            sum += QX_AT(s->B, i, j) * (s->new_x[j] - s->x[j]);
        }
        Bd[i] = sum;
        dBd += sum * (s->new_x[i] - s->x[i]);
        dy += (s->gradient[i] - s->new_gradient[i]) * (s->new_x[i] - s->x[i]);
    }
    if (!(dy > 1e-8 * dBd) || !(dBd > 0.0)) {
        return;
    }
    for (size_t j = 0; j < n; j++) {
        for (size_t i = 0; i < n; i++) {
            const double yi = s->gradient[i] - s->new_gradient[i];
            const double yj = s->gradient[j] - s->new_gradient[j];
            QX_AT(s->B, i, j) += yi * yj / dy - Bd[i] * Bd[j] / dBd;
        }
    }
}

static void accept(search *s, double value)
{
    s->value = value;
    memcpy(s->x, s->new_x, s->length * sizeof *s->x);
    memcpy(s->gradient, s->new_gradient, s->length * sizeof *s->x);
    memcpy(s->mode, s->room.mode, s->plan->q * sizeof *s->mode);
}

/* Climbs from x until half the squared step is below `precision`. */
static qx_status climb(qx_ctx *cx, search *s, double precision, bool *converged)
{
    const qx_laplace_problem *f = &s->plan->problem;
    const bool newton = f->random_count == 0;
    *converged = false;
    QX_TRY(curvature(cx, s));
    while (s->iterations < s->most) {
        double value;
        bool moved;
        const double slope = direction(s);
        if (0.5 * slope < precision) {
            *converged = true;
            return QX_OK;
        }
        s->iterations++;
        QX_TRY(line_search(cx, s, slope, &value, &moved));
        if (!moved) {
            /* Nothing to be won in this direction but rounding. */
            *converged = 0.5 * slope < QUICK;
            return QX_OK;
        }
        update(s);
        accept(s, value);
        if (newton) {
            QX_TRY(curvature(cx, s));
        }
    }
    return QX_OK;
}

/* Puts parameter j on nil if log L bears it. *saddle: just beside nil it rises. */
static qx_status try_nil(qx_ctx *cx, search *s, size_t j, bool *saddle)
{
    double value, beside;
    memcpy(s->new_x, s->x, s->length * sizeof *s->x);
    s->new_x[j] = 0.0;
    memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
    QX_TRY(evaluate(cx, s, s->new_x, &value, s->new_gradient));
    if (!(value >= s->value - SAME)) {
        return QX_OK;
    }
    s->new_x[j] = 0.2 * NEAR_NIL;
    QX_TRY(evaluate(cx, s, s->new_x, &beside, s->gradient));
    *saddle = *saddle || (beside > value + SAME && s->gradient[j] > 0.0);
    s->new_x[j] = *saddle ? AWAY : 0.0;
    memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
    QX_TRY(evaluate(cx, s, s->new_x, &value, s->new_gradient));
    s->fixed[j] = !*saddle;
    s->new_gradient[j] = s->fixed[j] ? 0.0 : s->new_gradient[j];
    accept(s, value);
    return QX_OK;
}

/* A search with everything near nil looked at. */
static qx_status climb_all(qx_ctx *cx, search *s, double precision, bool *converged)
{
    for (size_t restart = 0; restart < RESTARTS; restart++) {
        bool again = false;
        QX_TRY(climb(cx, s, precision, converged));
        for (size_t j = s->even_from; j < s->even_to; j++) {
            if (!s->fixed[j] && fabs(s->x[j]) < NEAR_NIL) {
                bool saddle = false;
                QX_TRY(try_nil(cx, s, j, &saddle));
                again = again || saddle;
            }
        }
        if (!again) {
            return QX_OK;
        }
    }
    return QX_OK;
}

/* Hessian of -log L by central differences of the gradient, steps by the diagonal of B. */
static qx_status differences(qx_ctx *cx, search *s, qx_mat out)
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
        QX_TRY(evaluate(cx, s, x, &high, above));
        x[j] = s->x[j] - step;
        memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
        QX_TRY(evaluate(cx, s, x, &low, below));
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
static qx_status polish(qx_ctx *cx, search *s)
{
    for (size_t i = 0; i < POLISHES; i++) {
        double value;
        const double slope = direction(s);
        if (0.5 * slope < FINE) {
            return QX_OK;
        }
        for (size_t j = 0; j < s->length; j++) {
            s->new_x[j] = s->x[j] + s->step[j];
        }
        memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
        QX_TRY(evaluate(cx, s, s->new_x, &value, s->new_gradient));
        /* log L has fewer digits than its slope: a step is judged by both. */
        if (!(value >= s->value - SAME * (1.0 + 1e-3 * fabs(s->value)))) {
            return QX_OK;
        }
        memcpy(s->step, s->gradient, s->length * sizeof *s->step);
        accept(s, value);
        if (direction(s) >= slope) {
            return QX_OK; /* rounding, or curvature that is none (separation) */
        }
        s->iterations++;
    }
    return QX_OK;
}

/* No parameter in which log L is even is negative in the end. */
static void make_positive(search *s)
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
hand_over(qx_ctx *cx, qx_arena *arena, search *s, bool curved, qx_laplace_fit *out)
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
    search s = {0};
    const bool full = options->precision == 0.0;
    qx_laplace_fit fit = {0};
    QX_TRY(search_room(cx, plan, data, start, options, &s));
    QX_TRY(evaluate(cx, &s, s.x, &s.value, s.gradient));
    if (!isfinite(s.value)) {
        return qx_fail(cx, QX_E_NUMERIC, "the likelihood cannot be had at the start");
    }
    memcpy(s.mode, s.room.mode, plan->q * sizeof *s.mode);
    QX_TRY(climb_all(cx, &s, full ? QUICK : options->precision, &fit.converged));
    const bool exact = plan->problem.random_count == 0 && plan->problem.s == 0 &&
                       !plan->problem.penalise;
    if ((full || !options->no_curvature) && exact) {
        QX_TRY(curvature(cx, &s));
    } else if (full || !options->no_curvature) {
        QX_TRY(differences(cx, &s, s.L));
        qx_mat_copy(s.B, s.L);
        hold_fixed(&s, s.B);
    }
    if (full) {
        QX_TRY(polish(cx, &s));
        if (exact) {
            QX_TRY(curvature(cx, &s)); /* costs next to nothing: at the very place */
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
