#include "model/link.h"

#include <math.h>
#include <stddef.h>

#include "numeric/dist.h"

/* Below this the normal tail is taken from its continued fraction, which then needs few
 * terms. */
static const double FAR_TAIL = -20.0;
static const double LOG_SQRT_TWO_PI = 0.91893853320467274178;

const char *qx_link_key(qx_link link)
{
    static const char *const key[] = {"logit", "log", "probit", "cloglog", "identity"};
    return (size_t)link < QX_COUNT(key) ? key[link] : "";
}

double qx_link_predictor(qx_link link, double mu)
{
    switch (link) {
    case QX_LINK_LOGIT:
        return log(mu) - log1p(-mu);
    case QX_LINK_LOG:
        return log(mu);
    case QX_LINK_PROBIT:
        return qx_normal_q(mu, QX_LOWER);
    case QX_LINK_CLOGLOG:
        return log(-log1p(-mu));
    case QX_LINK_IDENTITY:
        return mu;
    }
    return NAN;
}

static double logistic(double eta)
{
    const double e = exp(-fabs(eta));
    return eta >= 0.0 ? 1.0 / (1.0 + e) : e / (1.0 + e);
}

/* log P(Z <= x) and the inverse Mills ratio phi/Phi. */
static void normal_tail(double x, double *log_p, double *ratio)
{
    if (x > FAR_TAIL) {
        const double p = qx_normal_p(x, QX_LOWER);
        *log_p = x > 0.0 ? log1p(-qx_normal_p(x, QX_UPPER)) : log(p);
        *ratio = qx_normal_density(x) / p;
        return;
    }
    /* Phi(x)/phi(x) = 1/(z + 1/(z + 2/(z + ...))), z = -x: Abramowitz & Stegun 1964,
     * 26.2.14. */
    const double z = -x;
    double tail = z;
    for (int k = 40; k >= 1; k--) {
        tail = z + k / tail;
    }
    *ratio = tail;
    *log_p = -0.5 * z * z - LOG_SQRT_TWO_PI - log(tail);
}

/* log Phi and its derivatives in x: with m = phi/Phi, m' = -m (x + m). */
static void log_normal(double x, double out[4])
{
    double m;
    normal_tail(x, &out[0], &m);
    /* In the far tail x + m cancels: x + m = 1/(z + 2/(z + ...)) = the fraction's rest. */
    double rest = x + m;
    if (x <= FAR_TAIL) {
        const double z = -x;
        double tail = z;
        for (int k = 40; k >= 2; k--) {
            tail = z + k / tail;
        }
        rest = 1.0 / tail;
    }
    out[1] = m;
    out[2] = -m * rest;
    out[3] = -out[2] * rest - m * (1.0 + out[2]);
}

static void at_logit(double eta, qx_link_point *o)
{
    const double e = exp(-fabs(eta)), small = log1p(e);
    o->mu = eta >= 0.0 ? 1.0 / (1.0 + e) : e / (1.0 + e);
    o->co = eta >= 0.0 ? e / (1.0 + e) : 1.0 / (1.0 + e);
    o->a[0] = eta >= 0.0 ? -small : eta - small;
    o->b[0] = eta >= 0.0 ? -eta - small : -small;
    o->a[1] = o->co;
    o->b[1] = -o->mu;
    o->a[2] = o->b[2] = -o->mu * o->co;
    o->a[3] = o->b[3] = o->a[2] * (o->co - o->mu);
}

static void at_probit(double eta, qx_link_point *o)
{
    o->mu = qx_normal_p(eta, QX_LOWER);
    o->co = qx_normal_p(eta, QX_UPPER);
    log_normal(eta, o->a);
    log_normal(-eta, o->b);
    o->b[1] = -o->b[1];
    o->b[3] = -o->b[3];
}

/* a = log(1 - exp(-s)), s = exp(eta): a' = r = s/(e^s - 1), r' = r (1 - s - r). */
static void at_cloglog(double eta, qx_link_point *o)
{
    const double s = exp(eta);
    o->mu = -expm1(-s);
    o->co = exp(-s);
    o->b[0] = o->b[1] = o->b[2] = o->b[3] = -s;
    if (s > 700.0) {
        o->a[0] = o->a[1] = o->a[2] = o->a[3] = 0.0;
        return;
    }
    /* s/(e^s - 1) is 1 where s has underflowed; log mu is eta - s/2 + ... there. */
    const double r = s > 0.0 ? s / expm1(s) : 1.0;
    const double rest = s < 1e-5 ? -0.5 * s : 1.0 - s - r;
    o->a[0] = s < 1e-5 ? eta - 0.5 * s : log(o->mu);
    o->a[1] = r;
    o->a[2] = r * rest;
    o->a[3] = r * rest * rest - r * (s + r * rest);
}

static void at_counts(qx_link link, double eta, qx_link_point *o)
{
    o->co = o->b[0] = o->b[1] = o->b[2] = o->b[3] = NAN;
    if (link == QX_LINK_LOG) {
        o->mu = exp(eta);
        o->a[0] = eta;
        o->a[1] = 1.0;
        o->a[2] = o->a[3] = 0.0;
        return;
    }
    o->mu = eta;
    o->a[0] = eta > 0.0 ? log(eta) : (double)NAN;
    o->a[1] = 1.0 / eta;
    o->a[2] = -1.0 / (eta * eta);
    o->a[3] = 2.0 / (eta * eta * eta);
}

void qx_link_at(qx_link link, double eta, qx_link_point *out)
{
    switch (link) {
    case QX_LINK_LOGIT:
        at_logit(eta, out);
        return;
    case QX_LINK_PROBIT:
        at_probit(eta, out);
        return;
    case QX_LINK_CLOGLOG:
        at_cloglog(eta, out);
        return;
    case QX_LINK_LOG:
    case QX_LINK_IDENTITY:
        at_counts(link, eta, out);
        return;
    }
}

double qx_link_mean(qx_link link, double eta)
{
    switch (link) {
    case QX_LINK_LOGIT:
        return logistic(eta);
    case QX_LINK_LOG:
        return exp(eta);
    case QX_LINK_PROBIT:
        return qx_normal_p(eta, QX_LOWER);
    case QX_LINK_CLOGLOG:
        return -expm1(-exp(eta));
    case QX_LINK_IDENTITY:
        return eta;
    }
    return NAN;
}

double qx_link_slope(qx_link link, double eta, int order)
{
    double slope[4] = {0.0};
    if (order < 1 || order > 3) {
        return NAN;
    }
    if (link == QX_LINK_LOG) {
        return exp(eta);
    }
    if (link == QX_LINK_IDENTITY) {
        return order == 1 ? 1.0 : 0.0;
    }
    if (link == QX_LINK_PROBIT) {
        const double density = qx_normal_density(eta);
        slope[1] = density;
        slope[2] = -eta * density;
        slope[3] = (eta * eta - 1.0) * density;
    } else if (link == QX_LINK_LOGIT) {
        const double mu = logistic(eta), co = logistic(-eta);
        slope[1] = mu * co;
        slope[2] = mu * co * (co - mu);
        slope[3] = mu * co * (1.0 - 6.0 * mu * co);
    } else {
        const double s = exp(eta), co = s < 700.0 ? s * exp(-s) : 0.0;
        slope[1] = co;
        slope[2] = co > 0.0 ? co * (1.0 - s) : 0.0;
        slope[3] = co > 0.0 ? co * (1.0 - 3.0 * s + s * s) : 0.0;
    }
    /* Far out eta^2 can overflow against a density of nil. */
    return slope[1] == 0.0 ? 0.0 : slope[order];
}
