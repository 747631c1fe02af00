#include "model/unconstrained.h"

#include <math.h>
#include <string.h>

#include "model/reduced.h"
#include "model/reml.h"
#include "model/spectral.h"
#include "numeric/chol.h"

/* Random columns up to which the unconstrained estimates are worth an eigenproblem when a
 * component turns out to be zero. */
#define COLUMNS_MOST 1000

typedef struct work {
    qx_profile profile; /* with strata or one matrix, whatever the layout */
    qx_profile_point at;
    double *gamma;
    double sigma2;
} work;

static bool any_at_zero(const struct qx_lmm_inner *in)
{
    for (size_t k = 0; k < in->profile.m; k++) {
        if (in->gamma[k] == 0.0) {
            return true;
        }
    }
    return false;
}

static qx_status at_gamma(qx_ctx *cx, work *w, const double gamma[], double *f)
{
    bool definite;
    QX_TRY(w->profile.graded != NULL
               ? qx_profile_open(cx, &w->profile, gamma, &w->at, &definite)
               : qx_spectral_point(cx, &w->profile, gamma, &w->at, &definite));
    *f = definite ? qx_profile_criterion(&w->profile, &w->at) : (double)INFINITY;
    return QX_OK;
}

static qx_status value(qx_ctx *cx, void *data, const double gamma[], double *f)
{
    return at_gamma(cx, data, gamma, f);
}

static qx_status derive(qx_ctx *cx,
                        void *data,
                        const double gamma[],
                        double *f,
                        double gradient[],
                        qx_mat hessian,
                        qx_mat expected)
{
    work *w = data;
    QX_TRY(at_gamma(cx, w, gamma, f));
    if (isfinite(*f)) {
        qx_profile_derivatives(&w->profile, &w->at, gradient, hessian, expected);
    }
    return QX_OK;
}

static qx_status
open_profile(qx_ctx *cx, const qx_lmm_plan *plan, const qx_lmm *fit, work *w)
{
    const struct qx_lmm_inner *in = fit->inner;
    w->profile = in->profile;
    QX_NEW(cx, w->gamma, in->profile.m);
    memcpy(w->gamma, in->gamma, in->profile.m * sizeof *w->gamma);
    if (in->profile.graded != NULL) {
        return qx_profile_room(cx, qx_ctx_scratch(cx), &w->profile, &w->at);
    }
    if (in->profile.reduced != NULL) {
        QX_TRY(qx_reduced_whole(cx, qx_ctx_scratch(cx), &in->profile, &w->profile));
    }
    w->profile.spectral = plan->spectral;
    if (plan->spectral == NULL) {
        struct qx_spectral *made;
        qx_arena *own = qx_arena_inside(qx_ctx_scratch(cx));
        if (own == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for unconstrained variances");
        }
        QX_TRY(qx_spectral_make(cx, own, &w->profile, &made));
        w->profile.spectral = made;
    }
    QX_TRY(qx_spectral_respond(cx, qx_ctx_scratch(cx), &w->profile));
    return qx_profile_sums_room(cx, qx_ctx_scratch(cx), &w->profile, &w->at);
}

/* The unconstrained estimates; false where there are none. */
static qx_status estimate(qx_ctx *cx, work *w, bool *found)
{
    const double df = (double)(w->profile.n - w->profile.p);
    const qx_descent problem = {
        .m = w->profile.m, .data = w, .value = value, .derive = derive, .open = true};
    qx_descent_end end;
    double f;
    QX_TRY(qx_descend(cx, &problem, NULL, w->gamma, &end));
    QX_TRY(at_gamma(cx, w, w->gamma, &f));
    *found = end.converged && isfinite(f);
    for (size_t k = 0; *found && k < w->profile.m; k++) {
        w->gamma[k] = qx_profile_is_nil(&w->profile, k, w->gamma[k]) ? 0.0 : w->gamma[k];
    }
    w->sigma2 = *found ? w->at.ypy / df : (double)NAN;
    return QX_OK;
}

/* The covariance of beta at the unconstrained variances, unit; false: not definite. */
static qx_status covariance(
    qx_ctx *cx, const struct qx_lmm_inner *in, const work *w, qx_mat phi, bool *definite)
{
    const double rho_e = w->sigma2 / in->sigma2;
    qx_mat factor;
    for (size_t i = 0; i < phi.rows * phi.cols; i++) {
        phi.at[i] = rho_e * in->phi.at[i];
    }
    for (size_t k = 0; k < in->profile.m; k++) {
        const double extra = rho_e * (w->gamma[k] - in->gamma[k]);
        for (size_t i = 0; i < phi.rows * phi.cols; i++) {
            phi.at[i] += extra * in->derivative[k].at[i];
        }
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), phi.rows, phi.cols, &factor));
    qx_mat_copy(factor, phi);
    const qx_status status = qx_chol_factor(cx, factor);
    *definite = status == QX_OK;
    if (status == QX_E_NOT_PD) {
        qx_ctx_forgive(cx);
        return QX_OK;
    }
    return status;
}

/* Covariance of the variances: twice the inverse information at the unconstrained ones. */
static qx_status
spread(qx_ctx *cx, const struct qx_lmm_inner *in, const work *w, qx_mat out)
{
    const double rho_e = w->sigma2 / in->sigma2;
    const size_t m = w->profile.m;
    qx_mat information;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), m + 1, m + 1, &information));
    for (size_t k = 0; k < m; k++) {
        for (size_t l = 0; l < m; l++) {
            QX_AT(information, k, l) = QX_AT(w->at.norm, k, l) / (rho_e * rho_e);
        }
        QX_AT(information, k, m) = QX_AT(information, m, k) = w->at.trace[k] / rho_e;
    }
    QX_AT(information, m, m) = (double)(w->profile.n - w->profile.p);
    QX_TRY(qx_small_inverse(cx, information, out));
    for (size_t i = 0; i < (m + 1) * (m + 1); i++) {
        out.at[i] *= 2.0;
    }
    return QX_OK;
}

/* What was prepared before: the most that degrees of freedom may be. */
static qx_status keep_constrained(qx_ctx *cx, qx_lmm *fit)
{
    struct qx_lmm_inner *in = fit->inner;
    qx_lmm_view *view;
    qx_mat *derivative;
    QX_NEW_IN(cx, fit->arena, view, 1);
    QX_NEW_IN(cx, fit->arena, derivative, in->parts);
    QX_TRY(qx_mat_new(cx, fit->arena, in->parts, in->parts, &view->spread));
    qx_mat_copy(view->spread, in->spread);
    memcpy(derivative, in->derivative, in->parts * sizeof *derivative);
    view->phi = in->phi;
    view->derivative = derivative;
    in->constrained = view;
    return QX_OK;
}

static void describe(const work *w, bool found, qx_lmm *fit)
{
    const struct qx_lmm_inner *in = fit->inner;
    const double square = found ? in->scale * in->scale : (double)NAN;
    for (size_t k = 0; k < in->profile.m; k++) {
        fit->component[in->component_of[k]].unconstrained =
            w->gamma[k] * w->sigma2 * square;
    }
    fit->component[fit->random_count].unconstrained = w->sigma2 * square;
}

static qx_status prepare(qx_ctx *cx, const qx_lmm_plan *plan, qx_lmm *fit)
{
    struct qx_lmm_inner *in = fit->inner;
    const size_t p = fit->p;
    work w;
    qx_mat phi, adjusted;
    bool good;
    QX_TRY(open_profile(cx, plan, fit, &w));
    QX_TRY(estimate(cx, &w, &good));
    describe(&w, good, fit);
    if (!good || !plan->spec.unconstrained || fit->df != QX_KENWARD_ROGER) {
        return QX_OK;
    }
    QX_TRY(qx_mat_new(cx, fit->arena, p, p, &phi));
    QX_TRY(qx_mat_new(cx, fit->arena, p, p, &adjusted));
    QX_TRY(covariance(cx, in, &w, phi, &good));
    if (!good) {
        return QX_OK;
    }
    for (size_t i = 0; i < p * p; i++) {
        adjusted.at[i] = phi.at[i] + (in->adjusted.at[i] - in->phi.at[i]);
    }
    QX_TRY(keep_constrained(cx, fit));
    QX_TRY(spread(cx, in, &w, in->spread));
    in->phi = in->derivative[in->profile.m] = phi;
    in->adjusted = adjusted;
    fit->unconstrained = true;
    return QX_OK;
}

qx_status qx_unconstrained_prepare(qx_ctx *cx, const qx_lmm_plan *plan, qx_lmm *fit)
{
    const struct qx_lmm_inner *in = fit->inner;
    qx_status status;
    if (!(in->sigma2 > 0.0) || !any_at_zero(in) || in->profile.q > COLUMNS_MOST) {
        return QX_OK;
    }
    QX_SCRATCH(cx, status, prepare(cx, plan, fit));
    return status;
}
