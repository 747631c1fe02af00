#include "numeric/variate.h"

#include <math.h>

#include "numeric/dist.h"

/* A discrete distribution by the ratios of its probabilities. */
typedef struct steps {
    double most; /* largest value, or INFINITY */
    double n, p; /* binomial: size and probability; Poisson: n = 0, p the mean */
} steps;

/* P(k + 1) / P(k). */
static double up(const steps *d, double k)
{
    return d->n > 0.0 ? (d->n - k) / (k + 1.0) * (d->p / (1.0 - d->p)) : d->p / (k + 1.0);
}

/* Outwards from the mode, the nearer tails first: u is used up by the probabilities in that
 * order, which is an inversion of the distribution in another order of its values. */
static double invert(const steps *d, double mode, double at_mode, double u)
{
    double above = mode, below = mode, p_above = at_mode, p_below = at_mode;
    u -= at_mode;
    while (u > 0.0) {
        const double before = u;
        if (above < d->most) {
            p_above *= up(d, above);
            above += 1.0;
            u -= p_above;
            if (u <= 0.0) {
                return above;
            }
        }
        if (below > 0.0) {
            below -= 1.0;
            p_below /= up(d, below);
            u -= p_below;
            if (u <= 0.0) {
                return below;
            }
        }
        if (u == before) {
            return above; /* both tails are used up: the rest is rounding */
        }
    }
    return mode;
}

double qx_variate_binomial(qx_rng *rng, double n, double p)
{
    if (!(n >= 0.0 && n <= 1e15 && p >= 0.0 && p <= 1.0)) {
        return NAN;
    }
    const double u = qx_rng_uniform(rng);
    if (n == 0.0 || p == 0.0) {
        return 0.0;
    }
    if (p == 1.0) {
        return n;
    }
    const steps d = {.most = n, .n = n, .p = p};
    const double mode = fmin(floor((n + 1.0) * p), n);
    return invert(&d, mode, qx_binomial_density(mode, n, p), u);
}

double qx_variate_poisson(qx_rng *rng, double mean)
{
    if (!(mean >= 0.0 && mean <= 1e15)) {
        return NAN;
    }
    const double u = qx_rng_uniform(rng);
    if (mean == 0.0) {
        return 0.0;
    }
    const steps d = {.most = INFINITY, .n = 0.0, .p = mean};
    const double mode = floor(mean);
    return invert(&d, mode, qx_poisson_density(mode, mean), u);
}

double qx_variate_gamma(qx_rng *rng, double shape)
{
    if (!(shape > 0.0 && isfinite(shape))) {
        return NAN;
    }
    /* Below 1: gamma(shape + 1) times a power of a uniform. */
    const double boost = shape < 1.0 ? pow(qx_rng_uniform(rng), 1.0 / shape) : 1.0;
    const double d = (shape < 1.0 ? shape + 1.0 : shape) - 1.0 / 3.0;
    const double c = 1.0 / sqrt(9.0 * d);
    for (;;) {
        const double z = qx_rng_normal(rng);
        const double root = 1.0 + c * z;
        const double v = root * root * root;
        if (v > 0.0 && log(qx_rng_uniform(rng)) < 0.5 * z * z + d - d * v + d * log(v)) {
            return d * v * boost;
        }
    }
}

double qx_variate_beta(qx_rng *rng, double a, double b)
{
    const double x = qx_variate_gamma(rng, a);
    const double y = qx_variate_gamma(rng, b);
    /* Both can be nil when both shapes are tiny: then all is at one end. */
    if (x + y > 0.0) {
        return x / (x + y);
    }
    return a > 0.0 && b > 0.0 ? (double)(qx_rng_uniform(rng) < a / (a + b)) : (double)NAN;
}
