#include "findings/counts.h"

#include <math.h>
#include <string.h>

#include "findings/added_control.h"
#include "findings/choose_family.h"
#include "findings/counts_tests.h"
#include "findings/counts_told.h"
#include "findings/counts_zeros.h"
#include "findings/covariates.h"
#include "findings/means_of.h"
#include "findings/model_told.h"
#include "findings/observed_cells.h"
#include "findings/refusal.h"
#include "findings/replicated.h"
#include "findings/slopes_of.h"
#include "findings/small_sample.h"
#include "findings/tests_of.h"
#include "numeric/dist.h"

static void tell_fit(qx_work *w, const qx_glmm *fit)
{
    qx_result *r = w->result;
    const bool quadrature = w->protocol->analysis.quadrature > 1;
    r->family = fit->family->title;
    r->link = qx_link_key(fit->link);
    r->method = fit->m == 0  ? "maximum likelihood"
                : quadrature ? "adaptive quadrature"
                             : "Laplace";
    r->log_likelihood = fit->log_likelihood;
    r->deviance = fit->deviance;
    r->pearson_chisq = fit->pearson_chisq;
    r->residual_df = fit->residual_df;
    r->converged = fit->converged;
    r->iterations = fit->iterations;
    r->dispersion = fit->dispersion;
}

static qx_status tell_components(qx_work *w, qx_glmm *fit)
{
    qx_variance_line *list;
    if (!w->brief) {
        QX_TRY(qx_glmm_profile_components(w->cx, fit));
    }
    QX_NEW_IN(w->cx, w->arena, list, fit->m);
    for (size_t i = 0; i < fit->m; i++) {
        const qx_component *c = &fit->component[i];
        const char *name = qx_arena_copy(w->arena, c->name);
        if (name == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the components");
        }
        list[i] = (qx_variance_line){.term = name,
                                     .variance = c->variance,
                                     .sd = sqrt(c->variance),
                                     .lower = c->lower,
                                     .upper = c->upper,
                                     .lrt = c->lrt,
                                     .p = c->p,
                                     .unconstrained = (double)NAN,
                                     .at_zero = c->at_zero};
        const bool unit = i < w->choice.random_count;
        if (unit && !qx_variance_unseen(w, i, &list[i]) && c->at_zero) {
            QX_TRY(qx_tell_zero(w, i));
        }
    }
    w->result->variance = list;
    w->result->variance_count = fit->m;
    return qx_tell_unreplicated(w);
}

static qx_status coefficients(qx_work *w, const qx_glmm *fit, qx_coefficient list[])
{
    double *row;
    QX_NEW(w->cx, row, fit->p);
    for (size_t j = 0; j < fit->p; j++) {
        qx_estimate e;
        qx_covariate_row(w, j, row);
        QX_TRY(qx_glmm_contrast(w->cx, fit, row, &e));
        const double value = e.estimate / e.se;
        list[j] = (qx_coefficient){qx_arena_copy(w->arena, fit->design.name[j]),
                                   e.estimate,
                                   e.se,
                                   e.df,
                                   value,
                                   qx_t_two_sided(value, e.df)};
        if (list[j].term == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the coefficients");
        }
    }
    return QX_OK;
}

static qx_status tell_coefficients(qx_work *w, const qx_glmm *fit)
{
    qx_coefficient *list;
    qx_status status;
    QX_NEW_IN(w->cx, w->arena, list, fit->p);
    QX_SCRATCH(w->cx, status, coefficients(w, fit, list));
    w->result->coefficient = list;
    w->result->coefficient_count = fit->p;
    return status;
}

static qx_status read_fit(qx_work *w, qx_glmm *fit)
{
    QX_TRY(qx_names_of_model(w));
    tell_fit(w, fit);
    if (!fit->converged) {
        QX_TRY(
            qx_note(w->cx,
                    "The fit of %s did not settle: take these numbers with caution and "
                    "look at the data for odd values.",
                    w->variate->name));
    }
    QX_TRY(tell_components(w, fit));
    QX_TRY(tell_coefficients(w, fit));
    QX_TRY(qx_counts_tests_of(w, fit));
    QX_TRY(qx_means_of(w));
    QX_TRY(qx_contrasts_of(w));
    if (w->brief) {
        return qx_added_control_planned(w);
    }
    QX_TRY(qx_simple_effects_of(w));
    QX_TRY(qx_observed_cells_of(w));
    QX_TRY(qx_added_control_of(w));
    QX_TRY(qx_slopes_of(w));
    QX_TRY(qx_counts_points(w, fit));
    QX_TRY(qx_counts_check_zeros(w, fit));
    return qx_warn_of_interactions(w);
}

/* What the penalty can be put on: with a spread of its own the information of a family is
 * not always positive, so that the extra variation becomes a random effect of each thing;
 * scaled errors mean nothing without a likelihood. */
static qx_extra penalised_extra(qx_extra extra)
{
    switch (extra) {
    case QX_EXTRA_MODELLED:
    case QX_EXTRA_UNIT:
        return QX_EXTRA_UNIT;
    case QX_EXTRA_SCALED:
    case QX_EXTRA_NONE:
        break;
    }
    return QX_EXTRA_NONE;
}

/* Nought or all throughout a treatment: the same model again, kept finite. */
static qx_status keep_finite(qx_work *w, qx_family_choice *choice, qx_glmm **fit)
{
    qx_glmm_spec spec = qx_counts_spec(w);
    qx_glmm *kept = NULL;
    choice->extra = spec.extra = penalised_extra((*fit)->extra);
    spec.penalise = true;
    QX_TRY(qx_glmm_fit(w->cx, &spec, &kept));
    qx_glmm_free(*fit);
    *fit = kept;
    return QX_OK;
}

static qx_status
go_on(qx_work *w, qx_family_choice *choice, qx_glmm **fit, const qx_glmm *wide)
{
    const bool separated = (*fit)->separated;
    if (separated) {
        QX_TRY(keep_finite(w, choice, fit));
    }
    w->design = &(*fit)->design;
    w->estimator = (qx_estimator){.kind = &qx_estimator_glmm,
                                  .fit = *fit,
                                  .design = w->design,
                                  .class_count = 1,
                                  .df = (*fit)->df,
                                  .averaged = (*fit)->m > 0};
    QX_TRY(qx_counts_tell_family(w, choice, *fit));
    if (separated) {
        QX_TRY(qx_counts_tell_separation(w));
    }
    qx_glmm *held = NULL;
    QX_TRY(qx_replicated_make(w));
    qx_status status = qx_small_counts(w, *fit, separated ? NULL : wide, choice, &held);
    w->estimator.held = held;
    status = status == QX_OK ? read_fit(w, *fit) : status;
    qx_glmm_free(held);
    w->estimator.held = NULL;
    qx_lmm_free(w->unreplicated);
    w->unreplicated = NULL;
    return status;
}

qx_status qx_counts_of(qx_work *w)
{
    qx_family_choice choice;
    qx_glmm *fit = NULL, *wide = NULL;
    bool possible;
    QX_TRY(qx_tell_refusal(w, qx_choose_family(w, &choice, &fit, &wide), &possible));
    if (!possible) {
        return QX_OK;
    }
    const qx_status status = go_on(w, &choice, &fit, wide);
    qx_glmm_free(wide);
    qx_glmm_free(fit);
    return status;
}
