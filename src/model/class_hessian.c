#include <math.h>
#include <string.h>

#include "model/class_walk.h"

/* Step of differences of the gradient: its error h^2 and rounding 1e-13 / h are both far
 * below the five digits that standard errors owe. */
static const double DIFFERENCE = 1e-4;

qx_status
qx_class_walk_new(qx_ctx *cx, const qx_class_climb *climb, double z[], qx_class_walk *w)
{
    const qx_class_model *model = climb->model;
    *w = (qx_class_walk){.climb = climb, .model = model};
    w->z = z;
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

void qx_class_walk_place(const qx_class_walk *w, const double y[], double z[])
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

void qx_class_walk_coordinates(const qx_class_walk *w, const double z[], double y[])
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

qx_status qx_class_walk_look(
    qx_ctx *cx, const qx_class_walk *w, const double y[], double *value, double g[])
{
    const size_t P = w->model->P;
    qx_class_walk_place(w, y, w->z);
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

bool qx_class_walk_newton(const qx_class_walk *w)
{
    return w->model->plan == NULL && !w->model->penalised;
}

/* B = basis' I basis from the information at u = 0, the deviations left as they are. */
qx_status qx_class_walk_information(qx_ctx *cx, const qx_class_walk *w, const double y[])
{
    const size_t P = w->model->P;
    qx_mat full, half;
    qx_class_walk_place(w, y, w->z);
    if (w->climb->basis.at == NULL) {
        return qx_class_information(
            cx, w->model, w->z, !qx_class_walk_newton(w), qx_mat_part(w->B, 0, 0, P, P));
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), P, P, &full));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), P, w->f, &half));
    QX_TRY(qx_class_information(cx, w->model, w->z, !qx_class_walk_newton(w), full));
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
static qx_status differences(qx_ctx *cx, const qx_class_walk *w, size_t first)
{
    double value, *up, *down, *y;
    QX_NEW(cx, up, w->m);
    QX_NEW(cx, down, w->m);
    QX_NEW(cx, y, w->m);
    memcpy(y, w->y, w->m * sizeof *y);
    for (size_t j = first; j < w->m; j++) {
        y[j] = w->y[j] + DIFFERENCE;
        QX_TRY(qx_class_walk_look(cx, w, y, &value, up));
        y[j] = w->y[j] - DIFFERENCE;
        QX_TRY(qx_class_walk_look(cx, w, y, &value, down));
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

/* B from what is known for certain: the information at u = 0, and one for each deviation. */
qx_status qx_class_walk_plain(qx_ctx *cx, const qx_class_walk *w)
{
    qx_mat_zero(w->B);
    QX_TRY(qx_class_walk_information(cx, w, w->y));
    for (size_t k = w->f; k < w->m; k++) {
        QX_AT(w->B, k, k) = 1.0;
    }
    return QX_OK;
}

qx_status qx_class_walk_hessian(qx_ctx *cx, const qx_class_walk *w)
{
    return qx_class_walk_newton(w) ? qx_class_walk_information(cx, w, w->y)
                                   : differences(cx, w, 0);
}

static bool may_guess(const qx_class_walk *w)
{
    const qx_mat *guess = w->climb->guess;
    if (guess == NULL || qx_class_walk_newton(w)) {
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
static qx_status take_guess(qx_ctx *cx, const qx_class_walk *w)
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
qx_status qx_class_walk_set_out(qx_ctx *cx, qx_class_walk *w)
{
    qx_class_walk_coordinates(w, w->z, w->y);
    QX_TRY(qx_class_walk_look(cx, w, w->y, &w->value, w->g));
    if (!(w->value > -HUGE_VAL)) {
        return qx_fail(cx, QX_E_NUMERIC, "the likelihood is not finite at its start");
    }
    if (may_guess(w)) {
        return take_guess(cx, w);
    }
    QX_TRY(qx_class_walk_information(cx, w, w->y));
    return w->moving > 0 ? differences(cx, w, w->f) : QX_OK;
}
