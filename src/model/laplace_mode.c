/* model/laplace_mode.c - one set of random columns: predictors, likelihood terms, and the mode
 * of the effects by Newton steps (penalised iteratively reweighted least squares). */
#include <math.h>
#include <string.h>

#include "model/laplace_inner.h"

/* Newton steps to a mode: half the squared step, in units of F, below which one more step
 * takes the error to rounding (it squares). */
static const double MODE_PRECISION = 1e-13;
/* Below this, and below the rounding of F, F cannot tell whether a step was good: full steps,
 * until they no longer shrink. */
static const double MODE_NEAR = 1e-8;
enum { MODE_STEPS = 200, MODE_HALVINGS = 60 };

void qx_laplace_predict(qx_laplace_room *room,
                        const qx_laplace_set *set,
                        const double u[])
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t m = f->random_count;
    memcpy(
        room->eta, &room->fixed[set->row * f->d], set->rows * f->d * sizeof *room->eta);
    for (size_t j = 0; j < set->rows; j++) {
        const uint32_t *column = &room->plan->column[(set->row + j) * m];
        for (size_t k = 0; k < m; k++) {
            room->eta[j * f->d + f->random[k].predictor] += room->sd[k] * u[column[k]];
        }
    }
}

void qx_laplace_rows(qx_laplace_room *room,
                     const qx_laplace_set *set,
                     qx_rows_order order)
{
    room->plan->problem.likelihood(room->data,
                                   set->rows,
                                   &room->plan->row[set->row],
                                   room->eta,
                                   room->psi,
                                   order,
                                   &room->terms);
}

/* F = sum l - u'u/2 from the terms; -INFINITY where it is not a number. */
static double
log_joint(const qx_laplace_room *room, const qx_laplace_set *set, const double u[])
{
    double sum = 0.0;
    for (size_t j = 0; j < set->rows; j++) {
        sum += room->terms.l[j];
    }
    for (size_t c = 0; c < set->columns; c++) {
        sum -= 0.5 * u[c] * u[c];
    }
    return isnan(sum) || sum == (double)INFINITY ? -(double)INFINITY : sum;
}

static void
joint_gradient(qx_laplace_room *room, const qx_laplace_set *set, const double u[])
{
    const qx_laplace_problem *f = &room->plan->problem;
    const size_t m = f->random_count;
    for (size_t c = 0; c < set->columns; c++) {
        room->gradient[c] = -u[c];
    }
    for (size_t j = 0; j < set->rows; j++) {
        const uint32_t *column = &room->plan->column[(set->row + j) * m];
        for (size_t k = 0; k < m; k++) {
            room->gradient[column[k]] +=
                room->sd[k] * room->terms.g[j * f->d + f->random[k].predictor];
        }
    }
}

/* The Newton step into room->step; where H is not positive definite (beta-binomial far from
 * the mode) with a ridge that makes it so. Gives g'H^-1 g. */
static double newton_step(qx_ctx *cx, qx_laplace_room *room, const qx_laplace_set *set)
{
    double ridge = 0.0, decrement = 0.0;
    while (!qx_laplace_factor(cx, room, set, ridge)) {
        ridge = ridge == 0.0 ? 1.0 : 10.0 * ridge;
        if (ridge > 1e12) {
            return NAN;
        }
    }
    memcpy(room->step, room->gradient, set->columns * sizeof *room->step);
    qx_laplace_solve(room, set, room->step);
    for (size_t c = 0; c < set->columns; c++) {
        decrement += room->gradient[c] * room->step[c];
    }
    return decrement;
}

/* u = before + part step, the terms there; gives F. */
static double move(qx_laplace_room *room,
                   const qx_laplace_set *set,
                   double part,
                   double u[],
                   qx_rows_order order)
{
    for (size_t c = 0; c < set->columns; c++) {
        u[c] = room->before[c] + part * room->step[c];
    }
    qx_laplace_predict(room, set, u);
    qx_laplace_rows(room, set, order);
    return log_joint(room, set, u);
}

/* Where F can be had: at the start in u, else at 0. */
static double begin(qx_laplace_room *room, const qx_laplace_set *set, double u[])
{
    memcpy(room->before, u, set->columns * sizeof *u);
    double F = move(room, set, 0.0, u, QX_ROWS_CURVE);
    if (F == -(double)INFINITY) {
        memset(room->before, 0, set->columns * sizeof *u);
        F = move(room, set, 0.0, u, QX_ROWS_CURVE);
    }
    return F;
}

bool qx_laplace_mode(qx_ctx *cx,
                     qx_laplace_room *room,
                     const qx_laplace_set *set,
                     double u[],
                     qx_rows_order order,
                     double *joint)
{
    if (set->columns == 0) {
        *joint = move(room, set, 0.0, u, order);
        return *joint != -(double)INFINITY;
    }
    double F = begin(room, set, u), before = INFINITY;
    for (size_t i = 0; i < MODE_STEPS && F != -(double)INFINITY; i++) {
        joint_gradient(room, set, u);
        const double decrement = newton_step(cx, room, set);
        if (isnan(decrement)) {
            return false;
        }
        const bool near = decrement < fmax(MODE_NEAR, room->rounding);
        const bool last =
            decrement < MODE_PRECISION || (near && decrement > 0.5 * before);
        before = decrement;
        memcpy(room->before, u, set->columns * sizeof *u);
        double part = 1.0, now = move(room, set, part, u, last ? order : QX_ROWS_CURVE);
        if (last) {
            *joint = now;
            return now != -(double)INFINITY && qx_laplace_factor(cx, room, set, 0.0);
        }
        /* Rounding of F is not a fall. */
        const double slack = 1e-13 * (1.0 + fabs(F)) + room->rounding;
        for (size_t cut = 0; !near && !(now >= F - slack) && cut < MODE_HALVINGS; cut++) {
            part *= 0.5;
            now = move(room, set, part, u, QX_ROWS_CURVE);
        }
        F = now;
    }
    return false;
}
