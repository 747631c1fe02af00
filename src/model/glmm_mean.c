/* model/glmm_mean.c - means on the response scale.
 *
 * Over random effects with total variance s^2 = sum sd_k^2,
 *
 *     m(eta) = E inverse(eta + s Z),   dm/deta = E inverse'(...)
 *     dm/dsd_k = sd_k E inverse''(eta + s Z)          (Stein's identity)
 *
 * by the trapezoidal rule, whose error for such functions falls faster than any power of the
 * step (Trefethen & Weideman 2014, SIAM Review 56:385-458); log link: exp(eta + s^2/2). */
#include <math.h>
#include <string.h>

#include "model/glmm_inner.h"
#include "numeric/dist.h"

/* The normal density beyond this is below 1e-17 of its height. */
static const double FAR = 8.8;
/* Step, and step times s, of the rule: the poles of the logistic function at i pi / s leave
 * exp(-2 pi^2 / (s step)), 7e-18 at a half. */
static const double STEP = 0.25, STEP_SPREAD = 0.5;

typedef struct averaged {
    double mean, first, second; /* E inverse, E inverse', E inverse'' */
} averaged;

static averaged average(qx_link link, double eta, double s)
{
    averaged out = {0};
    if (s == 0.0 || link == QX_LINK_IDENTITY) {
        out.mean = qx_link_mean(link, eta);
        out.first = qx_link_slope(link, eta, 1);
        out.second = qx_link_slope(link, eta, 2);
        return out;
    }
    if (link == QX_LINK_LOG) {
        out.mean = out.first = out.second = exp(eta + 0.5 * s * s);
        return out;
    }
    const double step = fmin(STEP, STEP_SPREAD / s);
    const int count = (int)fmin(ceil(FAR / step), 20000.0);
    double total = 0.0;
    for (int i = -count; i <= count; i++) {
        const double z = i * step, w = qx_normal_density(z), at = eta + s * z;
        total += w;
        out.mean += w * qx_link_mean(link, at);
        out.first += w * qx_link_slope(link, at, 1);
        out.second += w * qx_link_slope(link, at, 2);
    }
    out.mean /= total;
    out.first /= total;
    out.second /= total;
    return out;
}

double qx_glmm_slopes_covariance(const qx_glmm *fit, const double a[], const double b[])
{
    double sum = 0.0;
    for (size_t j = 0; j < fit->length; j++) {
        for (size_t i = 0; b[j] != 0.0 && i < fit->length; i++) {
            sum += a[i] == 0.0 ? 0.0 : a[i] * QX_AT(fit->joint, i, j) * b[j];
        }
    }
    return sum;
}

/* Adds one row's mean, weighted, to the estimate and its slopes. */
static double
add_row(const qx_glmm *fit, const double row[], double s, double weight, double slope[])
{
    const averaged a = average(fit->link, qx_dot(fit->p, row, fit->beta), s);
    for (size_t i = 0; i < fit->p; i++) {
        slope[i] += weight * a.first * row[i];
    }
    for (size_t k = 0; s > 0.0 && k < fit->m; k++) {
        slope[fit->p + k] += weight * a.second * fit->sd[k];
    }
    return weight * a.mean;
}

static void interval(const qx_glmm *fit, qx_glmm_mean *mean)
{
    const double tail = 0.5 * (1.0 - fit->level);
    const double width =
        isinf(fit->df) ? qx_normal_q(tail, QX_UPPER) : qx_t_q(tail, fit->df, QX_UPPER);
    mean->link_estimate = qx_link_predictor(fit->link, mean->estimate);
    mean->link_se = mean->se / fabs(qx_link_slope(fit->link, mean->link_estimate, 1));
    mean->lower = qx_link_mean(fit->link, mean->link_estimate - width * mean->link_se);
    mean->upper = qx_link_mean(fit->link, mean->link_estimate + width * mean->link_se);
    if (!isfinite(mean->link_estimate) || !isfinite(mean->link_se)) {
        mean->link_se = mean->lower = mean->upper = NAN;
    }
}

static qx_status mean_of(qx_ctx *cx,
                         const qx_glmm *fit,
                         qx_mat rows,
                         double s,
                         double slope[],
                         qx_glmm_mean *out)
{
    qx_glmm_mean mean = {0};
    double *slopes;
    QX_NEW(cx, slopes, fit->length);
    for (size_t r = 0; r < rows.cols; r++) {
        mean.estimate +=
            add_row(fit, &QX_AT(rows, 0, r), s, 1.0 / (double)rows.cols, slopes);
    }
    const double variance = qx_glmm_slopes_covariance(fit, slopes, slopes);
    mean.se = variance >= 0.0 ? sqrt(variance) : (double)NAN;
    interval(fit, &mean);
    if (slope != NULL) {
        memcpy(slope, slopes, fit->length * sizeof *slope);
    }
    *out = mean;
    return QX_OK;
}

qx_status qx_glmm_mean_of(qx_ctx *cx,
                          const qx_glmm *fit,
                          qx_mat rows,
                          bool population,
                          double slope[],
                          qx_glmm_mean *out)
{
    double variance = 0.0;
    qx_status status;
    if (fit->inner->restricted) {
        return qx_fail(cx, QX_E_ARG, "a fit under a hypothesis has no means");
    }
    if (rows.rows != fit->p || rows.cols == 0) {
        return qx_fail(cx, QX_E_SHAPE, "a mean is made of columns of length %zu", fit->p);
    }
    for (size_t k = 0; population && k < fit->m; k++) {
        variance += fit->sd[k] * fit->sd[k];
    }
    QX_SCRATCH(cx, status, mean_of(cx, fit, rows, sqrt(variance), slope, out));
    return status;
}
