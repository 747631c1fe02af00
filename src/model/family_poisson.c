/* model/family_poisson.c - counts of things that come independently of each other. */
#include <math.h>

#include "model/family_parts.h"
#include "numeric/dist.h"
#include "numeric/variate.h"

static double variance(double mu, double n, double psi)
{
    (void)n;
    (void)psi;
    return mu;
}

static double constant(double k, double n)
{
    (void)n;
    return -qx_lgamma(k + 1.0);
}

static double loglik(double k, double n, double mu, double psi)
{
    (void)psi;
    return constant(k, n) + (k == 0.0 ? 0.0 : k * log(mu)) - mu;
}

static double score(double k, double n, double mu, double psi)
{
    (void)n;
    (void)psi;
    return (k == 0.0 ? 0.0 : k / mu) - 1.0;
}

static double deviance(double k, double n, double mu, double psi)
{
    (void)n;
    (void)psi;
    return 2.0 * qx_deviance_part(k, mu);
}

static double below(double k, double n, double mu, double psi)
{
    (void)n;
    (void)psi;
    return k < 0.0 ? 0.0 : qx_poisson_p(k, mu, QX_LOWER);
}

static double simulate(qx_rng *rng, double n, double mu, double psi)
{
    (void)n;
    (void)psi;
    return qx_variate_poisson(rng, mu);
}

/* With A = log mu: l = k A - e^A. */
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
        const double k = rows->k[i];
        const double weight = rows->weight == NULL ? 1.0 : rows->weight[i];
        qx_link_point at;
        double d[4] = {0.0};
        qx_link_at(rows->link, eta[j], &at);
        const qx_chain f = {.f1 = k - at.mu, .f2 = -at.mu, .f3 = -at.mu};
        out->l[j] =
            at.mu > 0.0 || k == 0.0
                ? weight * ((k > 0.0 ? k * at.a[0] : 0.0) - at.mu) + rows->constant[i]
            : rows->link == QX_LINK_LOG ? weight * k * at.a[0]
                                        : -(double)INFINITY;
        if (rows->link == QX_LINK_IDENTITY && !(eta[j] > 0.0)) {
            out->l[j] = -INFINITY; /* no mean there */
        }
        qx_chain_add(&f, at.a, d);
        qx_chain_store(d, weight, j, order, out);
    }
}

const qx_family qx_family_poisson = {
    .key = "poisson",
    .title = "poisson",
    .source = "McCullagh & Nelder 1989, Generalized Linear Models, 2nd ed., ch. 6",
    .serves = QX_SERVES_COUNT,
    .default_link = QX_LINK_LOG,
    .parameters = 0,
    .dispersion_name = NULL,
    .modelled_by = "negbin",
    .collapses = true,
    .support = qx_support_count,
    .takes = qx_takes_count,
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
