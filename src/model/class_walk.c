#include <math.h>
#include <string.h>

#include "model/class_walk.h"
#include "numeric/chol.h"

#define ITERATIONS_MOST 200
#define HALVINGS_MOST   40
#define RIDGES_MOST     12
#define POLISH_MOST     6

static const double ARMIJO = 1e-4;
/* Where finishing goes back to quasi-Newton steps, these end here. */
static const double CLOSE = 1e-9;
/* A Newton step shorter than this share of a parameter's size is rounding. */
static const double STANDSTILL = 1e-11;
/* Longest step in any parameter, whose natural size is 1. */
static const double STRIDE = 4.0;
/* Beyond these a parameter runs away: odds of e^40, trees from 1e-9 to 1 - 1e-9. */
static const double FIXED_MOST = 40.0, DEVIATION_MOST = 20.0;
/* Value below which a change of log L is its own rounding. */
static const double ROUNDING = 1e-12;

/* step = B^-1 g, with as much of the diagonal added as makes B positive definite; gives
 * the decrement g'step. `pure` receives whether nothing was added. */
static qx_status
solve(qx_ctx *cx, const qx_class_walk *w, const double g[], double *decrement, bool *pure)
{
    double most = 1e-8;
    for (size_t i = 0; i < w->m; i++) {
        most = fmax(most, fabs(QX_AT(w->B, i, i)));
    }
    for (size_t ridge = 0; ridge <= RIDGES_MOST; ridge++) {
        qx_mat_copy(w->L, w->B);
        for (size_t i = 0; ridge > 0 && i < w->m; i++) {
            QX_AT(w->L, i, i) += most * pow(10.0, (double)ridge - 7.0);
        }
        const qx_status factored = qx_chol_factor(cx, w->L);
        if (factored == QX_OK) {
            *pure = ridge == 0;
            break;
        }
        if (factored != QX_E_NOT_PD || ridge == RIDGES_MOST) {
            return factored;
        }
        qx_ctx_forgive(cx);
    }
    memcpy(w->step, g, w->m * sizeof *g);
    QX_TRY(qx_chol_solve(cx, w->L, qx_mat_of(w->step, w->m, 1)));
    *decrement = qx_dot(w->m, g, w->step);
    return QX_OK;
}

/* Goes along the step as far as it leads up; false when no part of it does. */
static qx_status advance(qx_ctx *cx, qx_class_walk *w, double decrement, bool *moved)
{
    double longest = 0.0, value = -HUGE_VAL;
    for (size_t i = 0; i < w->m; i++) {
        longest = fmax(longest, fabs(w->step[i]));
    }
    double length = longest > STRIDE ? STRIDE / longest : 1.0;
    *moved = false;
    for (size_t half = 0; half < HALVINGS_MOST; half++) {
        for (size_t i = 0; i < w->m; i++) {
            w->trial[i] = w->y[i] + length * w->step[i];
        }
        QX_TRY(qx_class_walk_look(cx, w, w->trial, &value, NULL));
        if (value >= w->value + ARMIJO * length * decrement) {
            *moved = true;
            break;
        }
        if (length * decrement < ROUNDING * (1.0 + fabs(w->value))) {
            break;
        }
        length *= 0.5;
    }
    if (*moved) {
        w->value = value;
    }
    return QX_OK;
}

/* The symmetric rank-two change that makes B fit the change of the gradient. */
static void update(const qx_class_walk *w, const double s[], const double change[])
{
    double *bs = w->step; /* no longer needed */
    const double along = qx_dot(w->m, s, change);
    qx_mat_vector('n', 1.0, w->B, s, 0.0, bs);
    const double before = qx_dot(w->m, s, bs);
    if (!(along > 1e-6 * before) || !(before > 0.0)) {
        return;
    }
    for (size_t j = 0; j < w->m; j++) {
        for (size_t i = 0; i < w->m; i++) {
            QX_AT(w->B, i, j) += change[i] * change[j] / along - bs[i] * bs[j] / before;
        }
    }
}

/* After a step to w->trial: gradient there, B for the next step. */
static qx_status settle(qx_ctx *cx, qx_class_walk *w)
{
    QX_TRY(qx_class_walk_look(cx, w, w->trial, &w->value, w->trial_g));
    if (qx_class_walk_newton(w)) {
        QX_TRY(qx_class_walk_information(cx, w, w->trial));
    } else {
        double *s, *change;
        QX_NEW(cx, s, w->m);
        QX_NEW(cx, change, w->m);
        for (size_t i = 0; i < w->m; i++) {
            s[i] = w->trial[i] - w->y[i];
            change[i] = w->g[i] - w->trial_g[i];
        }
        update(w, s, change);
    }
    memcpy(w->y, w->trial, w->m * sizeof *w->y);
    memcpy(w->g, w->trial_g, w->m * sizeof *w->g);
    return QX_OK;
}

static bool ran_away(const qx_class_walk *w)
{
    for (size_t i = 0; i < w->m; i++) {
        if (!(fabs(w->y[i]) <= (i < w->f ? FIXED_MOST : DEVIATION_MOST))) {
            return true;
        }
    }
    return false;
}

/* A B that is not positive definite (a deviation between its maximum and zero) is left for a
 * plain one: a ridge alone makes steps so short that they look like the end. */
static qx_status one_step(qx_ctx *cx, qx_class_walk *w, bool *moved, double *decrement)
{
    bool pure;
    QX_TRY(solve(cx, w, w->g, decrement, &pure));
    if (!pure && !qx_class_walk_newton(w)) {
        QX_TRY(qx_class_walk_plain(cx, w));
        QX_TRY(solve(cx, w, w->g, decrement, &pure));
    }
    QX_TRY(advance(cx, w, *decrement, moved));
    if (*moved) {
        QX_TRY(settle(cx, w));
    }
    return QX_OK;
}

/* Quasi-Newton (or Newton) steps until one promises less than `below`. */
qx_status
qx_class_walk_up(qx_ctx *cx, qx_class_walk *w, double below, qx_class_summit *out)
{
    out->converged = false;
    for (size_t i = 0; i < ITERATIONS_MOST; i++) {
        bool moved = true;
        double decrement = 0.0;
        qx_status status;
        if (qx_ctx_cancelled(cx)) {
            return qx_fail(cx, QX_E_CANCELLED, "stopped on request");
        }
        QX_SCRATCH(cx, status, one_step(cx, w, &moved, &decrement));
        QX_TRY(status);
        out->iterations++;
        if (ran_away(w)) {
            out->runaway = true;
            return QX_OK;
        }
        if (decrement < below || !moved) {
            out->converged = decrement < fmax(below, 1e-6);
            return QX_OK;
        }
    }
    return QX_OK;
}

/* Newton steps with B held, not asking log L, whose rounding is larger than they are. */
static qx_status polish(qx_ctx *cx, qx_class_walk *w, bool *standing)
{
    *standing = false;
    for (size_t i = 0; i < POLISH_MOST && !*standing; i++) {
        double decrement, longest = 0.0;
        bool pure;
        QX_TRY(solve(cx, w, w->g, &decrement, &pure));
        if (!pure || !(decrement < 1e-4)) {
            return QX_OK;
        }
        for (size_t j = 0; j < w->m; j++) {
            longest = fmax(longest, fabs(w->step[j]));
            w->y[j] += w->step[j];
        }
        QX_TRY(qx_class_walk_look(cx, w, w->y, &w->value, w->g));
        *standing = longest < STANDSTILL;
    }
    return QX_OK;
}

qx_status qx_class_walk_finish(qx_ctx *cx, qx_class_walk *w, qx_class_summit *out)
{
    bool standing;
    QX_TRY(qx_class_walk_hessian(cx, w));
    QX_TRY(polish(cx, w, &standing));
    if (!standing) {
        /* Far from quadratic: more steps from this Hessian, then once more. */
        QX_TRY(qx_class_walk_up(cx, w, CLOSE, out));
        QX_TRY(qx_class_walk_hessian(cx, w));
        QX_TRY(polish(cx, w, &standing));
    }
    out->converged = out->converged && !out->runaway;
    return qx_class_walk_hessian(cx, w);
}
