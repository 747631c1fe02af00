#include "model/class_climb.h"

#include <math.h>
#include <string.h>

#include "numeric/chol.h"

#define ITERATIONS_MOST 200
#define HALVINGS_MOST   40
#define RIDGES_MOST     12
#define POLISH_MOST     6
#define RESTARTS_MOST   2

static const double ARMIJO = 1e-4;
/* Half the decrement is what a step promises of log L: the quasi-Newton steps end here. */
static const double LOOSE = 2e-7, CLOSE = 1e-9;
/* A Newton step shorter than this share of a parameter's size is rounding. */
static const double STANDSTILL = 1e-11;
/* Longest step in any parameter, whose natural size is 1. */
static const double STRIDE = 4.0;
/* Step of differences of the gradient: its error h^2 and rounding 1e-13 / h are both far
 * below the five digits that standard errors owe. */
static const double DIFFERENCE = 1e-4;
/* Below it a deviation is looked at from zero and from RESTART; after polishing, which goes
 * to zero faster than quadratically, nothing real is as small as ZERO_AT_END. */
static const double ZERO_DEVIATION = 1e-3, RESTART = 0.1, ZERO_AT_END = 1e-7;
/* Beyond these a parameter runs away: odds of e^30, trees from 1e-9 to 1 - 1e-9. */
static const double FIXED_MOST = 40.0, DEVIATION_MOST = 20.0;
/* Value below which a change of log L is its own rounding. */
static const double ROUNDING = 1e-12;

typedef struct walk {
    const qx_class_climb *climb;
    const qx_class_model *model;
    size_t f, moving;                       /* fixed coordinates, deviations that move */
    size_t m;                               /* f + moving */
    size_t *deviation;                      /* moving: which */
    double *z, *full;                       /* P + D */
    double *y, *g, *trial, *trial_g, *step; /* m */
    double value;
    qx_mat B, L; /* m x m: minus the Hessian, its factor */
} walk;

static void place(const walk *w, const double y[], double z[])
{
    const size_t P = w->model->P;
    if (w->climb->basis.at == NULL) {
        memcpy(z, y, P * sizeof *z);
    } else {
        qx_mat_vector('n', 1.0, w->climb->basis, y, 0.0, z);
        for (size_t i = 0; w->climb->base != NULL && i < P; i++) {
            z[i] += w->climb->base[i];
        }
    }
    for (size_t k = 0; k < w->moving; k++) {
        z[P + w->deviation[k]] = y[w->f + k];
    }
}

static void coordinates(const walk *w, const double z[], double y[])
{
    const size_t P = w->model->P;
    if (w->climb->basis.at == NULL) {
        memcpy(y, z, P * sizeof *y);
    } else {
        memcpy(w->full, z, P * sizeof *z);
        for (size_t i = 0; w->climb->base != NULL && i < P; i++) {
            w->full[i] -= w->climb->base[i];
        }
        qx_mat_vector('t', 1.0, w->climb->basis, w->full, 0.0, y);
    }
    for (size_t k = 0; k < w->moving; k++) {
        y[w->f + k] = z[P + w->deviation[k]];
    }
}

/* The objective at y and, if not NULL, its gradient along the coordinates. */
static qx_status
look(qx_ctx *cx, const walk *w, const double y[], double *value, double g[])
{
    const size_t P = w->model->P;
    place(w, y, w->z);
    QX_TRY(qx_class_objective(cx, w->model, w->z, value, g == NULL ? NULL : w->full));
    if (g == NULL) {
        return QX_OK;
    }
    if (w->climb->basis.at == NULL) {
        memcpy(g, w->full, P * sizeof *g);
    } else {
        qx_mat_vector('t', 1.0, w->climb->basis, w->full, 0.0, g);
    }
    for (size_t k = 0; k < w->moving; k++) {
        g[w->f + k] = w->full[P + w->deviation[k]];
    }
    return QX_OK;
}

static bool newton(const walk *w)
{
    return w->model->plan == NULL && !w->model->penalised;
}

/* B = basis' I basis from the information at u = 0, the deviations left as they are. */
static qx_status fixed_part(qx_ctx *cx, const walk *w, const double y[])
{
    const size_t P = w->model->P;
    qx_mat full, half;
    place(w, y, w->z);
    if (w->climb->basis.at == NULL) {
        return qx_class_information(
            cx, w->model, w->z, !newton(w), qx_mat_part(w->B, 0, 0, P, P));
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), P, P, &full));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), P, w->f, &half));
    QX_TRY(qx_class_information(cx, w->model, w->z, !newton(w), full));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, full, w->climb->basis, 0.0, half));
    return qx_mat_multiply(cx,
                           't',
                           'n',
                           1.0,
                           w->climb->basis,
                           half,
                           0.0,
                           qx_mat_part(w->B, 0, 0, w->f, w->f));
}

/* Columns from `first` of B by central differences of the gradient. */
static qx_status differences(qx_ctx *cx, const walk *w, size_t first)
{
    double value, *up, *down, *y;
    QX_NEW(cx, up, w->m);
    QX_NEW(cx, down, w->m);
    QX_NEW(cx, y, w->m);
    memcpy(y, w->y, w->m * sizeof *y);
    for (size_t j = first; j < w->m; j++) {
        y[j] = w->y[j] + DIFFERENCE;
        QX_TRY(look(cx, w, y, &value, up));
        y[j] = w->y[j] - DIFFERENCE;
        QX_TRY(look(cx, w, y, &value, down));
        y[j] = w->y[j];
        for (size_t i = 0; i < w->m; i++) {
            QX_AT(w->B, i, j) = (down[i] - up[i]) / (2.0 * DIFFERENCE);
        }
    }
    for (size_t j = first; j < w->m; j++) {
        for (size_t i = 0; i < j; i++) {
            const double both = i < first ? QX_AT(w->B, i, j)
                                          : 0.5 * (QX_AT(w->B, i, j) + QX_AT(w->B, j, i));
            QX_AT(w->B, i, j) = both;
            QX_AT(w->B, j, i) = both;
        }
    }
    return QX_OK;
}

/* step = B^-1 g, with as much of the diagonal added as makes B positive definite; gives
 * the decrement g'step. `pure` receives whether nothing was added. */
static qx_status
solve(qx_ctx *cx, const walk *w, const double g[], double *decrement, bool *pure)
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
static qx_status advance(qx_ctx *cx, walk *w, double decrement, bool *moved)
{
    double length = 1.0, longest = 0.0, value = -HUGE_VAL;
    for (size_t i = 0; i < w->m; i++) {
        longest = fmax(longest, fabs(w->step[i]));
    }
    length = longest > STRIDE ? STRIDE / longest : 1.0;
    *moved = false;
    for (size_t half = 0; half < HALVINGS_MOST; half++, length *= 0.5) {
        for (size_t i = 0; i < w->m; i++) {
            w->trial[i] = w->y[i] + length * w->step[i];
        }
        QX_TRY(look(cx, w, w->trial, &value, NULL));
        if (value >= w->value + ARMIJO * length * decrement) {
            *moved = true;
            break;
        }
        if (length * decrement < ROUNDING * (1.0 + fabs(w->value))) {
            break;
        }
    }
    if (*moved) {
        w->value = value;
    }
    return QX_OK;
}

/* The symmetric rank-two change that makes B fit the change of the gradient. */
static void update(const walk *w, const double s[], const double change[])
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
static qx_status settle(qx_ctx *cx, walk *w)
{
    QX_TRY(look(cx, w, w->trial, &w->value, w->trial_g));
    if (newton(w)) {
        QX_TRY(fixed_part(cx, w, w->trial));
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

static bool ran_away(const walk *w)
{
    for (size_t i = 0; i < w->m; i++) {
        if (!(fabs(w->y[i]) <= (i < w->f ? FIXED_MOST : DEVIATION_MOST))) {
            return true;
        }
    }
    return false;
}

/* B from what is known for certain: the information at u = 0, and one for each deviation. */
static qx_status plain_hessian(qx_ctx *cx, const walk *w)
{
    qx_mat_zero(w->B);
    QX_TRY(fixed_part(cx, w, w->y));
    for (size_t k = w->f; k < w->m; k++) {
        QX_AT(w->B, k, k) = 1.0;
    }
    return QX_OK;
}

/* A B that is not positive definite (a deviation between its maximum and zero) is left for a
 * plain one: a ridge alone makes steps so short that they look like the end. */
static qx_status one_step(qx_ctx *cx, walk *w, bool *moved, double *decrement)
{
    bool pure;
    QX_TRY(solve(cx, w, w->g, decrement, &pure));
    if (!pure && !newton(w)) {
        QX_TRY(plain_hessian(cx, w));
        QX_TRY(solve(cx, w, w->g, decrement, &pure));
    }
    QX_TRY(advance(cx, w, *decrement, moved));
    if (*moved) {
        QX_TRY(settle(cx, w));
    }
    return QX_OK;
}

/* Quasi-Newton (or Newton) steps until one promises less than `below`. */
static qx_status walk_up(qx_ctx *cx, walk *w, double below, qx_class_summit *out)
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
static qx_status polish(qx_ctx *cx, walk *w, bool *standing)
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
        QX_TRY(look(cx, w, w->y, &w->value, w->g));
        *standing = longest < STANDSTILL;
    }
    return QX_OK;
}

static qx_status hessian_here(qx_ctx *cx, const walk *w)
{
    return newton(w) ? fixed_part(cx, w, w->y) : differences(cx, w, 0);
}

static qx_status finish(qx_ctx *cx, walk *w, qx_class_summit *out)
{
    bool standing;
    QX_TRY(hessian_here(cx, w));
    QX_TRY(polish(cx, w, &standing));
    if (!standing) {
        /* Far from quadratic: more steps from this Hessian, then once more. */
        QX_TRY(walk_up(cx, w, CLOSE, out));
        QX_TRY(hessian_here(cx, w));
        QX_TRY(polish(cx, w, &standing));
    }
    out->converged = out->converged && !out->runaway;
    return hessian_here(cx, w);
}

static qx_status walk_new(qx_ctx *cx, const qx_class_climb *climb, double z[], walk *w)
{
    const qx_class_model *model = climb->model;
    *w = (walk){.climb = climb, .model = model, .z = z};
    w->f = climb->basis.at == NULL ? model->P : climb->basis.cols;
    QX_NEW(cx, w->deviation, model->D);
    for (size_t k = 0; k < model->D; k++) {
        if (climb->held == NULL || !climb->held[k]) {
            w->deviation[w->moving++] = k;
        }
    }
    w->m = w->f + w->moving;
    QX_NEW(cx, w->full, model->P + model->D);
    QX_NEW(cx, w->y, w->m);
    QX_NEW(cx, w->g, w->m);
    QX_NEW(cx, w->trial, w->m);
    QX_NEW(cx, w->trial_g, w->m);
    QX_NEW(cx, w->step, w->m);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), w->m, w->m, &w->B));
    return qx_mat_new(cx, qx_ctx_scratch(cx), w->m, w->m, &w->L);
}

static bool may_guess(const walk *w)
{
    const qx_mat *guess = w->climb->guess;
    if (guess == NULL || newton(w)) {
        return false;
    }
    for (size_t i = 0; i < guess->rows; i++) {
        if (!(QX_AT(*guess, i, i) > 0.0)) {
            return false;
        }
    }
    return true;
}

/* B = J' guess J, J the change of z with y. */
static qx_status take_guess(qx_ctx *cx, const walk *w)
{
    const size_t P = w->model->P, all = P + w->model->D;
    qx_mat J, half;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), all, w->m, &J));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), all, w->m, &half));
    for (size_t j = 0; j < w->f; j++) {
        for (size_t i = 0; i < P; i++) {
            QX_AT(J, i, j) = w->climb->basis.at == NULL ? (i == j ? 1.0 : 0.0)
                                                        : QX_AT(w->climb->basis, i, j);
        }
    }
    for (size_t k = 0; k < w->moving; k++) {
        QX_AT(J, P + w->deviation[k], w->f + k) = 1.0;
    }
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, *w->climb->guess, J, 0.0, half));
    return qx_mat_multiply(cx, 't', 'n', 1.0, J, half, 0.0, w->B);
}

/* First B: the guess, or the information at u = 0 with differences for the deviations. */
static qx_status set_out(qx_ctx *cx, walk *w)
{
    coordinates(w, w->z, w->y);
    QX_TRY(look(cx, w, w->y, &w->value, w->g));
    if (!(w->value > -HUGE_VAL)) {
        return qx_fail(cx, QX_E_NUMERIC, "the likelihood is not finite at its start");
    }
    if (may_guess(w)) {
        return take_guess(cx, w);
    }
    QX_TRY(fixed_part(cx, w, w->y));
    return w->moving > 0 ? differences(cx, w, w->f) : QX_OK;
}

/* Deviations near zero: put there, or sent out again where the likelihood rises away from
 * it. Gives whether the walk must start again. */
static qx_status look_at_zeros(qx_ctx *cx, walk *w, bool zero[], bool *again)
{
    const size_t P = w->model->P;
    *again = false;
    for (size_t k = 0; k < w->moving; k++) {
        double value, at_zero;
        if (!(fabs(w->y[w->f + k]) < ZERO_DEVIATION)) {
            continue;
        }
        memcpy(w->trial, w->y, w->m * sizeof *w->y);
        w->trial[w->f + k] = 0.0;
        QX_TRY(look(cx, w, w->trial, &at_zero, NULL));
        w->trial[w->f + k] = RESTART;
        QX_TRY(look(cx, w, w->trial, &value, NULL));
        if (value > at_zero) {
            w->y[w->f + k] = RESTART;
            *again = true;
        } else {
            w->y[w->f + k] = 0.0;
            zero[w->deviation[k]] = true;
        }
    }
    place(w, w->y, w->z);
    for (size_t k = 0; k < w->model->D; k++) {
        w->z[P + k] = fabs(w->z[P + k]);
    }
    return QX_OK;
}

static void hand_out(const walk *w, const bool zero[], qx_class_summit *out)
{
    out->value = w->value;
    if (out->at_zero != NULL) {
        memcpy(out->at_zero, zero, w->model->D * sizeof *zero);
    }
    if (out->hessian.at == NULL) {
        return;
    }
    qx_mat_zero(out->hessian);
    for (size_t j = 0; j < w->m; j++) {
        const size_t b = j < w->f ? j : w->f + w->deviation[j - w->f];
        for (size_t i = 0; i < w->m; i++) {
            const size_t a = i < w->f ? i : w->f + w->deviation[i - w->f];
            QX_AT(out->hessian, a, b) = QX_AT(w->B, i, j);
        }
    }
}

/* The last steps with what is at zero held there; gives whether one more came near it. */
static qx_status end_walk(qx_ctx *cx,
                          const qx_class_climb *climb,
                          double z[],
                          bool zero[],
                          qx_class_summit *out,
                          bool *more)
{
    const size_t P = climb->model->P, D = climb->model->D;
    qx_class_climb last = *climb;
    bool *held;
    walk w;
    QX_NEW(cx, held, D);
    for (size_t k = 0; k < D; k++) {
        held[k] = zero[k] || (climb->held != NULL && climb->held[k]);
    }
    last.held = held;
    QX_TRY(walk_new(cx, &last, z, &w));
    coordinates(&w, z, w.y);
    QX_TRY(look(cx, &w, w.y, &w.value, w.g));
    QX_TRY(finish(cx, &w, out));
    place(&w, w.y, z);
    *more = false;
    for (size_t k = 0; k < D; k++) {
        z[P + k] = fabs(z[P + k]);
        if (!held[k] && z[P + k] < ZERO_AT_END) {
            z[P + k] = 0.0;
            zero[k] = true;
            *more = true;
        }
    }
    hand_out(&w, zero, out);
    return QX_OK;
}

static qx_status climb_once(qx_ctx *cx,
                            const qx_class_climb *climb,
                            double z[],
                            bool zero[],
                            qx_class_summit *out)
{
    walk w;
    bool again = true;
    QX_TRY(walk_new(cx, climb, z, &w));
    for (size_t i = 0; i <= RESTARTS_MOST && again; i++) {
        QX_TRY(set_out(cx, &w));
        QX_TRY(walk_up(cx, &w, climb->loose ? LOOSE : CLOSE, out));
        QX_TRY(look_at_zeros(cx, &w, zero, &again));
    }
    hand_out(&w, zero, out);
    bool more = out->hessian.at != NULL && !out->runaway;
    while (more) {
        QX_TRY(end_walk(cx, climb, z, zero, out, &more));
    }
    return QX_OK;
}

static qx_status
climb_up(qx_ctx *cx, const qx_class_climb *climb, double z[], qx_class_summit *out)
{
    bool *zero;
    double *end;
    QX_NEW(cx, zero, climb->model->D);
    QX_NEW(cx, end, climb->model->P + climb->model->D);
    memcpy(end, z, (climb->model->P + climb->model->D) * sizeof *z);
    QX_TRY(climb_once(cx, climb, end, zero, out));
    memcpy(z, end, (climb->model->P + climb->model->D) * sizeof *z);
    return QX_OK;
}

qx_status qx_class_climb_up(qx_ctx *cx,
                            const qx_class_climb *climb,
                            double z[],
                            qx_class_summit *out)
{
    qx_class_summit end = {.at_zero = out->at_zero, .hessian = out->hessian};
    qx_status status;
    QX_SCRATCH(cx, status, climb_up(cx, climb, z, &end));
    if (status == QX_OK) {
        *out = end;
    }
    return status;
}
