/* model/family_negbin.c - counts whose mean varies by a gamma distribution.
 *
 * With rho = psi^2 = 1/theta, y = mu rho, v = 1/(1 + y), A = log mu:
 *
 *     l      = sum_{j<k} log(1 + j rho) - log k! + k A - (k + 1/rho) log(1 + y)
 *     dl/dA  = (k - mu) v       d2 = -mu (1 + k rho) v^2       d3 = d2 (1 - y) v
 *     dl/drho = sum j/(1 + j rho) - k mu v + mu^2 (log(1 + y) - y v) / y^2
 *
 * which is the Poisson distribution at rho = 0, without a singularity. */
#include <math.h>

#include "model/family_parts.h"
#include "model/rising.h"
#include "numeric/dist.h"
#include "numeric/variate.h"

/* Below this y the series of the two functions of y leave 1e-16. */
static const double SMALL = 1e-3;

/* log(1 + y) / y. */
static double log_ratio(double y)
{
    return y > 1e-8 ? log1p(y) / y : 1.0 - 0.5 * y;
}

/* (log(1 + y) - y/(1 + y)) / y^2 = 1/2 - 2y/3 + 3y^2/4 - ..., y small. */
static double curve_ratio(double y)
{
    return 0.5 - y * (2.0 / 3 - y * (3.0 / 4 - y * (4.0 / 5 - y * (5.0 / 6))));
}

static double variance(double mu, double n, double psi)
{
    (void)n;
    return mu * (1.0 + mu * psi * psi);
}

static double constant(double k, double n)
{
    (void)n;
    return -qx_lgamma(k + 1.0);
}

static double loglik(double k, double n, double mu, double psi)
{
    const double rho = psi * psi, y = mu * rho;
    qx_rising s;
    qx_rising_sums(1.0, rho, k, 0, &s);
    return constant(k, n) + s.log_ratio + (k == 0.0 ? 0.0 : k * (log(mu) - log1p(y))) -
           mu * log_ratio(y);
}

static double score(double k, double n, double mu, double psi)
{
    (void)n;
    return (k == 0.0 ? -1.0 : (k - mu) / mu) / (1.0 + mu * psi * psi);
}

/* 2 (k log(k/mu) - (k + 1/rho) log((1 + k rho)/(1 + mu rho))). */
static double deviance(double k, double n, double mu, double psi)
{
    const double rho = psi * psi, z = (k - mu) * rho / (1.0 + mu * rho);
    (void)n;
    if (rho == 0.0) {
        return 2.0 * qx_deviance_part(k, mu);
    }
    const double first = k == 0.0 ? 0.0 : k * (log(k / mu) - log1p(z));
    const double ratio = fabs(z) > 1e-8 ? log1p(z) / z : 1.0 - 0.5 * z;
    return fmax(0.0, 2.0 * (first - (k - mu) / (1.0 + mu * rho) * ratio));
}

static double below(double k, double n, double mu, double psi)
{
    const double rho = psi * psi;
    (void)n;
    if (k < 0.0) {
        return 0.0;
    }
    /* Beyond the reach of the beta distribution it is the Poisson one. */
    if (rho < 1e-9) {
        return qx_poisson_p(k, mu, QX_LOWER);
    }
    return qx_beta_p(1.0 / (1.0 + mu * rho), 1.0 / rho, k + 1.0, QX_LOWER);
}

static double simulate(qx_rng *rng, double n, double mu, double psi)
{
    const double rho = psi * psi;
    (void)n;
    if (rho < 1e-12) {
        return qx_variate_poisson(rng, mu);
    }
    return qx_variate_poisson(rng, mu * rho * qx_variate_gamma(rng, 1.0 / rho));
}

/* What a row is made of; bounded also where mu has overflowed. */
typedef struct parts {
    double v;        /* 1/(1 + y) */
    double mv, yv;   /* mu v, y v */
    double log_one;  /* log(1 + y) */
    double mean_log; /* log(1 + y) / rho, mu at rho = 0 */
    double curve;    /* mu^2 (log(1 + y) - y v) / y^2 */
} parts;

static parts parts_of(const qx_link_point *at, double rho)
{
    const double mu = at->mu, y = rho > 0.0 ? mu * rho : 0.0;
    if (isinf(mu) && rho > 0.0) {
        const double log_one = at->a[0] + log(rho);
        return (parts){.mv = 1.0 / rho,
                       .yv = 1.0,
                       .log_one = log_one,
                       .mean_log = log_one / rho,
                       .curve = (log_one - 1.0) / (rho * rho)};
    }
    const double v = 1.0 / (1.0 + y);
    return (parts){.v = v,
                   .mv = mu * v,
                   .yv = y * v,
                   .log_one = log1p(y),
                   .mean_log = mu * log_ratio(y),
                   .curve = y > SMALL ? (log1p(y) - y * v) / (rho * rho)
                                      : mu * mu * curve_ratio(y)};
}

/* Slopes in psi: twice psi times those in rho. */
static void psi_terms(
    double k, const qx_link_point *at, double psi, const qx_rising *s, double slope[3])
{
    const double rho = psi * psi;
    const parts q = parts_of(at, rho);
    const qx_chain f = {
        .f1 = -(k * q.v - q.mv) * q.mv,
        .f2 = -q.mv * k * q.v + 2.0 * q.mv * q.mv * (1.0 + k * rho) * q.v,
    };
    double d[4] = {0.0};
    qx_chain_add(&f, at->a, d);
    slope[0] = 2.0 * psi * (s->t0 - k * q.mv + q.curve);
    slope[1] = 2.0 * psi * d[1];
    slope[2] = 2.0 * psi * d[2];
}

static void one_row(const qx_family_rows *rows,
                    size_t i,
                    size_t j,
                    double eta,
                    double psi,
                    qx_rows_order order,
                    const qx_row_terms *out)
{
    const double rho = psi * psi, k = rows->k[i];
    const double weight = rows->weight == NULL ? 1.0 : rows->weight[i];
    qx_link_point at;
    qx_rising s;
    double d[4] = {0.0}, slope[3] = {0.0};
    qx_link_at(rows->link, eta, &at);
    const parts q = parts_of(&at, rho);
    const double f2 = -q.mv * (1.0 + k * rho) * q.v;
    const qx_chain f = {.f1 = k * q.v - q.mv, .f2 = f2, .f3 = f2 * (q.v - q.yv)};
    qx_rising_sums(1.0, rho, k, order == QX_ROWS_ALL, &s);
    out->l[j] = weight * (s.log_ratio + (k > 0.0 ? k * (at.a[0] - q.log_one) : 0.0) -
                          q.mean_log) +
                rows->constant[i];
    if (rows->link == QX_LINK_IDENTITY && !(eta > 0.0)) {
        out->l[j] = -INFINITY; /* no mean there */
    }
    qx_chain_add(&f, at.a, d);
    qx_chain_store(d, weight, j, order, out);
    if (order == QX_ROWS_ALL) {
        psi_terms(k, &at, psi, &s, slope);
    }
    qx_spread_store(slope, weight, j, order, out);
}

static void rows_of(const void *data,
                    size_t count,
                    const size_t row[],
                    const double eta[],
                    const double psi[],
                    qx_rows_order order,
                    const qx_row_terms *out)
{
    for (size_t j = 0; j < count; j++) {
        one_row(data, row[j], j, eta[j], psi[0], order, out);
    }
}

const qx_family qx_family_negbin = {
    .key = "negbin",
    .title = "negative binomial",
    .source = "Lawless 1987, Negative binomial and mixed Poisson regression",
    .serves = QX_SERVES_COUNT,
    .default_link = QX_LINK_LOG,
    .parameters = 1,
    .dispersion_name = "theta",
    .modelled_by = NULL,
    .collapses = false,
    .support = qx_support_count,
    .takes = qx_takes_count,
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
