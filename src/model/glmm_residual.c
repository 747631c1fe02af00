#include <math.h>

#include "model/glmm_inner.h"
#include "numeric/dist.h"

/* Probabilities are kept off 0 and 1 by this much: the smallest that has a quantile. */
static const double LEAST_P = 1e-300;

static double quantile(const qx_glmm *fit, size_t i, double n, qx_rng *rng)
{
    const double k = fit->inner->k[i], mu = fit->fitted[i];
    const double low = fit->family->below(k - 1.0, n, mu, fit->psi);
    const double high = fit->family->below(k, n, mu, fit->psi);
    const double p = low + qx_rng_uniform(rng) * (high - low);
    return p < 1.0 ? qx_normal_q(fmax(p, LEAST_P), QX_LOWER)
                   : qx_normal_q(fmax(1.0 - low, LEAST_P), QX_UPPER);
}

qx_status qx_glmm_residuals(
    qx_ctx *cx, const qx_glmm *fit, qx_residual_kind kind, uint64_t seed, double out[])
{
    const bool share = fit->family->serves == QX_SERVES_SHARE;
    qx_rng rng = qx_rng_seeded(seed);
    if (fit->fitted == NULL) {
        return qx_fail(cx, QX_E_ARG, "a fit under a hypothesis has no residuals");
    }
    for (size_t i = 0; i < fit->n; i++) {
        const double n = share ? fit->inner->size[i] : 0.0, mu = fit->fitted[i];
        const double gap = fit->inner->k[i] - (share ? n * mu : mu);
        if (share && n == 0.0) {
            out[i] = NAN;
            continue;
        }
        switch (kind) {
        case QX_RESIDUAL_RESPONSE:
            out[i] = gap;
            break;
        case QX_RESIDUAL_PEARSON:
            out[i] =
                gap == 0.0 ? 0.0 : gap / sqrt(fit->family->variance(mu, n, fit->psi));
            break;
        case QX_RESIDUAL_DEVIANCE:
            out[i] = copysign(
                sqrt(fit->family->deviance(fit->inner->k[i], n, mu, fit->psi)), gap);
            break;
        case QX_RESIDUAL_QUANTILE:
            out[i] = quantile(fit, i, n, &rng);
            break;
        }
    }
    return QX_OK;
}
