/* numeric/dist.c - librmath behind checks of every argument. */
#include "numeric/dist.h"

#define MATHLIB_STANDALONE 1
#include <Rmath.h>
#include <math.h>
#include <stdbool.h>

#include "numeric/brent.h"

#define NOTHING ((double)NAN)

static int lower(qx_tail tail)
{
    return tail == QX_LOWER;
}

static bool is_share(double p)
{
    return p >= 0.0 && p <= 1.0;
}

/* Degrees of freedom: above 0, infinity allowed. */
static bool is_df(double df)
{
    return df > 0.0;
}

/* The incomplete beta function of librmath loses itself, and prints, where a shape is
 * larger; t and F have then reached their limits to ten digits. */
#define SHAPE_MOST 1e10

static double limited(double df)
{
    return df > SHAPE_MOST ? (double)INFINITY : df;
}

double qx_normal_p(double x, qx_tail tail)
{
    return isnan(x) ? NOTHING : pnorm(x, 0.0, 1.0, lower(tail), 0);
}

double qx_normal_q(double p, qx_tail tail)
{
    return is_share(p) ? qnorm(p, 0.0, 1.0, lower(tail), 0) : NOTHING;
}

double qx_normal_density(double x)
{
    return isnan(x) ? NOTHING : dnorm(x, 0.0, 1.0, 0);
}

double qx_t_p(double x, double df, qx_tail tail)
{
    return isnan(x) || !is_df(df) ? NOTHING : pt(x, limited(df), lower(tail), 0);
}

double qx_t_two_sided(double x, double df)
{
    return isnan(x) || !is_df(df) ? NOTHING : 2.0 * pt(fabs(x), limited(df), 0, 0);
}

double qx_f_p(double x, double df1, double df2, qx_tail tail)
{
    return isnan(x) || !is_df(df1) || !is_df(df2)
               ? NOTHING
               : pf(x, limited(df1), limited(df2), lower(tail), 0);
}

/* A quantile of the beta distribution as log(x / (1 - x)), by Brent's method: librmath's
 * qbeta can print a line when it is not content with itself. */
typedef struct odds {
    double a, b;
    qx_tail tail;
    double log_want;
} odds;

static double excess_at_odds(void *data, double z)
{
    const odds *o = data;
    /* The smaller of x and 1 - x keeps its digits. */
    const double small = 1.0 / (1.0 + exp(fabs(z)));
    const double p = z < 0.0 ? pbeta(small, o->a, o->b, lower(o->tail), 0)
                             : pbeta(small, o->b, o->a, !lower(o->tail), 0);
    return log(p) - o->log_want; /* not pbeta's own logarithm: it prints */
}

/* Beyond this the odds or their inverse leave the doubles: they are told as infinite. */
#define ODDS_MOST 700.0

static double beta_log_odds(double p, double a, double b, qx_tail tail)
{
    /* Of the two tails the smaller is the better conditioned. */
    odds o = {.a = a, .b = b, .tail = tail, .log_want = log(p)};
    if (p > 0.5) {
        o.tail = tail == QX_LOWER ? QX_UPPER : QX_LOWER;
        o.log_want = log1p(-p);
    }
    const double sign = o.tail == QX_LOWER ? 1.0 : -1.0;
    double low = -1.0;
    while (low > -ODDS_MOST && sign * excess_at_odds(&o, low) > 0.0) {
        low *= 2.0;
    }
    double high = 1.0;
    while (high < ODDS_MOST && sign * excess_at_odds(&o, high) < 0.0) {
        high *= 2.0;
    }
    double z = (p > 0.5) == (tail == QX_LOWER) ? high : low;
    (void)qx_brent_root(excess_at_odds, &o, low, high, 0.0, &z);
    return fabs(z) > ODDS_MOST ? copysign((double)INFINITY, z) : z;
}

double qx_f_q(double p, double df1, double df2, qx_tail tail)
{
    if (!is_share(p) || !is_df(df1) || !is_df(df2)) {
        return NOTHING;
    }
    if (p == 0.0 || p == 1.0) {
        return (p == 0.0) == (tail == QX_LOWER) ? 0.0 : (double)INFINITY;
    }
    df1 = limited(df1);
    df2 = limited(df2);
    if (isinf(df1) && isinf(df2)) {
        return 1.0;
    }
    if (isinf(df2)) {
        return qchisq(p, df1, lower(tail), 0) / df1;
    }
    if (isinf(df1)) {
        return df2 / qchisq(p, df2, !lower(tail), 0);
    }
    return df2 / df1 * exp(beta_log_odds(p, 0.5 * df1, 0.5 * df2, tail));
}

/* Below one degree of freedom librmath's qt stops at four digits; T^2 is F(1, df). */
static double t_from_f(double p, double df, qx_tail tail)
{
    const double size = p < 0.5 ? sqrt(qx_f_q(2.0 * p, 1.0, df, QX_UPPER))
                                : sqrt(qx_f_q(2.0 * (1.0 - p), 1.0, df, QX_UPPER));
    return (p < 0.5) == (tail == QX_UPPER) ? size : -size;
}

double qx_t_q(double p, double df, qx_tail tail)
{
    if (!is_share(p) || !is_df(df)) {
        return NOTHING;
    }
    return df < 1.0 ? t_from_f(p, df, tail) : qt(p, limited(df), lower(tail), 0);
}

double qx_chisq_p(double x, double df, qx_tail tail)
{
    return isnan(x) || !is_df(df) || isinf(df) ? NOTHING : pchisq(x, df, lower(tail), 0);
}

double qx_chisq_density(double x, double df)
{
    return isnan(x) || !is_df(df) || isinf(df) ? NOTHING : dchisq(x, df, 0);
}

double qx_chisq_q(double p, double df, qx_tail tail)
{
    return is_share(p) && is_df(df) && !isinf(df) ? qchisq(p, df, lower(tail), 0)
                                                  : NOTHING;
}

/* Shape of a beta distribution. */
static bool is_shape(double a)
{
    return a > 0.0 && a <= SHAPE_MOST;
}

double qx_beta_p(double x, double a, double b, qx_tail tail)
{
    return isnan(x) || !is_shape(a) || !is_shape(b) ? NOTHING
                                                    : pbeta(x, a, b, lower(tail), 0);
}

double qx_beta_q(double p, double a, double b, qx_tail tail)
{
    if (!is_share(p) || !is_shape(a) || !is_shape(b)) {
        return NOTHING;
    }
    if (p == 0.0 || p == 1.0) {
        return (p == 0.0) == (tail == QX_LOWER) ? 0.0 : 1.0;
    }
    return 1.0 / (1.0 + exp(-beta_log_odds(p, a, b, tail)));
}

/* A whole number from 0 up, exactly: librmath prints a line for anything else. */
static bool is_count(double k)
{
    return k >= 0.0 && !isinf(k) && k == floor(k);
}

double qx_binomial_density(double k, double n, double p)
{
    if (!is_count(n) || n > SHAPE_MOST || !is_share(p) || isnan(k)) {
        return NOTHING;
    }
    return is_count(k) ? dbinom(k, n, p, 0) : 0.0;
}

double qx_binomial_p(double k, double n, double p, qx_tail tail)
{
    return isnan(k) || !is_count(n) || n > SHAPE_MOST || !is_share(p)
               ? NOTHING
               : pbinom(k, n, p, lower(tail), 0);
}

double qx_poisson_density(double k, double mean)
{
    if (!(mean >= 0.0) || isinf(mean) || isnan(k)) {
        return NOTHING;
    }
    return is_count(k) ? dpois(k, mean, 0) : 0.0;
}

double qx_poisson_p(double k, double mean, qx_tail tail)
{
    return isnan(k) || !(mean >= 0.0) || isinf(mean) ? NOTHING
                                                     : ppois(k, mean, lower(tail), 0);
}

double qx_lgamma(double x)
{
    return x > 0.0 && !isinf(x) ? lgammafn(x) : NOTHING;
}

double qx_digamma(double x)
{
    return x > 0.0 && !isinf(x) ? digamma(x) : NOTHING;
}

double qx_trigamma(double x)
{
    return x > 0.0 && !isinf(x) ? trigamma(x) : NOTHING;
}

double qx_lbeta(double a, double b)
{
    return a > 0.0 && b > 0.0 && !isinf(a) && !isinf(b) ? lbeta(a, b) : NOTHING;
}

double qx_lchoose(double n, double k)
{
    return is_count(n) && is_count(k) && k <= n ? lchoose(n, k) : NOTHING;
}
