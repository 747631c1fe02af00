#include "model/overdispersion.h"

#include <math.h>

#include "model/glmm_inner.h"
#include "numeric/dist.h"

static double times_of(const qx_glmm *fit, size_t i)
{
    return fit->inner->times == NULL ? 1.0 : fit->inner->times[i];
}

/* Leverage of row i in the fixed part: w x'C x, w the information of one thing about eta. */
static double leverage(const qx_glmm *fit, size_t i, double mean, double variance)
{
    const double slope = qx_link_slope(fit->link, fit->eta[i], 1);
    const double scale =
        fit->family->serves == QX_SERVES_SHARE ? fit->inner->size[i] : 1.0;
    double sum = 0.0;
    for (size_t b = 0; b < fit->p; b++) {
        for (size_t a = 0; a < fit->p; a++) {
            sum += QX_AT(fit->design.X, i, a) * QX_AT(fit->conditional, a, b) *
                   QX_AT(fit->design.X, i, b);
        }
    }
    return mean > 0.0 && variance > 0.0 ? sum * scale * slope * scale * slope / variance
                                        : 0.0;
}

/* Dean's statistics; NAN where nothing can vary. */
static double score_of(const qx_glmm *fit)
{
    const bool share = fit->family->serves == QX_SERVES_SHARE;
    double sum = 0.0, square = 0.0;
    for (size_t i = 0; i < fit->n; i++) {
        const double k = fit->inner->k[i], w = times_of(fit, i), mu = fit->fitted[i];
        if (share) {
            const double n = fit->inner->size[i], gap = k - n * mu;
            const double own = mu * (1.0 - mu);
            sum += own > 0.0 ? w * (gap * gap + mu * gap - k * (1.0 - mu)) / own : 0.0;
            square += w * n * (n - 1.0);
        } else {
            const double h = leverage(fit, i, mu, mu);
            sum += w * ((k - mu) * (k - mu) - k + h * mu);
            square += w * mu * mu;
        }
    }
    return square > 0.0 ? sum / sqrt(2.0 * square) : (double)NAN;
}

static bool can_show(const qx_glmm *fit)
{
    bool several = fit->family->serves == QX_SERVES_COUNT;
    for (size_t i = 0; !several && i < fit->n; i++) {
        several = fit->inner->size[i] > 1.0;
    }
    return several && fit->residual_df >= 2.0;
}

static qx_status fit_wider(qx_ctx *cx,
                           const qx_glmm_spec *spec,
                           const qx_glmm *fit,
                           qx_overdispersion *out,
                           qx_glmm **wider)
{
    qx_glmm_spec wide = *spec;
    wide.extra = QX_EXTRA_MODELLED;
    wide.no_covariance = spec->no_covariance || spec->quick;
    QX_TRY(qx_glmm_fit(cx, &wide, wider));
    if (!(*wider)->converged) {
        return QX_OK;
    }
    out->dispersion = (*wider)->dispersion;
    out->lrt = fmax(0.0, 2.0 * ((*wider)->log_likelihood - fit->log_likelihood));
    out->lrt_p = out->lrt > 0.0 ? 0.5 * qx_chisq_p(out->lrt, 1.0, QX_UPPER) : 1.0;
    return QX_OK;
}

qx_status qx_overdispersion_test(qx_ctx *cx,
                                 const qx_glmm_spec *spec,
                                 const qx_glmm *fit,
                                 qx_overdispersion *out,
                                 qx_glmm **wider)
{
    qx_overdispersion found = {.pearson_df = fit->residual_df};
    qx_glmm *wide = NULL;
    found.score = found.score_p = found.lrt = found.lrt_p = found.dispersion = NAN;
    if (wider != NULL) {
        *wider = NULL;
    }
    if (fit->family->parameters > 0 || fit->extra != QX_EXTRA_NONE ||
        fit->fitted == NULL) {
        return qx_fail(
            cx, QX_E_ARG, "extra variation is tested from a binomial or Poisson fit");
    }
    found.pearson_ratio = fit->pearson_chisq / fit->residual_df;
    found.deviance_ratio = fit->deviance / fit->residual_df;
    found.pearson_p = qx_chisq_p(fit->pearson_chisq, fit->residual_df, QX_UPPER);
    found.deviance_p = qx_chisq_p(fit->deviance, fit->residual_df, QX_UPPER);
    found.can_show = can_show(fit);
    if (found.can_show) {
        found.score = score_of(fit);
        found.score_p = qx_normal_p(found.score, QX_UPPER);
        QX_TRY(fit_wider(cx, spec, fit, &found, &wide));
    }
    if (wider != NULL) {
        *wider = wide;
    } else {
        qx_glmm_free(wide);
    }
    *out = found;
    return QX_OK;
}

bool qx_overdispersion_choose(const qx_overdispersion *found, double alpha)
{
    return found->can_show && found->lrt_p < alpha;
}
