#include "findings/working.h"

#include <math.h>

#include "findings/working_parts.h"

/* Step of the derivative by the family's own spread. */
#define STEP 1e-4
/* Standard deviations (and counts) to which sums over a family's counts go; counts beyond
 * SUPPORT_MOST, and shares of more things, are normal enough. */
#define SUPPORT      12.0
#define SUPPORT_MOST 500.0

static double mean_of(size_t n, const double x[])
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += x[i];
    }
    return sum / (double)n;
}

/* Variance of row i on the scale of the link, with this spread of the family. */
static double row_variance(const qx_work *w, const qx_glmm *fit, size_t i, double tau)
{
    const double n = w->data.size == NULL ? 1.0 : w->data.size[i];
    const double slope = n * qx_link_slope(fit->link, fit->eta[i], 1);
    const double mu = qx_link_mean(fit->link, fit->eta[i]);
    const double v = fit->family->variance(mu, n, sqrt(fmax(tau, 0.0))) / (slope * slope);
    return v < QX_NO_NEWS ? v : QX_NO_NEWS; /* not-a-number: of none */
}

/* Fourth cumulant of row i over the fourth power of its slope, without a spread. */
static double row_fourth(const qx_work *w, const qx_glmm *fit, size_t i)
{
    const double n = w->data.size == NULL ? 1.0 : w->data.size[i];
    const double slope = n * qx_link_slope(fit->link, fit->eta[i], 1);
    const double mu = qx_link_mean(fit->link, fit->eta[i]);
    const double pq = mu * (1.0 - mu);
    const double fourth = w->data.size == NULL ? mu : n * pq * (1.0 - 6.0 * pq);
    const double out = fourth / (slope * slope * slope * slope);
    return isfinite(out) && row_variance(w, fit, i, 0.0) < QX_NO_NEWS ? out : 0.0;
}

/* Expected square of the derivative of a row's log-likelihood by tau = psi^2. */
static double information_of_spread(const qx_glmm *fit, double n, double mu, double tau)
{
    const bool share = fit->family->serves == QX_SERVES_SHARE;
    const double step = STEP * (1.0 + tau), low = fmax(tau - step, 0.0);
    const double sd = sqrt(fit->family->variance(mu, n, sqrt(tau)));
    const double first = share ? 0.0 : floor(fmax(mu - SUPPORT * sd, 0.0));
    const double last = share ? n : ceil(mu + SUPPORT * sd + SUPPORT);
    double sum = 0.0;
    for (size_t i = 0; first + (double)i <= last; i++) {
        const double k = first + (double)i;
        const double at = fit->family->loglik(k, n, mu, sqrt(tau));
        const double by = (fit->family->loglik(k, n, mu, sqrt(tau + step)) -
                           fit->family->loglik(k, n, mu, sqrt(low))) /
                          (tau + step - low);
        sum += exp(at) * by * by;
    }
    return sum;
}

/* Information about the spread over what normal rows of the same variances would give, of an
 * average row: the ratio changes little from one row to another. */
static double known_of_spread(const qx_work *w, const qx_glmm *fit)
{
    const double tau = fit->psi * fit->psi, step = STEP * (1.0 + tau);
    const double n = w->data.size == NULL ? 1.0 : rint(mean_of(w->data.n, w->data.size));
    const double mu = qx_link_mean(fit->link, mean_of(w->data.n, fit->eta));
    const double v = fit->family->variance(mu, n, fit->psi);
    const double up = fit->family->variance(mu, n, sqrt(tau + step));
    const double by = (up - v) / step / v;
    if (n > SUPPORT_MOST || mu > SUPPORT_MOST) {
        return 1.0;
    }
    const double known = information_of_spread(fit, n, mu, tau) / (0.5 * by * by);
    return isfinite(known) && known > 0.0 ? known : 1.0;
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
    part[(*count)++] = (qx_linearised_part){.variance = own,
                                            .slope = slope,
                                            .known = unit ? 1.0 : known_of_spread(w, fit),
                                            .exact = !unit};
    return QX_OK;
}

/* The fit with its variances held at those of the parts: units first, then the rows' own. */
static qx_status hold_counts(
    qx_ctx *cx, const qx_glmm *fit, const double variance[], bool beside, qx_glmm **out)
{
    double sd[QX_LINEARISED_TERMS_MOST], psi = 0.0;
    for (size_t k = 0; k < fit->length - fit->p; k++) {
        const double at = beside ? qx_working_deviation(variance[k]) : sqrt(variance[k]);
        *(k < fit->m ? &sd[k] : &psi) = at;
    }
    return qx_glmm_hold(cx, fit, sd, psi, out);
}

static qx_status
score_counts(qx_ctx *cx, const void *fit, const double variance[], double score[])
{
    const qx_glmm *whole = fit;
    qx_glmm *held = NULL;
    QX_TRY(hold_counts(cx, whole, variance, true, &held));
    const qx_status status = qx_glmm_slope(cx, held, score);
    qx_glmm_free(held);
    qx_working_by_variance(whole->length - whole->p, variance, score);
    return status;
}

static qx_status
counts(qx_work *w, const qx_glmm *fit, const qx_glmm *told, const qx_linearised **out)
{
    qx_linearised_part *part;
    double *v, *fourth, *variance;
    size_t count = w->choice.random_count;
    QX_NEW(w->cx, part, count + 1);
    QX_NEW(w->cx, v, w->data.n);
    QX_NEW(w->cx, fourth, w->data.n);
    QX_NEW(w->cx, variance, count);
    for (size_t i = 0; i < w->data.n; i++) {
        v[i] = row_variance(w, fit, i, fit->psi * fit->psi);
        fourth[i] = row_fourth(w, fit, i);
    }
    for (size_t k = 0; k < count; k++) {
        variance[k] = fit->sd[k] * fit->sd[k];
    }
    qx_working_units(w, variance, part);
    QX_TRY(row_part(w, fit, v, part, &count));
    for (size_t k = 0; k < count; k++) {
        part[k].told = k < told->m ? told->sd[k] * told->sd[k] : told->psi * told->psi;
    }
    if (count != fit->length - fit->p) {
        return QX_OK; /* a spread that these data cannot show */
    }
    const qx_linearised_rows rows = {.X = w->design->X, .v = v, .fourth = fourth};
    return qx_linearised_make(
        w->cx, w->temporary, &rows, count, part, score_counts, fit, out);
}

qx_status qx_working_hold_counts(qx_ctx *cx,
                                 const qx_glmm *fit,
                                 const qx_linearised *l,
                                 qx_glmm **out)
{
    return hold_counts(cx, fit, l->variance, false, out);
}

qx_status qx_working_counts(qx_work *w,
                            const qx_glmm *fit,
                            const qx_glmm *told,
                            const qx_linearised **out)
{
    qx_status status;
    *out = NULL;
    QX_SCRATCH(w->cx, status, counts(w, fit, told, out));
    return status;
}
