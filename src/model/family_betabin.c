/* model/family_betabin.c - k of n things whose share varies by a beta distribution.
 *
 * With rho = psi^2 = 1/phi:
 *
 *     P(k) = (n over k) prod_{j<k} (mu + j rho) prod_{j<n-k} (1 - mu + j rho)
 *            / prod_{j<n} (1 + j rho)
 *
 * the binomial distribution at rho = 0, without a singularity. Each product's logarithm is
 * k A + sum log(1 + j rho / mu) with A = log mu; its derivatives in A are sums of
 * w_j = mu/(mu + j rho) (model/rising.h).
 * Crowder 1978, Appl Stat 27:34-37. */
#include <math.h>

#include "model/family_parts.h"
#include "model/rising.h"
#include "numeric/dist.h"
#include "numeric/variate.h"

/* Sums up to this many terms one by one; beyond, the beta distribution alone is as good. */
static const double SUM_MOST = 1e6;
/* Shares nearer to 0 or 1 vary like this one; their logarithm stays their own. */
static const double LEAST_MEAN = 1e-100;
/* Below this rho no draw can tell the beta-binomial distribution from the binomial. */
static const double LEAST_RHO = 1e-12;

static double variance(double mu, double n, double psi)
{
    const double rho = psi * psi;
    return n * mu * (1.0 - mu) * (1.0 + n * rho) / (1.0 + rho);
}

static double constant(double k, double n)
{
    return k == 0.0 || k == n ? 0.0 : qx_lchoose(n, k);
}

/* log of prod_{j<k} (mu + j rho), with slopes in mu. */
static double log_product(double mu, double rho, double k, double *slope)
{
    qx_rising s = {0};
    if (k == 0.0) {
        *slope = 0.0;
        return 0.0;
    }
    qx_rising_sums(fmax(mu, LEAST_MEAN), rho, k, 1, &s);
    *slope = s.w1 / mu;
    return k * log(mu) + s.log_ratio;
}

static double loglik(double k, double n, double mu, double psi)
{
    const double rho = psi * psi;
    double slope;
    return constant(k, n) + log_product(mu, rho, k, &slope) +
           log_product(1.0 - mu, rho, n - k, &slope) - log_product(1.0, rho, n, &slope);
}

static double score(double k, double n, double mu, double psi)
{
    double up, down;
    (void)log_product(mu, psi * psi, k, &up);
    (void)log_product(1.0 - mu, psi * psi, n - k, &down);
    return up - down;
}

/* Where the likelihood of one row is highest: the score falls in mu, so halving finds it. */
static double saturated(double k, double n, double psi)
{
    double low = 0.0, high = 1.0;
    if (k == 0.0 || k == n || psi == 0.0) {
        return k / n;
    }
    for (int i = 0; i < 60; i++) {
        const double middle = 0.5 * (low + high);
        if (score(k, n, middle, psi) > 0.0) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return 0.5 * (low + high);
}

static double deviance(double k, double n, double mu, double psi)
{
    if (n == 0.0) {
        return 0.0;
    }
    return fmax(0.0,
                2.0 * (loglik(k, n, saturated(k, n, psi), psi) - loglik(k, n, mu, psi)));
}

static double below(double k, double n, double mu, double psi)
{
    const double rho = psi * psi, a = mu / rho, b = (1.0 - mu) / rho;
    if (k < 0.0) {
        return 0.0;
    }
    if (k >= n) {
        return 1.0;
    }
    if (rho < LEAST_RHO || !(a > 0.0) || !(b > 0.0)) {
        return qx_binomial_p(k, n, mu, QX_LOWER);
    }
    if (k > SUM_MOST) {
        return qx_beta_p((k + 0.5) / n, a, b, QX_LOWER);
    }
    double term = exp(loglik(0.0, n, mu, psi)), sum = term;
    if (term == 0.0) {
        /* Too small to begin with: each from its own logarithm. */
        for (size_t j = 1; j <= (size_t)k; j++) {
            sum += exp(loglik((double)j, n, mu, psi));
        }
        return fmin(sum, 1.0);
    }
    for (size_t i = 0; i < (size_t)k; i++) {
        const double j = (double)i;
        term *= (n - j) / (j + 1.0) * (a + j) / (b + n - j - 1.0);
        sum += term;
    }
    return fmin(sum, 1.0);
}

static double simulate(qx_rng *rng, double n, double mu, double psi)
{
    const double rho = psi * psi;
    if (rho < LEAST_RHO || !(mu > 0.0 && mu < 1.0)) {
        return qx_variate_binomial(rng, n, mu);
    }
    return qx_variate_binomial(rng, n, qx_variate_beta(rng, mu / rho, (1.0 - mu) / rho));
}

/* One product: adds to l and derivatives in eta, and those in rho (slope: l, g, h). */
static void add_product(double mean,
                        const double A[4],
                        double rho,
                        double k,
                        bool slopes,
                        double d[4],
                        double slope[3])
{
    qx_rising s = {0};
    double in_rho[4] = {0.0};
    if (k == 0.0) {
        return;
    }
    qx_rising_sums(fmax(mean, LEAST_MEAN), rho, k, 1, &s);
    const qx_chain f = {.f = k * A[0] + s.log_ratio,
                        .f1 = s.w1,
                        .f2 = s.w1 - s.w2,
                        .f3 = s.w1 - 3.0 * s.w2 + 2.0 * s.w3};
    qx_chain_add(&f, A, d);
    if (slopes) {
        const qx_chain moved = {.f = s.t0, .f1 = -s.t1, .f2 = -(s.t1 - 2.0 * s.t2)};
        qx_chain_add(&moved, A, in_rho);
        slope[0] += in_rho[0];
        slope[1] += in_rho[1];
        slope[2] += in_rho[2];
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
    const double rho = psi[0] * psi[0];
    const bool all = order == QX_ROWS_ALL;
    qx_rising whole = {0};
    double whole_of = 0.0; /* most rows are shares out of as many things as the last */
    for (size_t j = 0; j < count; j++) {
        const size_t i = row[j];
        const double k = rows->k[i], n = rows->size[i];
        const double weight = rows->weight == NULL ? 1.0 : rows->weight[i];
        qx_link_point at;
        double d[4] = {0.0}, slope[3] = {0.0};
        qx_link_at(rows->link, eta[j], &at);
        add_product(at.mu, at.a, rho, k, all, d, slope);
        add_product(at.co, at.b, rho, n - k, all, d, slope);
        if (n != whole_of) {
            qx_rising_sums(1.0, rho, n, all, &whole);
            whole_of = n;
        }
        out->l[j] = weight * (d[0] - whole.log_ratio) + rows->constant[i];
        qx_chain_store(d, weight, j, order, out);
        slope[0] -= whole.t0;
        qx_spread_store(slope, weight * 2.0 * psi[0], j, order, out);
    }
}

const qx_family qx_family_betabin = {
    .key = "betabin",
    .title = "beta-binomial",
    .source = "Crowder 1978, Beta-binomial Anova for proportions",
    .serves = QX_SERVES_SHARE,
    .default_link = QX_LINK_LOGIT,
    .parameters = 1,
    .dispersion_name = "phi",
    .modelled_by = NULL,
    .collapses = false,
    .support = qx_support_share,
    .takes = qx_takes_share,
    .variance = variance,
    .loglik = loglik,
    .constant = constant,
    .score = score,
    .deviance = deviance,
    .below = below,
    .simulate = simulate,
    .dispersion = qx_spread_dispersion,
    .spread = qx_spread_of,
    .rows = rows_of,
};
