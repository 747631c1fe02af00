/* numeric/range.c - the studentised range, as an expectation over the estimated standard
 * deviation (scale_mean.h) of
 *
 *   P(range of k standard normals <= w) = k integral phi(z) {Phi(z) - Phi(z - w)}^(k-1) dz
 *
 *   P(range > w) = k integral phi(z) [Phi(z)^(k-1) - {Phi(z) - Phi(z - w)}^(k-1)] dz
 *
 * (z is the largest of the k; the second follows since the first with w infinite is 1).
 * The bracket is formed with log1p and expm1, so that small tails keep their digits. Both
 * integrands are analytic and die away as a normal density does: trapezoidal rule.
 *
 * librmath's ptukey (Copenhaver & Holland 1988, J Stat Comput Simul 30:1-15) is not used:
 * it is good to some 1e-10, forms the upper tail as a difference from 1, and prints. */
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

#include "numeric/brent.h"
#include "numeric/dist.h"
#include "numeric/scale_mean.h"

/* Steps of the inner and the outer sum. The largest of many means is spread less, and so is
 * their range beside its mean: both steps shrink with log k. The outer integrand is bounded
 * only for |Im u| < pi/4, so that its error is some exp(-pi^2 / (2 step)): 0.11 at most. Half of each changes results
 * by less than 1e-12 of themselves for k up to 100. */
static double inner_step(double k)
{
    return 0.28 / (1.0 + 0.2 * log(0.5 * k));
}

static double outer_step(double k)
{
    return fmin(0.11, 0.25 / (1.0 + log(0.5 * k)));
}

/* Half-width of the inner sum: phi falls to 1e-17 of its top, its square to 1e-34. */
#define REACH 8.75

typedef struct range {
    double q, k, df;
    qx_tail tail;
    double step;
    double log_want; /* for the quantile */
} range;

/* Phi(z) - Phi(z - w), from the tail in which the two are small. */
static double between(double z, double w)
{
    return z - w > 0.0 ? qx_normal_p(z - w, QX_UPPER) - qx_normal_p(z, QX_UPPER)
                       : qx_normal_p(z, QX_LOWER) - qx_normal_p(z - w, QX_LOWER);
}

static double upper_term(double z, double w, double k)
{
    const double below = qx_normal_p(z, QX_LOWER);
    const double share = qx_normal_p(z - w, QX_LOWER) / below;
    const double rest = share < 1.0 ? -expm1((k - 1.0) * log1p(-share)) : 1.0;
    return qx_normal_density(z) * pow(below, k - 1.0) * rest;
}

/* With a known standard deviation, at q s. The upper tail's integrand is centred on w/2
 * when w is large. */
static double range_of_scale(void *data, double s)
{
    const range *r = data;
    const double w = r->q * s;
    const bool upper = r->tail == QX_UPPER;
    const double from = upper ? fmax(-REACH, 0.5 * w - REACH) : -REACH;
    const double to = upper ? 0.5 * w + REACH : REACH;
    double sum = 0.0;
    for (size_t i = 0; from + (double)i * r->step <= to; i++) {
        const double z = from + (double)i * r->step;
        sum += upper ? upper_term(z, w, r->k)
                     : qx_normal_density(z) * pow(between(z, w), r->k - 1.0);
    }
    return fmin(1.0, r->k * r->step * sum);
}

static bool allowed(double k, double df)
{
    return k >= 2.0 && !isinf(k) && df >= 1.0;
}

static double range_p(range *r)
{
    return fmin(1.0, qx_scale_mean(range_of_scale, r, r->df, outer_step(r->k)));
}

double qx_range_p(double q, double k, double df, qx_tail tail)
{
    if (isnan(q) || !allowed(k, df)) {
        return (double)NAN;
    }
    if (q <= 0.0 || isinf(q)) {
        return (q <= 0.0) == (tail == QX_UPPER) ? 1.0 : 0.0;
    }
    range r = {.q = q, .k = k, .df = df, .tail = tail, .step = inner_step(k)};
    return range_p(&r);
}

static double excess(void *data, double q)
{
    range *r = data;
    r->q = q;
    return log(range_p(r)) - r->log_want;
}

/* The quantile by Brent's method on log P, between bounds from the t distribution. */
static double quantile(double p, double k, double df, qx_tail tail)
{
    range r = {.k = k, .df = df, .tail = tail, .step = inner_step(k), .log_want = log(p)};
    const double sign = tail == QX_UPPER ? 1.0 : -1.0;
    double high = 1.0;
    while (sign * excess(&r, high) > 0.0) {
        high *= 2.0;
    }
    double low = 0.5 * high;
    while (sign * excess(&r, low) < 0.0) {
        low *= 0.5;
    }
    double q = (double)NAN;
    (void)qx_brent_root(excess, &r, low, high, 0.0, &q);
    return q;
}

double qx_range_q(double p, double k, double df, qx_tail tail)
{
    if (!(p >= 0.0 && p <= 1.0) || !allowed(k, df)) {
        return (double)NAN;
    }
    if (p == 0.0 || p == 1.0) {
        return (p == 0.0) == (tail == QX_UPPER) ? (double)INFINITY : 0.0;
    }
    /* Of the two tails the smaller is the better conditioned. */
    return p <= 0.5 ? quantile(p, k, df, tail)
                    : quantile(1.0 - p, k, df, tail == QX_UPPER ? QX_LOWER : QX_UPPER);
}
