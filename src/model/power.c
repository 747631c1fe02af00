#include "model/power.h"

#include <math.h>

#include "numeric/dist.h"
#include "numeric/quad.h"

/* librmath's non-central t is documented up to this non-centrality. */
#define NCP_MOST 37.62
#define NODES    96

double qx_power_t(double delta, double se, double df, double critical)
{
    const double ncp = fabs(delta) / se;
    if (!(se > 0.0) || !(df > 0.0) || !(critical >= 0.0)) {
        return (double)NAN;
    }
    if (ncp > NCP_MOST) {
        return ncp > critical + NCP_MOST / 4.0 ? 1.0 : (double)NAN;
    }
    return qx_nc_t_p(critical, df, ncp, QX_UPPER) +
           qx_nc_t_p(-critical, df, ncp, QX_LOWER);
}

/* Density of w = sqrt(chi^2(df)/df), on the log scale until the end. */
static double chi_density(double w, double df)
{
    const double half = df / 2.0;
    return exp(log(2.0) + half * log(half) - qx_lgamma(half) + (df - 1.0) * log(w) -
               half * w * w);
}

qx_status qx_power_equivalence(qx_ctx *cx,
                               double delta,
                               double margin,
                               double se,
                               double df,
                               double alpha,
                               double *power)
{
    double node[NODES], weight[NODES];
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
    QX_TRY(qx_gauss_legendre(cx, NODES, node, weight));
    for (size_t i = 0; i < NODES; i++) {
        const double w = low + (high - low) * (node[i] + 1.0) / 2.0;
        const double h = margin - t * se * w;
        const double inside = qx_normal_p((h - delta) / se, QX_LOWER) -
                              qx_normal_p((-h - delta) / se, QX_LOWER);
        *power += weight[i] * (high - low) / 2.0 * inside * chi_density(w, df);
    }
    return QX_OK;
}
