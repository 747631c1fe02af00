/* model/glmm_hold.c - the same model with its variances held: what the likelihood says about
 * beta, and about the variances, when they are where they are put. */
#include <math.h>
#include <string.h>

#include "model/glmm_inner.h"

/* Half the squared last step, in units of log L. */
static const double PRECISION = 1e-12;

/* Everything but beta stays where it is put. */
static qx_status hold_all(qx_ctx *cx,
                          const qx_glmm *fit,
                          const double sd[],
                          double psi,
                          qx_glmm *held,
                          double **start)
{
    struct qx_glmm_inner *inner = held->inner;
    const size_t from = fit->p + fit->m;
    bool *fixed;
    double *x;
    QX_NEW_IN(cx, held->arena, fixed, fit->length);
    QX_NEW_IN(cx, held->arena, x, fit->length);
    memcpy(x, fit->inner->fit.x, fit->length * sizeof *x);
    for (size_t k = 0; k < fit->m; k++) {
        x[fit->p + k] = inner->doubled[k] ? 0.0 : sd[k];
    }
    for (size_t j = fit->p; j < fit->length; j++) {
        const bool before = fit->inner->held != NULL && fit->inner->held[j];
        x[j] = j < from || before ? x[j] : psi;
        fixed[j] = true;
    }
    inner->held = fixed;
    *start = x;
    return QX_OK;
}

static qx_status
hold(qx_ctx *cx, const qx_glmm *fit, const double sd[], double psi, qx_glmm *held)
{
    struct qx_glmm_inner *inner = held->inner;
    double *x = NULL;
    QX_TRY(hold_all(cx, fit, sd, psi, held, &x));
    const qx_laplace_options options = {
        .fixed = inner->held, .precision = PRECISION, .no_curvature = true};
    QX_TRY(qx_glmm_maximise(
        cx, held->arena, inner, fit->family, &inner->data, x, &options, &inner->fit));
    held->sd = &inner->fit.x[fit->p];
    held->psi = fit->family->parameters > 0 ? held->sd[fit->m] : 0.0;
    held->log_likelihood = inner->fit.value - inner->fit.penalty;
    held->converged = inner->fit.converged;
    held->iterations = inner->fit.iterations;
    return QX_OK;
}

qx_status
qx_glmm_hold(qx_ctx *cx, const qx_glmm *fit, const double sd[], double psi, qx_glmm **out)
{
    qx_status status;
    if (fit->inner->restricted) {
        return qx_fail(cx, QX_E_ARG, "a fit under a hypothesis cannot be held");
    }
    qx_arena *arena = qx_arena_new();
    qx_glmm *held = arena == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *held);
    struct qx_glmm_inner *inner =
        held == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *inner);
    if (inner == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for a fit");
    }
    *held = *fit;
    *inner = *fit->inner;
    held->arena = arena;
    held->inner = inner;
    QX_SCRATCH(cx, status, hold(cx, fit, sd, psi, held));
    if (status != QX_OK) {
        qx_arena_free(arena);
        return status;
    }
    *out = held;
    return QX_OK;
}

qx_status qx_glmm_slope(qx_ctx *cx, const qx_glmm *fit, double slope[])
{
    const struct qx_glmm_inner *inner = fit->inner;
    qx_status status;
    double value, *gradient, *u;
    const qx_arena_mark mark = qx_arena_get_mark(qx_ctx_scratch(cx));
    const size_t columns = qx_laplace_columns(inner->plan);
    QX_NEW(cx, gradient, fit->length);
    QX_NEW(cx, u, columns);
    memcpy(u, inner->fit.u, columns * sizeof *u);
    status = qx_laplace_evaluate(
        cx, inner->plan, &inner->data, inner->fit.x, u, &value, gradient);
    for (size_t j = fit->p; status == QX_OK && j < fit->length; j++) {
        slope[j - fit->p] = gradient[j];
    }
    qx_arena_rewind(qx_ctx_scratch(cx), mark);
    return status;
}
