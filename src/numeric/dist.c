#include "numeric/dist.h"

#define MATHLIB_STANDALONE 1
#include <Rmath.h>
#include <math.h>
#include <stdbool.h>

/* Non-central t and F of librmath are documented up to this non-centrality. */
#define NCP_T_MOST 37.62

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
    return isnan(x) || !is_df(df) ? NOTHING : pt(x, df, lower(tail), 0);
}

double qx_t_two_sided(double x, double df)
{
    return isnan(x) || !is_df(df) ? NOTHING : 2.0 * pt(fabs(x), df, 0, 0);
}

double qx_t_q(double p, double df, qx_tail tail)
{
    return is_share(p) && is_df(df) ? qt(p, df, lower(tail), 0) : NOTHING;
}

double qx_f_p(double x, double df1, double df2, qx_tail tail)
{
    return isnan(x) || !is_df(df1) || !is_df(df2) ? NOTHING
                                                  : pf(x, df1, df2, lower(tail), 0);
}

double qx_f_q(double p, double df1, double df2, qx_tail tail)
{
    return is_share(p) && is_df(df1) && is_df(df2) ? qf(p, df1, df2, lower(tail), 0)
                                                   : NOTHING;
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

static bool is_shape(double a)
{
    return a > 0.0 && !isinf(a);
}

double qx_beta_p(double x, double a, double b, qx_tail tail)
{
    return isnan(x) || !is_shape(a) || !is_shape(b) ? NOTHING
                                                    : pbeta(x, a, b, lower(tail), 0);
}

double qx_beta_q(double p, double a, double b, qx_tail tail)
{
    return is_share(p) && is_shape(a) && is_shape(b) ? qbeta(p, a, b, lower(tail), 0)
                                                     : NOTHING;
}

/* A whole number from 0 up, exactly: librmath prints a line for anything else. */
static bool is_count(double k)
{
    return k >= 0.0 && !isinf(k) && k == floor(k);
}

double qx_binomial_density(double k, double n, double p)
{
    if (!is_count(n) || !is_share(p) || isnan(k)) {
        return NOTHING;
    }
    return is_count(k) ? dbinom(k, n, p, 0) : 0.0;
}

double qx_binomial_p(double k, double n, double p, qx_tail tail)
{
    return isnan(k) || !is_count(n) || !is_share(p) ? NOTHING
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

double qx_nc_t_p(double x, double df, double ncp, qx_tail tail)
{
    if (isnan(x) || !is_df(df) || !(fabs(ncp) <= NCP_T_MOST)) {
        return NOTHING;
    }
    if (isinf(df)) {
        return qx_normal_p(x - ncp, tail);
    }
    return pnt(x, df, ncp, lower(tail), 0);
}

double qx_nc_f_p(double x, double df1, double df2, double ncp, qx_tail tail)
{
    if (isnan(x) || !is_df(df1) || isinf(df1) || !is_df(df2) || !(ncp >= 0.0) ||
        isinf(ncp)) {
        return NOTHING;
    }
    if (isinf(df2)) {
        return qx_nc_chisq_p(x * df1, df1, ncp, tail);
    }
    return pnf(x, df1, df2, ncp, lower(tail), 0);
}

double qx_nc_chisq_p(double x, double df, double ncp, qx_tail tail)
{
    if (isnan(x) || !is_df(df) || isinf(df) || !(ncp >= 0.0) || isinf(ncp)) {
        return NOTHING;
    }
    return pnchisq(x, df, ncp, lower(tail), 0);
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
    return is_shape(a) && is_shape(b) ? lbeta(a, b) : NOTHING;
}

double qx_lchoose(double n, double k)
{
    return is_count(n) && is_count(k) && k <= n ? lchoose(n, k) : NOTHING;
}
