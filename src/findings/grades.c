#include "findings/grades.h"

#include <math.h>
#include <string.h>

#include "findings/added_control.h"
#include "findings/covariates.h"
#include "findings/grades_tests.h"
#include "findings/means_of.h"
#include "findings/model_told.h"
#include "findings/observed_cells.h"
#include "findings/refusal.h"
#include "findings/replicated.h"
#include "findings/slopes_of.h"
#include "findings/small_sample.h"
#include "findings/tests_of.h"
#include "model/multinomial.h"
#include "model/ordinal.h"
#include "numeric/dist.h"

static bool has_order(const qx_work *w)
{
    return w->variate->kind == QX_ORDINAL;
}

qx_classes_spec qx_grades_spec(const qx_work *w)
{
    return (qx_classes_spec){.frame = &w->data.frame,
                             .class_count = w->variate->level_count,
                             .class_name = w->variate->level,
                             .code = w->data.class_,
                             .term_count = w->choice.term_count,
                             .term = w->choice.term,
                             .random_count = w->choice.random_count,
                             .random = w->choice.random,
                             .quadrature = (size_t)w->protocol->analysis.quadrature};
}

qx_status qx_grades_fit(const qx_work *w, const qx_classes_spec *spec, qx_classes **out)
{
    return has_order(w) ? qx_ordinal_fit(w->cx, spec, out)
                        : qx_multinomial_fit(w->cx, spec, out);
}

static void tell_fit(qx_work *w, const qx_classes *fit)
{
    qx_result *r = w->result;
    r->family = has_order(w) ? "cumulative" : "multinomial";
    r->link = "logit";
    r->method = fit->method;
    r->log_likelihood = fit->log_likelihood;
    r->deviance = -2.0 * fit->log_likelihood; /* a single thing is fitted without error */
    r->residual_df = fit->total - (double)fit->p - (double)fit->component_count;
    r->converged = fit->converged;
    r->iterations = fit->iterations;
}

/* Random terms of classes come once for each class; the units repeat. */
static qx_status tell_components(qx_work *w, qx_classes *fit)
{
    qx_variance_line *list;
    if (!w->brief) {
        QX_TRY(qx_classes_profile_components(w->cx, fit, w->level));
    }
    QX_NEW_IN(w->cx, w->arena, list, fit->component_count);
    const size_t each =
        w->choice.random_count > 0 ? fit->component_count / w->choice.random_count : 1;
    for (size_t i = 0; i < fit->component_count; i++) {
        const qx_component *c = &fit->component[i];
        list[i] = (qx_variance_line){.term = qx_arena_copy(w->arena, c->name),
                                     .variance = c->variance,
                                     .sd = sqrt(c->variance),
                                     .lower = c->lower,
                                     .upper = c->upper,
                                     .lrt = c->lrt,
                                     .p = c->p,
                                     .unconstrained = (double)NAN,
                                     .at_zero = c->at_zero};
        if (list[i].term == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the components");
        }
        if (!qx_variance_unseen(w, i / each, &list[i]) && c->at_zero && has_order(w)) {
            QX_TRY(qx_tell_zero(w, i / each));
        }
    }
    w->result->variance = list;
    w->result->variance_count = fit->component_count;
    return qx_tell_unreplicated(w);
}

/* Slopes of covariates that stand in the frame as (x - centre) / scale: the row that turns
 * the coefficients of one predictor back. A grade's intercept is in its thresholds. */
static void coefficient_row(qx_work *w, const qx_classes *fit, size_t i, double row[])
{
    const bool order = fit->kind == QX_CUMULATIVE;
    const size_t thresholds = fit->class_count - 1, p = w->design->p;
    memset(row, 0, fit->p * sizeof *row);
    if (order && i >= thresholds) {
        double *whole =
            row + thresholds - 1; /* its intercept lies on the last threshold */
        const double threshold = *whole;
        qx_covariate_row(w, i - thresholds + 1, whole);
        *whole = threshold;
    } else if (order) {
        double *whole = row + thresholds - 1;
        qx_covariate_row(w, 0, whole); /* threshold - x'beta: the other sign */
        for (size_t j = 1; j < p; j++) {
            whole[j] = -whole[j];
        }
        *whole = 0.0;
        row[i] = 1.0;
    } else {
        qx_covariate_row(w, i % p, row + i / p * p);
    }
}

static qx_status coefficients(qx_work *w, const qx_classes *fit, qx_coefficient list[])
{
    double *row;
    QX_NEW(w->cx, row, fit->p);
    for (size_t i = 0; i < fit->p; i++) {
        coefficient_row(w, fit, i, row);
        const double estimate = qx_dot(fit->p, row, fit->coef);
        const double se = sqrt(qx_quadratic(fit->covariance, row));
        const double value = estimate / se;
        list[i] = (qx_coefficient){qx_arena_copy(w->arena, fit->name[i]),
                                   estimate,
                                   se,
                                   INFINITY,
                                   value,
                                   qx_t_two_sided(value, INFINITY)};
        if (list[i].term == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the coefficients");
        }
    }
    return QX_OK;
}

static qx_status tell_coefficients(qx_work *w, const qx_classes *fit)
{
    qx_coefficient *list;
    qx_status status;
    QX_NEW_IN(w->cx, w->arena, list, fit->p);
    QX_SCRATCH(w->cx, status, coefficients(w, fit, list));
    w->result->coefficient = list;
    w->result->coefficient_count = fit->p;
    return status;
}

/* The classes themselves, as charts show them. */
static qx_status points(qx_work *w)
{
    qx_point *point;
    QX_NEW_IN(w->cx, w->arena, point, w->data.n);
    for (size_t i = 0; i < w->data.n; i++) {
        point[i] = (qx_point){w->data.row[i], w->data.raw[i], NAN, NAN, NAN};
    }
    w->result->point = point;
    w->result->point_count = w->data.n;
    return QX_OK;
}

static qx_status read_fit(qx_work *w, qx_classes *fit)
{
    QX_TRY(qx_names_of_model(w));
    tell_fit(w, fit);
    if (!fit->converged) {
        QX_TRY(qx_note(w->cx,
                       "The fit of %s did not settle: take these numbers with caution.",
                       w->variate->name));
    }
    QX_TRY(tell_components(w, fit));
    QX_TRY(tell_coefficients(w, fit));
    QX_TRY(qx_grades_tests_of(w, fit));
    QX_TRY(qx_means_of(w));
    if (w->brief) {
        return qx_added_control_planned(w);
    }
    QX_TRY(qx_simple_effects_of(w));
    QX_TRY(qx_slopes_of(w));
    if (has_order(w)) {
        QX_TRY(qx_contrasts_of(w));
        QX_TRY(qx_grades_check(w, fit));
    } else if (w->protocol->contrast_count > 0) {
        QX_TRY(qx_note(w->cx,
                       "%s has classes without order: contrasts and trends are not made "
                       "for it.",
                       w->variate->label));
    }
    QX_TRY(qx_observed_cells_of(w));
    QX_TRY(qx_added_control_of(w));
    QX_TRY(points(w));
    return qx_warn_of_interactions(w);
}

static qx_status go_on(qx_work *w, qx_classes *fit)
{
    qx_classes *held = NULL;
    w->design = &fit->design;
    w->result->class_count = w->variate->level_count;
    w->result->class_name = w->variate->level;
    w->estimator = (qx_estimator){.kind = has_order(w) ? &qx_estimator_grades
                                                       : &qx_estimator_classes,
                                  .fit = fit,
                                  .design = w->design,
                                  .class_count = w->variate->level_count,
                                  .df = INFINITY,
                                  .averaged = fit->component_count > 0};
    QX_TRY(qx_replicated_make(w));
    qx_status status = qx_small_classes(w, fit, &held);
    w->estimator.held = held;
    status = status == QX_OK ? read_fit(w, fit) : status;
    qx_classes_free(held);
    w->estimator.held = NULL;
    qx_lmm_free(w->unreplicated);
    w->unreplicated = NULL;
    return status;
}

qx_status qx_grades_of(qx_work *w)
{
    const qx_classes_spec spec = qx_grades_spec(w);
    qx_classes *fit = NULL;
    bool possible;
    QX_TRY(qx_tell_refusal(w, qx_grades_fit(w, &spec, &fit), &possible));
    if (!possible) {
        return QX_OK;
    }
    const qx_status status = go_on(w, fit);
    qx_classes_free(fit);
    return status;
}
