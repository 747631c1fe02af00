#include "model/class_climb.h"

#include <math.h>
#include <string.h>

#include "model/class_walk.h"

#define RESTARTS_MOST 2

/* Half the decrement is what a step promises of log L: the quasi-Newton steps end here. */
static const double LOOSE = 2e-7, CLOSE = 1e-9;
/* Below it a deviation is looked at from zero and from RESTART; after polishing, which goes
 * to zero faster than quadratically, nothing real is as small as ZERO_AT_END. */
static const double ZERO_DEVIATION = 1e-3, RESTART = 0.1, ZERO_AT_END = 1e-7;

/* Deviations near zero: put there, or sent out again where the likelihood rises away from
 * it. Gives whether the walk must start again. */
static qx_status look_at_zeros(qx_ctx *cx, qx_class_walk *w, bool zero[], bool *again)
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
        QX_TRY(qx_class_walk_look(cx, w, w->trial, &at_zero, NULL));
        w->trial[w->f + k] = RESTART;
        QX_TRY(qx_class_walk_look(cx, w, w->trial, &value, NULL));
        if (value > at_zero) {
            w->y[w->f + k] = RESTART;
            *again = true;
        } else {
            w->y[w->f + k] = 0.0;
            zero[w->deviation[k]] = true;
        }
    }
    qx_class_walk_place(w, w->y, w->z);
    for (size_t k = 0; k < w->model->D; k++) {
        w->z[P + k] = fabs(w->z[P + k]);
    }
    return QX_OK;
}

static void hand_out(const qx_class_walk *w, const bool zero[], qx_class_summit *out)
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
    qx_class_walk w;
    QX_NEW(cx, held, D);
    for (size_t k = 0; k < D; k++) {
        held[k] = zero[k] || (climb->held != NULL && climb->held[k]);
    }
    last.held = held;
    QX_TRY(qx_class_walk_new(cx, &last, z, &w));
    qx_class_walk_coordinates(&w, z, w.y);
    QX_TRY(qx_class_walk_look(cx, &w, w.y, &w.value, w.g));
    QX_TRY(qx_class_walk_finish(cx, &w, out));
    qx_class_walk_place(&w, w.y, z);
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
    qx_class_walk w;
    bool again = true;
    QX_TRY(qx_class_walk_new(cx, climb, z, &w));
    for (size_t i = 0; i <= RESTARTS_MOST && again; i++) {
        QX_TRY(qx_class_walk_set_out(cx, &w));
        QX_TRY(qx_class_walk_up(cx, &w, climb->loose ? LOOSE : CLOSE, out));
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
