#include "findings/working.h"

#include <math.h>

/* What a row that tells nothing (of none) has for a variance. */
#define NO_NEWS 1e12
/* Step of the derivative by the family's own spread. */
#define STEP 1e-4

/* Units of the random terms, in the order of the fit. */
static void
unit_parts(const qx_work *w, const double variance[], qx_linearised_part part[])
{
    for (size_t k = 0; k < w->choice.random_count; k++) {
        const qx_factor *f = &w->data.frame.factor[w->choice.random[k].factor];
        part[k] = (qx_linearised_part){
            .variance = variance[k], .code = f->code, .count = f->level_count};
    }
}

/* Variance of row i on the scale of the link, with this spread of the family. */
static double row_variance(const qx_work *w, const qx_glmm *fit, size_t i, double tau)
{
    const double n = w->data.size == NULL ? 1.0 : w->data.size[i];
    const double slope = n * qx_link_slope(fit->link, fit->eta[i], 1);
    const double mu = qx_link_mean(fit->link, fit->eta[i]);
    const double v = fit->family->variance(mu, n, sqrt(fmax(tau, 0.0))) / (slope * slope);
    return v < NO_NEWS ? v : NO_NEWS; /* not-a-number: of none */
}

/* The family's own spread, or an effect of each row: variances that act row by row. */
static qx_status row_part(
    qx_work *w, const qx_glmm *fit, double v[], qx_linearised_part part[], size_t *count)
{
    double *slope;
    const double tau = fit->psi * fit->psi, step = STEP * (1.0 + tau);
    const bool unit = fit->extra == QX_EXTRA_UNIT;
    if (!unit && fit->family->parameters == 0) {
        return QX_OK;
    }
    QX_NEW(w->cx, slope, w->data.n);
    const double own = unit ? fit->sd[fit->m - 1] * fit->sd[fit->m - 1] : tau;
    for (size_t i = 0; i < w->data.n; i++) {
        const double low = fmax(tau - step, 0.0);
        slope[i] =
            unit ? 1.0
                 : (row_variance(w, fit, i, tau + step) - row_variance(w, fit, i, low)) /
                       (tau + step - low);
        v[i] += unit ? own : 0.0;
    }
    part[(*count)++] = (qx_linearised_part){.variance = own, .slope = slope};
    return QX_OK;
}

static qx_status counts(qx_work *w, const qx_glmm *fit, const qx_linearised **out)
{
    qx_linearised_part *part;
    double *v, *variance;
    size_t count = w->choice.random_count;
    QX_NEW(w->cx, part, count + 1);
    QX_NEW(w->cx, v, w->data.n);
    QX_NEW(w->cx, variance, count);
    for (size_t i = 0; i < w->data.n; i++) {
        v[i] = row_variance(w, fit, i, fit->psi * fit->psi);
    }
    for (size_t k = 0; k < count; k++) {
        variance[k] = fit->sd[k] * fit->sd[k];
    }
    unit_parts(w, variance, part);
    QX_TRY(row_part(w, fit, v, part, &count));
    return qx_linearised_make(w->cx, w->temporary, w->design, v, count, part, out);
}

qx_status qx_working_counts(qx_work *w, const qx_glmm *fit, const qx_linearised **out)
{
    qx_status status;
    *out = NULL;
    QX_SCRATCH(w->cx, status, counts(w, fit, out));
    return status;
}

/* Information on the place of a row of the cumulative model, at random effects of zero. */
static double grade_information(const qx_work *w, const qx_classes *fit, size_t i)
{
    const size_t thresholds = fit->class_count - 1;
    double place = 0.0, below = 0.0, slope_below = 0.0, sum = 0.0;
    for (size_t j = 1; j < w->design->p; j++) {
        place += QX_AT(w->design->X, i, j) * fit->coef[thresholds + j - 1];
    }
    for (size_t k = 0; k <= thresholds; k++) {
        const double at = k < thresholds ? fit->coef[k] - place : (double)INFINITY;
        const double up = k < thresholds ? qx_link_mean(QX_LINK_LOGIT, at) : 1.0;
        const double slope = k < thresholds ? qx_link_slope(QX_LINK_LOGIT, at, 1) : 0.0;
        const double share = up - below, by = slope - slope_below;
        sum += share > 0.0 ? by * by / share : 0.0;
        below = up;
        slope_below = slope;
    }
    return sum;
}

static qx_status grades(qx_work *w, const qx_classes *fit, const qx_linearised **out)
{
    qx_linearised_part *part;
    double *v, *variance;
    const size_t count = w->choice.random_count;
    QX_NEW(w->cx, part, count);
    QX_NEW(w->cx, v, w->data.n);
    QX_NEW(w->cx, variance, count);
    for (size_t i = 0; i < w->data.n; i++) {
        v[i] = fmin(1.0 / grade_information(w, fit, i), NO_NEWS);
    }
    for (size_t k = 0; k < count; k++) {
        variance[k] = fit->component[k].variance;
    }
    unit_parts(w, variance, part);
    return qx_linearised_make(w->cx, w->temporary, w->design, v, count, part, out);
}

qx_status qx_working_grades(qx_work *w, const qx_classes *fit, const qx_linearised **out)
{
    qx_status status;
    *out = NULL;
    QX_SCRATCH(w->cx, status, grades(w, fit, out));
    return status;
}
