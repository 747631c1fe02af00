#include "findings/settle.h"

#include <math.h>

#include "model/power.h"
#include "numeric/dist.h"

/* Multiplier of the standard error in the adjusted test. Dunnett's is bounded by Sidak's,
 * Holm's by Bonferroni's: a little more than needed, never less. */
static double critical(const qx_settle *s, double df)
{
    const double m = (double)(s->family > 0 ? s->family : 1);
    switch (s->adjust) {
    case QX_ADJUST_TUKEY:
        if (s->range != NULL) {
            return qx_range_table_q(s->range, s->alpha, df) / sqrt(2.0);
        }
        break;
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

double qx_settle_power(qx_ctx *cx, const qx_settle *s, double r)
{
    const double df = s->df * (r - 1.0) / (s->replicates - 1.0);
    const double se = s->se * sqrt(s->replicates / r);
    double inside;
    if (qx_power_equivalence(cx, 0.0, s->margin, se, df, s->alpha, &inside) != QX_OK) {
        qx_ctx_forgive(cx); /* no df to speak of: the question stays open */
        return (double)NAN;
    }
    if (inside < QX_SETTLE_POWER) {
        return inside; /* the dearer question comes second */
    }
    const double differ = qx_power_t(s->margin, se, df, critical(s, df));
    return differ < inside ? differ : inside;
}

double qx_settle_replicates(qx_ctx *cx, const qx_settle *s)
{
    if (!(s->se > 0.0) || !(s->df > 0.0) || !(s->margin > 0.0) || s->replicates < 2.0) {
        return (double)NAN;
    }
    double low = s->replicates; /* asked only when this was not enough */
    double high = low + 1.0;
    while (!(qx_settle_power(cx, s, high) >= QX_SETTLE_POWER)) {
        low = high;
        high *= 2.0;
        if (high > QX_SETTLE_MOST) {
            return (double)NAN;
        }
    }
    while (high - low > 1.0) {
        const double middle = floor((low + high) / 2.0);
        if (qx_settle_power(cx, s, middle) >= QX_SETTLE_POWER) {
            high = middle;
        } else {
            low = middle;
        }
    }
    return ceil(high);
}
