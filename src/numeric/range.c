/* Studentised range by two trapezoidal sums.
 *
 * With W(w) = P(range of k standard normals <= w) and S = sqrt(chi^2(df)/df),
 *
 *   P(Q > q) = E[ 1 - W(q S) ],
 *   1 - W(w) = k integral phi(z) { Phi(z)^(k-1) - (Phi(z) - Phi(z-w))^(k-1) } dz .
 *
 * The braces are formed with log1p and expm1, so that small tails keep their digits. Both
 * integrands are analytic and die away at both ends (the outer one in log s), where the
 * trapezoidal rule converges faster than any power of its step (Trefethen & Weideman 2014,
 * SIAM Review 56:385-458). librmath's own ptukey (Copenhaver & Holland 1988) is good to
 * some 1e-10 and its quantile to 1e-7, which is not enough for eight digits. */
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

#include "numeric/dist.h"

#define INNER_STEP 0.3
#define INNER_FROM (-8.4)
#define OUTER_TAIL 1e-17 /* density (relative to its top) at which the outer sum ends */
#define ROUNDS     100

/* 1 - W(w) for k means. */
static double range_tail_known_sd(double w, double k)
{
    const double far = (w > 0.0 ? w / 2.0 : 0.0) + 8.4;
    double sum = 0.0;
    for (double z = INNER_FROM; z < far; z += INNER_STEP) {
        const double below = qx_normal_p(z, QX_LOWER);
        const double share = qx_normal_p(z - w, QX_LOWER) / below;
        const double rest = share < 1.0 ? -expm1((k - 1.0) * log1p(-share)) : 1.0;
        sum += qx_normal_density(z) * exp((k - 1.0) * log(below)) * rest;
    }
    const double tail = k * sum * INNER_STEP;
    return tail < 1.0 ? tail : 1.0;
}

/* Log density of u = log S up to a constant: df u - df exp(2u)/2, highest (-df/2) at 0. */
static double log_density(double u, double df)
{
    return df * u - df * exp(2.0 * u) / 2.0 + df / 2.0;
}

/* Where the density has fallen to OUTER_TAIL, left (sign -1) or right (+1) of its top. */
static double end_of_density(double df, double sign)
{
    double near = 0.0, far = sign;
    const double want = log(OUTER_TAIL);
    while (log_density(far, df) > want) {
        far *= 2.0;
    }
    for (int i = 0; i < 40; i++) {
        const double middle = (near + far) / 2.0;
        if (log_density(middle, df) > want) {
            near = middle;
        } else {
            far = middle;
        }
    }
    return far;
}

static double range_tail(double q, double k, double df)
{
    if (isinf(df)) {
        return range_tail_known_sd(q, k);
    }
    if (k == 2.0) {
        return qx_t_two_sided(q / sqrt(2.0), df);
    }
    const double from = end_of_density(df, -1.0);
    const double to = end_of_density(df, 1.0);
    /* The density of u has standard deviation near 1/sqrt(2 df); W(q exp(u)) adds detail
     * of its own for large q. */
    const double sd = 1.0 / sqrt(2.0 * df);
    const size_t steps = (size_t)ceil((to - from) / fmin(sd * 0.45, 0.16)) + 1;
    const double step = (to - from) / (double)steps;
    double sum = 0.0, weight = 0.0;
    for (size_t i = 0; i <= steps; i++) {
        const double u = from + step * (double)i;
        const double density = exp(log_density(u, df));
        sum += density * range_tail_known_sd(q * exp(u), k);
        weight += density;
    }
    return sum / weight;
}

static bool allowed(double k, double df)
{
    return k >= 2.0 && !isinf(k) && df >= 1.0;
}

double qx_range_p(double q, double k, double df, qx_tail tail)
{
    if (isnan(q) || !allowed(k, df)) {
        return (double)NAN;
    }
    const double upper = q <= 0.0 ? 1.0 : isinf(q) ? 0.0 : range_tail(q, k, df);
    return tail == QX_UPPER ? upper : 1.0 - upper;
}

/* Secant steps on log P(Q > q), which is smooth, inside a bracket that always holds the
 * quantile; a step that leaves it is halved. */
static double solve(double upper, double k, double df)
{
    const double want = log(upper);
    double low = 0.0, f_low = -want;
    const double m = k * (k - 1.0) / 2.0;
    double high = sqrt(2.0) * qx_t_q(-expm1(log1p(-upper) / m) / 2.0, df, QX_UPPER);
    double f_high =
        log(range_tail(high, k, df)) - want; /* Sidak: at or above the quantile */
    while (f_high > 0.0) {
        low = high;
        f_low = f_high;
        high *= 1.5;
        f_high = log(range_tail(high, k, df)) - want;
    }
    double x0 = high, f0 = f_high, x = high * 0.98;
    for (int i = 0; i < ROUNDS; i++) {
        if (!(x > low && x < high)) {
            x = (low + high) / 2.0;
        }
        const double f = log(range_tail(x, k, df)) - want;
        if (f > 0.0) {
            low = x;
            f_low = f;
        } else {
            high = x;
            f_high = f;
        }
        if (fabs(f) < 1e-13 || high - low < 1e-13 * high || f == f0) {
            return x;
        }
        const double next = x - f * (x - x0) / (f - f0);
        x0 = x;
        f0 = f;
        x = next;
    }
    return f_low < -f_high ? low : high;
}

double qx_range_q(double p, double k, double df, qx_tail tail)
{
    if (!(p >= 0.0 && p <= 1.0) || !allowed(k, df)) {
        return (double)NAN;
    }
    const double upper = tail == QX_UPPER ? p : 1.0 - p;
    if (upper <= 0.0) {
        return (double)INFINITY;
    }
    if (upper >= 1.0) {
        return 0.0;
    }
    if (k == 2.0) {
        return sqrt(2.0) * qx_t_q(upper / 2.0, df, QX_UPPER);
    }
    return solve(upper, k, df);
}
