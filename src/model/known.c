#include "model/known.h"

#include <math.h>
#include <string.h>

#include "model/containment.h"
#include "model/graded.h"
#include "model/information.h"
#include "model/kenward.h"
#include "model/plan.h"
#include "model/rows.h"
#include "model/satterthwaite.h"
#include "numeric/chol.h"

static qx_status check(qx_ctx *cx, const qx_lmm_plan *plan, const double variance[])
{
    bool fine = plan->spec.covariance == NULL;
    for (size_t k = 0; k <= plan->spec.random_count; k++) {
        const bool residual = k == plan->spec.random_count;
        fine = fine && isfinite(variance[k]) && variance[k] >= 0.0 &&
               (!residual || variance[k] > 0.0);
    }
    return fine ? QX_OK
                : qx_fail(cx,
                          QX_E_ARG,
                          "known variances must be finite and not below 0, the residual "
                          "above 0, and of independent units");
}

static qx_status df_of(qx_ctx *cx, qx_lmm *fit, const uint32_t *const code[])
{
    QX_TRY(qx_information_make(cx, fit));
    switch (fit->df) {
    case QX_KENWARD_ROGER:
        return qx_kenward_prepare(cx, fit);
    case QX_SATTERTHWAITE: /* without data the observed information is the expected one */
        return qx_information_expected(cx, fit);
    case QX_CONTAINMENT:
        QX_TRY(qx_information_expected(cx, fit));
        return qx_containment_prepare(cx, fit, code);
    }
    return qx_fail(cx, QX_E_ARG, "there is no such method of degrees of freedom");
}

static qx_status grade(qx_ctx *cx, const qx_lmm_plan *plan, qx_lmm *fit)
{
    qx_profile graded;
    double *nil;
    QX_NEW(cx, nil, fit->n);
    const qx_graded_of of = {.profile = &fit->inner->profile,
                             .code = plan->code,
                             .design = &fit->design,
                             .log_x = fit->inner->log_r,
                             .r = nil};
    QX_TRY(qx_graded_make(cx, fit->arena, &of, &graded));
    fit->inner->profile = graded;
    return QX_OK;
}

static qx_status
mixed(qx_ctx *cx, const qx_lmm_plan *plan, const double variance[], qx_lmm *fit)
{
    struct qx_lmm_inner *in = fit->inner;
    in->component_of = plan->component_of;
    in->confounded = plan->confounded;
    in->profile = plan->profile;
    QX_NEW_IN(cx, fit->arena, in->gamma, in->profile.m);
    for (size_t k = 0; k < in->profile.m; k++) {
        in->gamma[k] = variance[in->component_of[k]] / in->sigma2;
    }
    if (qx_graded_steep(&in->profile, in->gamma) && qx_graded_fits(&in->profile)) {
        QX_TRY(grade(cx, plan, fit));
    }
    QX_TRY(qx_profile_room(cx, fit->arena, &in->profile, &in->at));
    QX_TRY(qx_profile_evaluate(cx, &in->profile, in->gamma, &in->at));
    return df_of(cx, fit, plan->code);
}

static qx_status least_squares(qx_ctx *cx, const qx_lmm_plan *plan, qx_lmm *fit)
{
    (void)cx;
    fit->inner->phi = plan->gram_inverse;
    fit->inner->adjusted = plan->gram_inverse;
    return QX_OK;
}

static qx_status
describe(qx_ctx *cx, const qx_lmm_plan *plan, const double variance[], qx_lmm *fit)
{
    const qx_lmm_spec *spec = &plan->spec;
    QX_NEW_IN(cx, fit->arena, fit->component, spec->random_count + 1);
    fit->component_count = spec->random_count + 1;
    for (size_t k = 0; k < fit->component_count; k++) {
        const bool residual = k == spec->random_count;
        fit->component[k] =
            (qx_component){.name = residual ? "residual" : spec->random[k].name,
                           .variance = variance[k],
                           .sd = sqrt(variance[k]),
                           .lower = NAN,
                           .upper = NAN,
                           .lrt = NAN,
                           .p = NAN,
                           .at_zero = variance[k] == 0.0};
    }
    return QX_OK;
}

static qx_status in_data_units(qx_ctx *cx, qx_lmm *fit)
{
    double *beta;
    QX_NEW_IN(cx, fit->arena, beta, fit->p);
    QX_TRY(qx_mat_new(cx, fit->arena, fit->p, fit->p, &fit->phi));
    for (size_t j = 0; j < fit->p; j++) {
        for (size_t i = 0; i < fit->p; i++) {
            QX_AT(fit->phi, i, j) = fit->inner->sigma2 * QX_AT(fit->inner->phi, i, j);
        }
    }
    fit->beta = beta;
    fit->phi_adjusted = fit->phi;
    return QX_OK;
}

static qx_status
make(qx_ctx *cx, const qx_lmm_plan *plan, const double variance[], qx_lmm *fit)
{
    struct qx_lmm_inner *in;
    QX_NEW_IN(cx, fit->arena, in, 1);
    fit->inner = in;
    fit->design = plan->design;
    fit->n = plan->n;
    fit->p = plan->p;
    fit->df = plan->spec.df;
    fit->random_count = plan->spec.random_count;
    fit->residual_df = (double)(plan->n - plan->p);
    fit->residual_lrt = fit->residual_lrt_df = fit->residual_lrt_p = NAN;
    fit->reml_criterion = fit->log_likelihood = fit->residual_ss = fit->cv_percent = NAN;
    fit->converged = true;
    in->scale = 1.0;
    in->sigma2 = variance[fit->random_count];
    in->r_transposed = plan->r_transposed;
    in->log_r = plan->log_r;
    in->level = plan->spec.level;
    QX_NEW_IN(cx, fit->arena, in->beta, fit->p);
    QX_TRY(fit->random_count == 0 ? least_squares(cx, plan, fit)
                                  : mixed(cx, plan, variance, fit));
    in->adjusted = in->phi; /* nothing is estimated, so nothing is to be made good */
    QX_TRY(describe(cx, plan, variance, fit));
    return in_data_units(cx, fit);
}

qx_status
qx_lmm_known(qx_ctx *cx, const qx_lmm_plan *plan, const double variance[], qx_lmm **out)
{
    QX_TRY(check(cx, plan, variance));
    qx_arena *arena = qx_arena_new();
    qx_lmm *fit = arena == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *fit);
    if (fit == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for a model");
    }
    fit->arena = arena;
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, make(cx, plan, variance, fit));
    if (status != QX_OK) {
        qx_lmm_free(fit);
        return status;
    }
    *out = fit;
    return QX_OK;
}

static qx_status noncentrality(
    qx_ctx *cx, const qx_lmm *known, qx_mat L, const double effect[], double *ncp)
{
    qx_mat M;
    double *x;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, L.rows, &M));
    QX_NEW(cx, x, L.rows);
    memcpy(x, effect, L.rows * sizeof *x);
    QX_TRY(qx_rows_sandwich(cx, L, known->phi, M));
    QX_TRY(qx_chol_factor(cx, M));
    QX_TRY(qx_chol_solve_lower(cx, 'n', M, qx_mat_of(x, L.rows, 1)));
    *ncp = 0.0;
    for (size_t i = 0; i < L.rows; i++) {
        *ncp += x[i] * x[i];
    }
    return QX_OK;
}

qx_status qx_lmm_noncentrality(qx_ctx *cx,
                               const qx_lmm *known,
                               qx_mat L,
                               const double effect[],
                               double *ncp,
                               double *den_df)
{
    qx_joint_test test;
    qx_status status = QX_OK;
    double found = 0.0;
    QX_TRY(qx_lmm_test(cx, known, L, &test));
    QX_SCRATCH(cx, status, noncentrality(cx, known, L, effect, &found));
    QX_TRY(status);
    *ncp = found;
    *den_df = test.den_df;
    return QX_OK;
}
