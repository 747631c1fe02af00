/* model/laplace_climb.c - quasi-Newton steps (BFGS; Nocedal & Wright 2006, Numerical
 * Optimization, 2nd ed., ch. 6) from the information of laplace_information.c; without random
 * terms Newton's own.
 *
 * log L is even in every standard deviation (and spread), so nil is an inner point where the
 * slope is nil. What ends near nil is put there if log L is not lower there; if a little
 * away from nil log L rises again, nil was a saddle and the search begins anew from a larger
 * value. */
#include <math.h>
#include <string.h>

#include "model/laplace_search.h"

/* A standard deviation below this is looked at for being nil: such effects move a share by a
 * hundredth at most. */
static const double NEAR_NIL = 0.05;
/* Slope along a step below which log L may be too rough to judge it, and how rough it is. */
static const double SLIGHT = 1e-2, ROUGH = 1e-6;
/* Where a search begins anew that was on a saddle. */
static const double AWAY = 0.3;

/* Iterations after which the approximation is made anew: far from the top what was learnt on the
 * way misleads. */
enum { ITERATIONS = 200, CUTS = 40, RESTARTS = 3, FRESH = 15 };

qx_status qx_search_evaluate(
    qx_ctx *cx, qx_search *s, const double x[], double *value, double gradient[])
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

qx_status qx_search_room(qx_ctx *cx,
                         const qx_laplace_plan *plan,
                         const void *data,
                         const double start[],
                         const qx_laplace_options *options,
                         qx_search *s)
{
    const qx_laplace_problem *f = &plan->problem;
    s->plan = plan;
    s->length = qx_laplace_length(f);
    s->even_from = f->d * f->p;
    s->even_to = s->even_from + f->random_count + f->even;
    s->most = options->iterations > 0 ? options->iterations : ITERATIONS;
    QX_TRY(qx_laplace_room_make(cx, qx_ctx_scratch(cx), plan, data, &s->room));
    s->room.rounding = options->rounding;
    QX_NEW(cx, s->fixed, s->length);
    QX_NEW(cx, s->x, s->length);
    QX_NEW(cx, s->gradient, s->length);
    QX_NEW(cx, s->new_x, s->length);
    QX_NEW(cx, s->new_gradient, s->length);
    QX_NEW(cx, s->step, s->length);
    QX_NEW(cx, s->spare, s->length);
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
void qx_search_hold_fixed(const qx_search *s, qx_mat A)
{
    for (size_t j = 0; j < s->length; j++) {
        for (size_t i = 0; i < s->length; i++) {
            if (s->fixed[i] || s->fixed[j]) {
                QX_AT(A, i, j) = i == j ? 1.0 : 0.0;
            }
        }
    }
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

/* What differences say about psi far from the top may have no curvature: then each psi is taken
 * alone, by the size of its own second derivative. */
static void keep_definite(qx_search *s)
{
    const size_t first = s->length - s->plan->problem.s;
    if (factor(s->B, 0.0, s->L)) {
        return;
    }
    for (size_t j = first; j < s->length; j++) {
        const double own = fabs(QX_AT(s->B, j, j));
        for (size_t i = 0; i < s->length; i++) {
            QX_AT(s->B, i, j) = QX_AT(s->B, j, i) = 0.0;
        }
        QX_AT(s->B, j, j) = own > 0.0 ? own : 1.0;
    }
}

qx_status qx_search_curvature(qx_ctx *cx, qx_search *s)
{
    QX_TRY(qx_laplace_information(cx, &s->room, s->x, s->gradient, s->B));
    qx_search_hold_fixed(s, s->B);
    if (s->plan->problem.s > 0) {
        keep_definite(s);
    }
    return QX_OK;
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
double qx_search_direction(qx_search *s)
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
static double longest(const qx_search *s)
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
line_search(qx_ctx *cx, qx_search *s, double slope, double *new_value, bool *moved)
{
    double part = longest(s);
    const double slack = 1e-14 * fabs(s->value);
    *moved = false;
    for (size_t cut = 0; cut < CUTS && !*moved; cut++) {
        for (size_t j = 0; j < s->length; j++) {
            s->new_x[j] = s->x[j] + part * s->step[j];
        }
        memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
        QX_TRY(qx_search_evaluate(cx, s, s->new_x, new_value, s->new_gradient));
        *moved = *new_value >= s->value + 1e-4 * part * slope - slack;
        /* Top of the parabola through both values and the slope, kept inside. */
        const double drop = s->value + part * slope - *new_value;
        const double top = 0.5 * part * part * slope / drop;
        part = top > 0.1 * part && top < 0.5 * part ? top : 0.25 * part;
    }
    return QX_OK;
}

/* Near the top the whole step is judged by the slope that it leaves, or by its gain: where log
 * L is a small difference of large numbers it is too rough to show the rest of the way. */
static qx_status
step_by_slope(qx_ctx *cx, qx_search *s, double slope, double *new_value, bool *moved)
{
    double left = 0.0;
    for (size_t j = 0; j < s->length; j++) {
        s->new_x[j] = s->x[j] + longest(s) * s->step[j];
    }
    memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
    QX_TRY(qx_search_evaluate(cx, s, s->new_x, new_value, s->new_gradient));
    if (!(*new_value >= s->value - ROUGH * (1.0 + fabs(s->value)))) {
        return QX_OK;
    }
    const double gain = *new_value - s->value;
    solve(s->L, s->new_gradient, s->spare);
    for (size_t j = 0; j < s->length; j++) {
        left += s->new_gradient[j] * s->spare[j];
    }
    *moved = left < 0.25 * slope || gain >= 1e-4 * slope;
    return QX_OK;
}

/* BFGS on B with the step just made; without curvature along it B stays. */
static void update(qx_search *s)
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

void qx_search_accept(qx_search *s, double value)
{
    s->value = value;
    memcpy(s->x, s->new_x, s->length * sizeof *s->x);
    memcpy(s->gradient, s->new_gradient, s->length * sizeof *s->x);
    memcpy(s->mode, s->room.mode, s->plan->q * sizeof *s->mode);
}

/* Climbs from x until half the squared step is below `precision`. */
static qx_status climb(qx_ctx *cx, qx_search *s, double precision, bool *converged)
{
    const qx_laplace_problem *f = &s->plan->problem;
    const bool newton = f->random_count == 0;
    *converged = false;
    QX_TRY(qx_search_curvature(cx, s));
    while (s->iterations < s->most) {
        double value;
        bool moved = false;
        const double slope = qx_search_direction(s);
        if (0.5 * slope < precision) {
            *converged = true;
            return QX_OK;
        }
        s->iterations++;
        if (slope < SLIGHT) {
            QX_TRY(step_by_slope(cx, s, slope, &value, &moved));
        }
        if (!moved) {
            QX_TRY(line_search(cx, s, slope, &value, &moved));
        }
        if (!moved) {
            /* Nothing to be won in this direction but rounding. */
            *converged = 0.5 * slope < QX_SEARCH_QUICK;
            return QX_OK;
        }
        update(s);
        qx_search_accept(s, value);
        if (newton || s->iterations % FRESH == 0) {
            QX_TRY(qx_search_curvature(cx, s));
        }
    }
    return QX_OK;
}

/* Puts parameter j on nil if log L bears it. *saddle: just beside nil it rises. */
static qx_status try_nil(qx_ctx *cx, qx_search *s, size_t j, bool *saddle)
{
    double value, beside;
    memcpy(s->new_x, s->x, s->length * sizeof *s->x);
    s->new_x[j] = 0.0;
    memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
    QX_TRY(qx_search_evaluate(cx, s, s->new_x, &value, s->new_gradient));
    if (!(value >= s->value - QX_SEARCH_SAME(s->value))) {
        return QX_OK;
    }
    s->new_x[j] = 0.2 * NEAR_NIL;
    QX_TRY(qx_search_evaluate(cx, s, s->new_x, &beside, s->gradient));
    *saddle = *saddle || (beside > value + QX_SEARCH_SAME(value) && s->gradient[j] > 0.0);
    s->new_x[j] = *saddle ? AWAY : 0.0;
    memcpy(s->room.mode, s->mode, s->plan->q * sizeof *s->mode);
    QX_TRY(qx_search_evaluate(cx, s, s->new_x, &value, s->new_gradient));
    s->fixed[j] = !*saddle;
    s->new_gradient[j] = s->fixed[j] ? 0.0 : s->new_gradient[j];
    qx_search_accept(s, value);
    return QX_OK;
}

/* A search with everything near nil looked at. */
qx_status qx_search_climb_all(qx_ctx *cx, qx_search *s, double precision, bool *converged)
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
