#include "findings/settle.h"

#include <math.h>

#include "numeric/dist.h"

/* Multiplier of the standard error in the adjusted test. Dunnett's is bounded by Sidak's,
 * Holm's by Bonferroni's: a little more than needed, never less. */
static double critical(const qx_settle *s, double df)
{
    const double m = (double)(s->family > 0 ? s->family : 1);
    switch (s->adjust) {
    case QX_ADJUST_TUKEY:
        return qx_range_q(s->alpha, (double)s->means, df, QX_UPPER) / sqrt(2.0);
    case QX_ADJUST_DUNNETT:
    case QX_ADJUST_SIDAK:
        return qx_t_q(-expm1(log1p(-s->alpha) / m) / 2.0, df, QX_UPPER);
    case QX_ADJUST_HOLM:
    case QX_ADJUST_BONFERRONI:
        return qx_t_q(s->alpha / (2.0 * m), df, QX_UPPER);
    case QX_ADJUST_NONE:
        break;
    }
    return qx_t_q(s->alpha / 2.0, df, QX_UPPER);
}

double qx_settle_power(const qx_settle *s, double r)
{
    const double df = s->df * (r - 1.0) / (s->replicates - 1.0);
    const double ncp = s->margin / (s->se * sqrt(s->replicates / r));
    if (ncp > 37.0) {
        return 1.0; /* beyond librmath's non-central t; the power is 1 to all digits */
    }
    const double differ = qx_nc_t_p(critical(s, df), df, ncp, QX_UPPER);
    const double one_sided = qx_t_q(s->alpha, df, QX_UPPER);
    const double inside = 1.0 - 2.0 * qx_nc_t_p(one_sided, df, ncp, QX_LOWER);
    return differ < inside ? differ : inside;
}

double qx_settle_replicates(const qx_settle *s)
{
    if (!(s->se > 0.0) || !(s->df > 0.0) || !(s->margin > 0.0) || s->replicates < 2.0) {
        return NAN;
    }
    double low = s->replicates; /* asked only when this was not enough */
    double high = low + 1.0;
    while (!(qx_settle_power(s, high) >= QX_SETTLE_POWER)) {
        low = high;
        high *= 2.0;
        if (high > QX_SETTLE_MOST) {
            return NAN;
        }
    }
    while (high - low > 1.0) {
        const double middle = floor((low + high) / 2.0);
        if (qx_settle_power(s, middle) >= QX_SETTLE_POWER) {
            high = middle;
        } else {
            low = middle;
        }
    }
    return ceil(high);
}
