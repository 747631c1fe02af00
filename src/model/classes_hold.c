/* model/classes_hold.c - the same model with the deviations of its random terms held. */
#include <math.h>
#include <string.h>

#include "model/classes.h"
#include "model/classes_inner.h"

static qx_status
hold(qx_ctx *cx, const qx_classes *fit, const double sd[], qx_classes *held)
{
    struct qx_classes_inner *in = held->inner;
    const size_t P = in->model.P, D = in->model.D;
    bool *all;
    double *z;
    qx_class_summit summit = {0};
    QX_NEW_IN(cx, held->arena, all, D);
    QX_NEW_IN(cx, held->arena, z, P + D);
    memcpy(z, fit->inner->z, P * sizeof *z);
    for (size_t k = 0; k < D; k++) {
        all[k] = true;
        z[P + k] = sd[k];
    }
    const qx_class_climb climb = {
        .model = &in->model, .held = all, .guess = &fit->inner->hessian};
    QX_TRY(qx_class_climb_up(cx, &climb, z, &summit));
    in->held = all;
    in->z = z;
    in->value = summit.value;
    held->converged = summit.converged;
    held->log_likelihood = summit.value;
    return QX_OK;
}

qx_status
qx_classes_hold(qx_ctx *cx, const qx_classes *fit, const double sd[], qx_classes **out)
{
    qx_status status;
    qx_arena *arena = qx_arena_new();
    qx_classes *held = arena == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *held);
    struct qx_classes_inner *inner =
        held == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *inner);
    if (inner == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for a fit");
    }
    *held = *fit;
    *inner = *fit->inner;
    held->arena = arena;
    held->inner = inner;
    QX_SCRATCH(cx, status, hold(cx, fit, sd, held));
    if (status != QX_OK) {
        qx_arena_free(arena);
        return status;
    }
    *out = held;
    return QX_OK;
}

qx_status qx_classes_slope(qx_ctx *cx, const qx_classes *fit, double slope[])
{
    const struct qx_classes_inner *in = fit->inner;
    const size_t P = in->model.P, D = in->model.D;
    const qx_arena_mark mark = qx_arena_get_mark(qx_ctx_scratch(cx));
    double value, *gradient;
    QX_NEW(cx, gradient, P + D);
    const qx_status status = qx_class_objective(cx, &in->model, in->z, &value, gradient);
    if (status == QX_OK) {
        memcpy(slope, gradient + P, D * sizeof *slope);
    }
    qx_arena_rewind(qx_ctx_scratch(cx), mark);
    return status;
}
