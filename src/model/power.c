#include "model/power.h"

#include <math.h>

#include "numeric/dist.h"

/* librmath's non-central t is documented up to this non-centrality. */
#define NCP_MOST 37.62

/* Panels of sixteen Gauss-Legendre nodes each: together as good as the 96 nodes of one rule,
 * and their numbers need not be computed for each of the many powers that are asked for. */
#define PANELS 6
#define NODES  16

/* Nodes above 0 and weights, to twenty digits: Newton on the Legendre polynomial in forty. */
static const double rule[NODES / 2][2] = {
    {0.98940093499164993851, 0.02715245941175409641},
    {0.94457502307323260027, 0.06225352393864789363},
    {0.86563120238783175520, 0.09515851168249278569},
    {0.75540440835500299865, 0.12462897125553387689},
    {0.61787624440264377057, 0.14959598881657673597},
    {0.45801677765722736968, 0.16915651939500253587},
    {0.28160355077925891543, 0.18260341504492358378},
    {0.09501250983763744051, 0.18945061045506850217}};

double qx_power_t(double delta, double se, double df, double critical)
{
    const double ncp = fabs(delta) / se;
    if (!(se > 0.0) || !(df > 0.0) || !(critical >= 0.0)) {
        return (double)NAN;
    }
    if (ncp > NCP_MOST) {
        /* The numerator varies by less than a 37th of itself: P(S < ncp / critical). */
        const double ratio = ncp / critical;
        return isfinite(df) ? qx_chisq_p(df * ratio * ratio, df, QX_LOWER)
                            : (double)(ratio > 1.0);
    }
    return qx_nc_t_p(critical, df, ncp, QX_UPPER) +
           qx_nc_t_p(-critical, df, ncp, QX_LOWER);
}

/* One question about equivalence while it is worked on. */
typedef struct equivalence {
    double delta, margin, se, df, t;
    double log_top; /* constant part of the log density of S / se */
} equivalence;

/* Density of w = sqrt(chi^2(df)/df), on the log scale until the end. */
static double chi_density(const equivalence *e, double w)
{
    return exp(e->log_top + (e->df - 1.0) * log(w) - e->df / 2.0 * w * w);
}

/* Success with S = w se, times the density of w. */
static double integrand(const equivalence *e, double w)
{
    const double h = e->margin - e->t * e->se * w;
    const double inside = e->delta == 0.0
                              ? 1.0 - 2.0 * qx_normal_p(h / e->se, QX_UPPER)
                              : qx_normal_p((h - e->delta) / e->se, QX_LOWER) -
                                    qx_normal_p((-h - e->delta) / e->se, QX_LOWER);
    return inside * chi_density(e, w);
}

static double panel(const equivalence *e, double low, double high)
{
    const double middle = (low + high) / 2.0, half = (high - low) / 2.0;
    double sum = 0.0;
    for (size_t i = 0; i < NODES / 2; i++) {
        sum += rule[i][1] * (integrand(e, middle - half * rule[i][0]) +
                             integrand(e, middle + half * rule[i][0]));
    }
    return half * sum;
}

qx_status qx_power_equivalence(qx_ctx *cx,
                               double delta,
                               double margin,
                               double se,
                               double df,
                               double alpha,
                               double *power)
{
    if (!(se > 0.0) || !(df > 0.0) || isinf(df) || !(margin > 0.0) || !(alpha > 0.0) ||
        !(alpha < 0.5)) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "power of equivalence needs se, df and margin above 0 and alpha "
                       "between 0 and 0.5");
    }
    const double t = qx_t_q(alpha, df, QX_UPPER);
    const double tiny =
        1e-14; /* probability left out at each end of the chi distribution */
    double low = sqrt(qx_chisq_q(tiny, df, QX_LOWER) / df);
    double high = sqrt(qx_chisq_q(tiny, df, QX_UPPER) / df);
    if (high > margin / (t * se)) {
        high = margin / (t * se); /* above it the tests cannot succeed */
    }
    *power = 0.0;
    if (high <= low) {
        return QX_OK;
    }
    const equivalence e = {.delta = delta,
                           .margin = margin,
                           .se = se,
                           .df = df,
                           .t = t,
                           .log_top =
                               log(2.0) + df / 2.0 * log(df / 2.0) - qx_lgamma(df / 2.0)};
    const double width = (high - low) / PANELS;
    for (size_t i = 0; i < PANELS; i++) {
        *power += panel(&e, low + (double)i * width, low + ((double)i + 1.0) * width);
    }
    return QX_OK;
}
