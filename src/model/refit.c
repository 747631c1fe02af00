#include "model/refit.h"

#include <math.h>

#include "model/graded.h"
#include "model/lm.h"
#include "model/plan.h"
#include "model/reml.h"

const qx_lmm_plan *qx_lmm_plan_of(const qx_lmm *fit)
{
    return fit->inner->plan;
}

/* By a whole fit, where the search alone is not all there is to it. */
static qx_status
by_fit(qx_ctx *cx, const qx_lmm_plan *plan, const double y[], double *out)
{
    qx_lmm *fit;
    QX_TRY(qx_lmm_refit(cx, plan, y, 0.0, &fit));
    *out = fit->reml_criterion;
    qx_lmm_free(fit);
    return QX_OK;
}

/* r = My, y scaled: twice, so that what rounding left of X goes as well. */
static qx_status
project(qx_ctx *cx, const qx_lmm_plan *plan, const double y[], double *scale, double r[])
{
    double *along;
    QX_NEW(cx, along, plan->p);
    QX_TRY(qx_lm_scale(cx, plan->n, y, scale));
    for (size_t i = 0; i < plan->n; i++) {
        r[i] = y[i] / *scale;
    }
    for (int pass = 0; pass < 2; pass++) {
        qx_mat_vector('t', 1.0, plan->Q, r, 0.0, along);
        qx_mat_vector('n', -1.0, plan->Q, along, 1.0, r);
    }
    return QX_OK;
}

static qx_status
by_search(qx_ctx *cx, const qx_lmm_plan *plan, const double y[], qx_lmm *fit, double *out)
{
    struct qx_lmm_inner *in = fit->inner;
    double *r;
    qx_descent_end end;
    fit->n = plan->n;
    fit->p = plan->p;
    in->log_r = plan->log_r;
    QX_NEW(cx, r, plan->n);
    QX_TRY(project(cx, plan, y, &in->scale, r));
    if (qx_lm_exhausted(fit->n, r)) {
        return QX_OK;
    }
    QX_TRY(qx_profile_again(cx, fit->arena, &plan->profile, plan->code, r, &in->profile));
    QX_NEW_IN(cx, fit->arena, in->gamma, in->profile.m);
    QX_TRY(qx_profile_search_room(cx, fit->arena, &in->profile, &in->at));
    QX_TRY(qx_reml_search(cx, &in->profile, &in->at, in->gamma, &end));
    if (qx_graded_wanted(&in->profile, &in->at)) {
        return by_fit(cx, plan, y, out);
    }
    if (!qx_reml_without_residual(&end, in->profile.m, in->gamma)) {
        *out = qx_lm_reml_criterion(fit);
    }
    return QX_OK;
}

qx_status
qx_lmm_refit_criterion(qx_ctx *cx, const qx_lmm_plan *plan, const double y[], double *out)
{
    struct qx_lmm_inner inner = {.scale = 1.0};
    qx_lmm fit = {.inner = &inner};
    double value = NAN;
    qx_status status;
    if (plan->spec.covariance != NULL || plan->profile.reduced != NULL ||
        plan->profile.m == 0) {
        return by_fit(cx, plan, y, out);
    }
    fit.arena = qx_arena_new();
    if (fit.arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a fit");
    }
    QX_SCRATCH(cx, status, by_search(cx, plan, y, &fit, &value));
    qx_arena_free(fit.arena);
    QX_TRY(status);
    *out = value;
    return QX_OK;
}
