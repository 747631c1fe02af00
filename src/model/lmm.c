#include "model/lmm.h"

#include <math.h>

#include "model/components.h"
#include "model/containment.h"
#include "model/design_rows.h"
#include "model/general_fit.h"
#include "model/information.h"
#include "model/kenward.h"
#include "model/lm.h"
#include "model/plan.h"
#include "model/reduced.h"
#include "model/reml.h"
#include "model/rows.h"
#include "model/satterthwaite.h"
#include "model/unconstrained.h"
#include "numeric/chol.h"
#include "numeric/sums.h"

/* gamma, the evaluated point and sigma2. */
static qx_status estimate(qx_ctx *cx, qx_lmm *fit, bool exhausted)
{
    struct qx_lmm_inner *in = fit->inner;
    const double df = (double)(fit->n - fit->p);
    qx_descent_end end = {.converged = true};
    bool told = false;
    QX_NEW_IN(cx, fit->arena, in->gamma, in->profile.m);
    QX_TRY(qx_profile_room(cx, fit->arena, &in->profile, &in->at));
    if (exhausted || in->profile.m == 0) {
        QX_TRY(qx_profile_evaluate(cx, &in->profile, in->gamma, &in->at));
    } else {
        QX_TRY(qx_reml_fit(cx, &in->profile, NULL, &in->at, in->gamma, &end));
        if (qx_reml_without_residual(&end, in->profile.m, in->gamma)) {
            QX_TRY(qx_profile_evaluate(cx, &in->profile, in->gamma, &in->at));
            QX_TRY(qx_note(cx,
                           "The response has no variation beyond what the treatments and "
                           "the units explain: nothing can be tested."));
            exhausted = told = true;
        }
    }
    if (in->profile.reduced != NULL) {
        QX_TRY(qx_reduced_exact(cx, &in->profile, &in->at));
    }
    fit->converged = end.converged;
    fit->iterations = end.iterations;
    in->sigma2 = exhausted || !(in->at.ypy > 0.0) ? 0.0 : in->at.ypy / df;
    if (exhausted && !told) {
        return qx_note(cx,
                       "The response has no variation beyond what the treatments "
                       "explain: nothing can be tested.");
    }
    return QX_OK;
}

static void describe(qx_lmm *fit)
{
    struct qx_lmm_inner *in = fit->inner;
    const double square = in->scale * in->scale;
    for (size_t k = 0; k < in->profile.m; k++) {
        qx_component *c = &fit->component[in->component_of[k]];
        c->variance = in->gamma[k] * in->sigma2 * square;
        if (in->gamma[k] > 0.0 && !(in->sigma2 > 0.0)) {
            c->variance = NAN; /* its ratio to nil is known, not its size */
        }
        c->at_zero = in->gamma[k] == 0.0;
    }
    fit->component[fit->random_count].variance = in->sigma2 * square;
    for (size_t k = 0; k < fit->component_count; k++) {
        fit->component[k].unconstrained = fit->component[k].variance;
    }
    fit->reml_criterion = in->sigma2 > 0.0 ? qx_lm_reml_criterion(fit) : (double)NAN;
    fit->log_likelihood = -0.5 * fit->reml_criterion;
    fit->residual_ss = NAN;
}

/* shift = C'u; r becomes y - X beta - Z u. */
static qx_status settle_dense(qx_ctx *cx,
                              const struct qx_lmm_inner *in,
                              const uint32_t *const code[],
                              qx_mat Q,
                              double r[],
                              double shift[])
{
    const qx_profile *f = &in->profile;
    double *u;
    QX_NEW(cx, u, f->q);
    QX_TRY(qx_profile_random(cx, f, &in->at, u));
    qx_mat_vector('t', 1.0, f->C, u, 0.0, shift);
    qx_mat_vector('n', 1.0, Q, shift, 1.0, r);
    for (size_t k = 0; k < f->m; k++) {
        for (size_t i = 0; i < f->n; i++) {
            r[i] -= u[f->start[k] + code[k][i]];
        }
    }
    return QX_OK;
}

/* beta := beta - R^-1 shift. */
static qx_status
settle_beta(qx_ctx *cx, qx_lmm *fit, const uint32_t *const code[], qx_mat Q, double r[])
{
    struct qx_lmm_inner *in = fit->inner;
    double *shift;
    QX_NEW(cx, shift, fit->p);
    QX_TRY(in->profile.reduced != NULL
               ? qx_reduced_settle(cx, &in->profile, &in->at, r, shift)
               : settle_dense(cx, in, code, Q, r, shift));
    QX_TRY(qx_chol_solve_lower(cx, 't', in->r_transposed, qx_mat_of(shift, fit->p, 1)));
    for (size_t j = 0; j < fit->p; j++) {
        in->beta[j] -= shift[j];
    }
    return QX_OK;
}
static qx_status prepare_df(qx_ctx *cx, qx_lmm *fit, const uint32_t *const code[])
{
    if (fit->inner->at.average && fit->df != QX_CONTAINMENT) {
        QX_TRY(qx_note(cx,
                       "There are so many units that cross that degrees of freedom rest "
                       "on the average of observed and expected information."));
    }
    QX_TRY(qx_information_make(cx, fit));
    switch (fit->df) {
    case QX_KENWARD_ROGER:
        return qx_kenward_prepare(cx, fit);
    case QX_SATTERTHWAITE:
        return qx_satterthwaite_prepare(cx, fit);
    case QX_CONTAINMENT:
        QX_TRY(qx_information_expected(cx, fit));
        return qx_containment_prepare(cx, fit, code);
    }
    return qx_fail(cx, QX_E_ARG, "there is no such method of degrees of freedom");
}

static qx_status mixed(qx_ctx *cx, const qx_lmm_plan *plan, qx_lmm *fit, double r[])
{
    struct qx_lmm_inner *in = fit->inner;
    in->component_of = plan->component_of;
    in->confounded = plan->confounded;
    QX_TRY(qx_profile_again(cx, fit->arena, &plan->profile, plan->code, r, &in->profile));
    QX_TRY(estimate(cx, fit, qx_lm_exhausted(fit->n, r)));
    QX_TRY(settle_beta(cx, fit, plan->code, plan->Q, r));
    QX_TRY(prepare_df(cx, fit, plan->code));
    describe(fit);
    return plan->spec.covariance != NULL ? QX_OK
                                         : qx_unconstrained_prepare(cx, plan, fit);
}

/* A p x p matrix in units of the data: sigma2 scale^2 times the unit one. */
static qx_status in_data_units(qx_ctx *cx, const qx_lmm *fit, qx_mat unit, qx_mat *out)
{
    const double s2 = fit->inner->sigma2 * fit->inner->scale * fit->inner->scale;
    QX_TRY(qx_mat_new(cx, fit->arena, fit->p, fit->p, out));
    for (size_t j = 0; j < fit->p; j++) {
        for (size_t i = 0; i < fit->p; i++) {
            QX_AT(*out, i, j) = s2 * QX_AT(unit, i, j);
        }
    }
    return QX_OK;
}

static qx_status
publish(qx_ctx *cx, const double y[], double shift, qx_lmm *fit, const double r[])
{
    const struct qx_lmm_inner *in = fit->inner;
    const double mean = qx_mean(fit->n, y) + shift;
    double *beta, *fitted, *residual;
    QX_NEW_IN(cx, fit->arena, beta, fit->p);
    QX_NEW_IN(cx, fit->arena, fitted, fit->n);
    QX_NEW_IN(cx, fit->arena, residual, fit->n);
    for (size_t j = 0; j < fit->p; j++) {
        beta[j] = in->beta[j] * in->scale;
    }
    QX_TRY(qx_design_times(cx, &fit->design, beta, fitted));
    for (size_t i = 0; i < fit->n; i++) {
        fitted[i] += shift;
        residual[i] = r[i] * in->scale;
    }
    fit->beta = beta;
    fit->fitted = fitted;
    fit->residual = residual;
    fit->residual_df = (double)(fit->n - fit->p);
    fit->cv_percent =
        mean > 0.0 ? 100.0 * sqrt(in->sigma2) * (in->scale / mean) : (double)NAN;
    QX_TRY(in_data_units(cx, fit, in->phi, &fit->phi));
    return in_data_units(cx, fit, in->adjusted, &fit->phi_adjusted);
}

/* Names and not-a-number everywhere; terms without a variance of their own keep it. */
static qx_status begin(qx_ctx *cx, const qx_lmm_plan *plan, double shift, qx_lmm *fit)
{
    const qx_lmm_spec *spec = &plan->spec;
    QX_NEW_IN(cx, fit->arena, fit->inner, 1);
    QX_NEW_IN(cx, fit->arena, fit->component, spec->random_count + 1);
    fit->inner->plan = plan;
    fit->random_count = spec->random_count;
    fit->component_count = spec->random_count + 1;
    fit->shift = shift;
    fit->df = spec->df;
    fit->inner->level = spec->level;
    fit->residual_lrt = fit->residual_lrt_df = fit->residual_lrt_p = NAN;
    for (size_t i = 0; i < fit->component_count; i++) {
        const bool residual = i == spec->random_count;
        fit->component[i] =
            (qx_component){.name = residual ? "residual" : spec->random[i].name,
                           .variance = residual || plan->own[i] ? 0.0 : (double)NAN,
                           .lower = NAN,
                           .upper = NAN,
                           .lrt = NAN,
                           .unconstrained = NAN,
                           .p = NAN};
    }
    return QX_OK;
}

static qx_status
fit_all(qx_ctx *cx, const qx_lmm_plan *plan, const double y[], double shift, qx_lmm *fit)
{
    double *r;
    QX_TRY(begin(cx, plan, shift, fit));
    QX_NEW(cx, r, plan->n);
    QX_TRY(qx_lm_solve(cx, plan, y, fit, r));
    if (fit->random_count == 0) {
        QX_TRY(qx_lm_finish(cx, plan, fit, r));
    } else {
        QX_TRY(mixed(cx, plan, fit, r));
    }
    if (plan->spec.covariance != NULL) {
        QX_TRY(qx_general_refit(cx, &plan->spec, y, fit, r));
    }
    return publish(cx, y, shift, fit, r);
}

/* NULL when there is no memory. */
static qx_lmm *new_fit(void)
{
    qx_arena *arena = qx_arena_new();
    qx_lmm *fit = arena != NULL ? qx_arena_alloc(arena, 1, sizeof *fit) : NULL;
    if (fit == NULL) {
        qx_arena_free(arena);
        return NULL;
    }
    fit->arena = arena;
    return fit;
}

static qx_status fit_alone(qx_ctx *cx, const qx_lmm_spec *spec, qx_lmm *fit)
{
    qx_lmm_plan *plan;
    qx_status status;
    QX_TRY(qx_lmm_plan_parts(cx, fit->arena, spec, &plan));
    QX_SCRATCH(cx, status, fit_all(cx, plan, spec->y, spec->shift, fit));
    return status;
}

qx_status qx_lmm_fit(qx_ctx *cx, const qx_lmm_spec *spec, qx_lmm **out)
{
    qx_lmm *fit = new_fit();
    if (fit == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a fit");
    }
    const qx_status status = fit_alone(cx, spec, fit);
    if (status != QX_OK) {
        qx_lmm_free(fit);
        return status;
    }
    *out = fit;
    return QX_OK;
}

qx_status qx_lmm_refit(
    qx_ctx *cx, const qx_lmm_plan *plan, const double y[], double shift, qx_lmm **out)
{
    qx_lmm *fit = new_fit();
    qx_status status;
    if (fit == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a fit");
    }
    QX_SCRATCH(cx, status, fit_all(cx, plan, y, shift, fit));
    if (status != QX_OK) {
        qx_lmm_free(fit);
        return status;
    }
    *out = fit;
    return QX_OK;
}

void qx_lmm_free(qx_lmm *fit)
{
    if (fit != NULL) {
        qx_arena_free(fit->arena);
    }
}
