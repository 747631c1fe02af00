/* model/family_binomial.c - k of n things, each with the same probability. */
#include <math.h>

#include "model/family_parts.h"
#include "numeric/dist.h"
#include "numeric/variate.h"

static double variance(double mu, double n, double psi)
{
    (void)psi;
    return n * mu * (1.0 - mu);
}

static double constant(double k, double n)
{
    return k == 0.0 || k == n ? 0.0 : qx_lchoose(n, k);
}

/* x log y, 0 at x = 0 whatever y is. */
static double times_log(double x, double y)
{
    return x == 0.0 ? 0.0 : x * log(y);
}

static double loglik(double k, double n, double mu, double psi)
{
    (void)psi;
    return constant(k, n) + times_log(k, mu) + (n == k ? 0.0 : (n - k) * log1p(-mu));
}

static double score(double k, double n, double mu, double psi)
{
    (void)psi;
    return (k == 0.0 ? 0.0 : k / mu) - (n == k ? 0.0 : (n - k) / (1.0 - mu));
}

static double deviance(double k, double n, double mu, double psi)
{
    (void)psi;
    if (n == 0.0) {
        return 0.0;
    }
    return 2.0 * (qx_deviance_part(k, n * mu) + qx_deviance_part(n - k, n * (1.0 - mu)));
}

static double below(double k, double n, double mu, double psi)
{
    (void)psi;
    return k < 0.0 ? 0.0 : qx_binomial_p(k, n, mu, QX_LOWER);
}

static double simulate(qx_rng *rng, double n, double mu, double psi)
{
    (void)psi;
    return qx_variate_binomial(rng, n, mu);
}

/* l = k log mu + (n - k) log(1 - mu), of which one part may be 0 times -INFINITY. */
static double kernel(double k, double n, double a, double b)
{
    return (k > 0.0 ? k * a : 0.0) + (n > k ? (n - k) * b : 0.0);
}

/* Logit, the link that nearly all fits use: all from one exponential. */
static void logit_row(const qx_family_rows *rows,
                      size_t i,
                      size_t j,
                      double eta,
                      qx_rows_order order,
                      const qx_row_terms *out)
{
    const double k = rows->k[i], n = rows->size[i];
    const double weight = rows->weight == NULL ? 1.0 : rows->weight[i];
    const double e = exp(-fabs(eta)), small = log1p(e), near = 1.0 / (1.0 + e);
    const double mu = eta >= 0.0 ? near : e * near, co = eta >= 0.0 ? e * near : near;
    const double a = eta >= 0.0 ? -small : eta - small;
    const double b = eta >= 0.0 ? -eta - small : -small;
    out->l[j] = weight * kernel(k, n, a, b) + rows->constant[i];
    if (order == QX_ROWS_VALUE) {
        return;
    }
    out->g[j] = weight * (k * co - (n - k) * mu);
    out->h[j] = -weight * n * mu * co;
    if (order == QX_ROWS_ALL) {
        out->t[j] = -weight * n * mu * co * (co - mu);
    }
}

static void rows_of(const void *data,
                    size_t count,
                    const size_t row[],
                    const double eta[],
                    const double psi[],
                    qx_rows_order order,
                    const qx_row_terms *out)
{
    const qx_family_rows *rows = data;
    (void)psi;
    for (size_t j = 0; j < count; j++) {
        const size_t i = row[j];
        const double k = rows->k[i], n = rows->size[i];
        const double weight = rows->weight == NULL ? 1.0 : rows->weight[i];
        qx_link_point at;
        double d[4] = {0.0};
        if (rows->link == QX_LINK_LOGIT) {
            logit_row(rows, i, j, eta[j], order, out);
            continue;
        }
        qx_link_at(rows->link, eta[j], &at);
        out->l[j] = weight * kernel(k, n, at.a[0], at.b[0]) + rows->constant[i];
        for (size_t r = 1; r < 4; r++) {
            d[r] = kernel(k, n, at.a[r], at.b[r]);
        }
        qx_chain_store(d, weight, j, order, out);
    }
}

const qx_family qx_family_binomial = {
    .key = "binomial",
    .title = "binomial",
    .source = "McCullagh & Nelder 1989, Generalized Linear Models, 2nd ed., ch. 4",
    .serves = QX_SERVES_SHARE,
    .default_link = QX_LINK_LOGIT,
    .parameters = 0,
    .dispersion_name = NULL,
    .modelled_by = "betabin",
    .collapses = true,
    .support = qx_support_share,
    .takes = qx_takes_share,
    .variance = variance,
    .loglik = loglik,
    .constant = constant,
    .score = score,
    .deviance = deviance,
    .below = below,
    .simulate = simulate,
    .dispersion = NULL,
    .spread = NULL,
    .rows = rows_of,
};
