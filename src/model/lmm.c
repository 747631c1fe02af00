#include "model/lmm.h"

#include <math.h>

#include "model/components.h"
#include "model/containment.h"
#include "model/design_rows.h"
#include "model/general_fit.h"
#include "model/graded.h"
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

/* Ratios of units in which nothing varies: estimates are then those at infinity. */
static const double GAMMA_LIKE_INFINITY = 1e15;

static qx_graded_of
graded_of(const qx_lmm_plan *plan, const qx_lmm *fit, const double r[])
{
    return (qx_graded_of){.profile = &fit->inner->profile,
                          .code = plan->code,
                          .design = &fit->design,
                          .log_x = fit->inner->log_r,
                          .r = r};
}

/* The search again where nothing is lost to units of very different size; there it shows
 * whether anything but rounding varies inside the smallest ones. */
static qx_status grade(qx_ctx *cx,
                       const qx_lmm_plan *plan,
                       qx_lmm *fit,
                       const double r[],
                       qx_descent_end *end)
{
    struct qx_lmm_inner *in = fit->inner;
    const qx_graded_of of = graded_of(plan, fit, r);
    qx_profile graded;
    QX_TRY(qx_graded_make(cx, fit->arena, &of, &graded));
    in->profile = graded;
    QX_TRY(qx_profile_room(cx, fit->arena, &in->profile, &in->at));
    if (!qx_graded_exhausted(&graded)) {
        return qx_reml_fit(cx, &in->profile, NULL, &in->at, in->gamma, end);
    }
    fit->exhausted = QX_NIL_WITHIN_UNITS;
    end->converged = true;
    for (size_t k = 0; k < graded.m; k++) {
        in->gamma[k] = fmin(graded.graded->start[k], GAMMA_LIKE_INFINITY);
    }
    return qx_profile_evaluate(cx, &in->profile, in->gamma, &in->at);
}

/* Variances too small to be told from nil are nil; *any: were there any? */
static void snap(const qx_profile *f, double gamma[], bool *any)
{
    for (size_t k = 0; k < f->m; k++) {
        if (gamma[k] != 0.0 && qx_profile_is_nil(f, k, gamma[k])) {
            gamma[k] = 0.0;
            *any = true;
        }
    }
}

static qx_status search(qx_ctx *cx,
                        const qx_lmm_plan *plan,
                        qx_lmm *fit,
                        const double r[],
                        qx_descent_end *end)
{
    struct qx_lmm_inner *in = fit->inner;
    const qx_status status = qx_reml_fit(cx, &in->profile, NULL, &in->at, in->gamma, end);
    const bool lost = status == QX_E_NOT_PD || status == QX_E_NUMERIC;
    if (lost && qx_graded_fits(&in->profile)) {
        qx_ctx_forgive(cx);
    } else {
        QX_TRY(status);
    }
    if (lost || qx_graded_wanted(&in->profile, &in->at)) {
        QX_TRY(grade(cx, plan, fit, r, end));
    }
    if ((in->profile.graded == NULL || in->profile.graded->d == in->profile.n) &&
        qx_reml_without_residual(end, in->profile.m, in->gamma)) {
        fit->exhausted = QX_NIL_WITHIN_UNITS;
        end->converged = true;
        QX_TRY(qx_profile_evaluate(cx, &in->profile, in->gamma, &in->at));
    }
    bool snapped = false;
    snap(&in->profile, in->gamma, &snapped);
    return snapped ? qx_profile_evaluate(cx, &in->profile, in->gamma, &in->at) : QX_OK;
}

/* gamma, the evaluated point and sigma2. */
static qx_status
estimate(qx_ctx *cx, const qx_lmm_plan *plan, qx_lmm *fit, const double r[])
{
    struct qx_lmm_inner *in = fit->inner;
    const double df = (double)(fit->n - fit->p);
    qx_descent_end end = {.converged = true};
    fit->exhausted = qx_lm_exhausted(fit->n, r) ? QX_NIL_BESIDE_FIXED : QX_VARIES;
    QX_NEW_IN(cx, fit->arena, in->gamma, in->profile.m);
    QX_TRY(qx_profile_room(cx, fit->arena, &in->profile, &in->at));
    QX_TRY(fit->exhausted != QX_VARIES || in->profile.m == 0
               ? qx_profile_evaluate(cx, &in->profile, in->gamma, &in->at)
               : search(cx, plan, fit, r, &end));
    if (in->profile.reduced != NULL && in->profile.graded == NULL) {
        QX_TRY(qx_reduced_exact(cx, &in->profile, &in->at));
    }
    fit->converged = end.converged;
    fit->iterations = end.iterations;
    in->sigma2 =
        fit->exhausted != QX_VARIES || !(in->at.ypy > 0.0) ? 0.0 : in->at.ypy / df;
    return QX_OK;
}

static void describe(qx_lmm *fit)
{
    struct qx_lmm_inner *in = fit->inner;
    const double square = in->scale * in->scale;
    for (size_t k = 0; k < in->profile.m; k++) {
        qx_component *c = &fit->component[in->component_of[k]];
        c->variance = in->gamma[k] * in->sigma2 * square;
        c->sd = sqrt(in->gamma[k] * in->sigma2) * in->scale;
        if (in->gamma[k] > 0.0 && !(in->sigma2 > 0.0)) {
            c->variance = c->sd = NAN; /* its ratio to nil is known, not its size */
        }
        c->at_zero = in->gamma[k] == 0.0;
    }
    fit->component[fit->random_count].variance = in->sigma2 * square;
    fit->component[fit->random_count].sd = sqrt(in->sigma2) * in->scale;
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
static qx_status settle_beta(qx_ctx *cx, const qx_lmm_plan *plan, qx_lmm *fit, double r[])
{
    struct qx_lmm_inner *in = fit->inner;
    double *shift;
    QX_NEW(cx, shift, fit->p);
    if (in->profile.graded != NULL) {
        const qx_graded_of of = graded_of(plan, fit, r);
        QX_TRY(qx_graded_settle(cx, &of, &in->at, shift, r));
        for (size_t j = 0; j < fit->p; j++) {
            in->beta[j] += shift[j];
        }
        return QX_OK;
    }
    QX_TRY(in->profile.reduced != NULL
               ? qx_reduced_settle(cx, &in->profile, &in->at, r, shift)
               : settle_dense(cx, in, plan->code, plan->Q, r, shift));
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
    QX_TRY(estimate(cx, plan, fit, r));
    QX_TRY(settle_beta(cx, plan, fit, r));
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
        residual[i] = fit->exhausted == QX_VARIES ? r[i] * in->scale : 0.0;
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
                           .sd = residual || plan->own[i] ? 0.0 : (double)NAN,
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
        qx_lm_finish(plan, fit, r);
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
