#include "findings/settle.h"

#include <math.h>

#include "model/power.h"
#include "numeric/dist.h"

/* Two questions are the same when they differ by rounding only. */
#define SAME 1e-9

/* The range of the means of this family, made when it is first asked for. */
static qx_status range_of(qx_ctx *cx, qx_settle_memory *memory, size_t means)
{
    if (memory->range.k == means) {
        return QX_OK;
    }
    return qx_range_table_make(cx, memory->arena, means, &memory->range);
}

/* Multiplier of the standard error in the adjusted test. Dunnett's is bounded by Sidak's,
 * Holm's by Bonferroni's: a little more than needed, never less. */
static qx_status
critical(qx_ctx *cx, qx_settle_memory *memory, const qx_settle *s, double df, double *x)
{
    const double m = (double)(s->family > 0 ? s->family : 1);
    double p = s->alpha;
    switch (s->adjust) {
    case QX_ADJUST_TUKEY:
        if (s->means > 2) {
            QX_TRY(range_of(cx, memory, s->means));
            *x = qx_range_table_q(&memory->range, s->alpha, df) / sqrt(2.0);
            return QX_OK;
        }
        break;
    case QX_ADJUST_DUNNETT:
    case QX_ADJUST_SIDAK:
        p = -expm1(log1p(-s->alpha) / m);
        break;
    case QX_ADJUST_HOLM:
    case QX_ADJUST_BONFERRONI:
        p = s->alpha / m;
        break;
    case QX_ADJUST_NONE:
        break;
    }
    *x = qx_t_q(p / 2.0, df, QX_UPPER);
    return QX_OK;
}

qx_status qx_settle_power(
    qx_ctx *cx, qx_settle_memory *memory, const qx_settle *s, double r, double *power)
{
    const double df = s->df * (r - 1.0) / (s->replicates - 1.0);
    const double se = s->se * sqrt(s->replicates / r);
    double x;
    *power = (double)NAN;
    if (qx_power_equivalence(cx, 0.0, s->margin, se, df, s->alpha, power) != QX_OK) {
        qx_ctx_forgive(cx); /* no df to speak of: the question stays open */
        return QX_OK;
    }
    if (*power < QX_SETTLE_POWER) {
        return QX_OK; /* the dearer question comes second */
    }
    QX_TRY(critical(cx, memory, s, df, &x));
    *power = fmin(*power, qx_power_t(s->margin, se, df, x));
    return QX_OK;
}

static qx_status
enough(qx_ctx *cx, qx_settle_memory *memory, const qx_settle *s, double r, bool *out)
{
    double power;
    QX_TRY(qx_settle_power(cx, memory, s, r, &power));
    *out = power >= QX_SETTLE_POWER; /* false for not-a-number */
    return QX_OK;
}

static qx_status
search(qx_ctx *cx, qx_settle_memory *memory, const qx_settle *s, double *replicates)
{
    double low = s->replicates; /* asked only when this was not enough */
    double high = low + 1.0;
    bool is_enough;
    *replicates = (double)NAN;
    QX_TRY(enough(cx, memory, s, high, &is_enough));
    while (!is_enough) {
        low = high;
        high = ceil(high * 1.5);
        if (high > QX_SETTLE_MOST) {
            return QX_OK;
        }
        QX_TRY(enough(cx, memory, s, high, &is_enough));
    }
    while (high - low > 1.0) {
        const double middle = floor((low + high) / 2.0);
        QX_TRY(enough(cx, memory, s, middle, &is_enough));
        *(is_enough ? &high : &low) = middle;
    }
    *replicates = high;
    return QX_OK;
}

static bool near(double a, double b)
{
    return fabs(a - b) <= SAME * fabs(b);
}

static bool same_question(const qx_settle *a, const qx_settle *b)
{
    return near(a->se, b->se) && near(a->df, b->df) &&
           near(a->replicates, b->replicates) && near(a->margin, b->margin) &&
           near(a->alpha, b->alpha) && a->adjust == b->adjust && a->means == b->means &&
           a->family == b->family;
}

qx_status qx_settle_replicates(qx_ctx *cx,
                               qx_settle_memory *memory,
                               const qx_settle *s,
                               double *replicates)
{
    if (!(s->se > 0.0) || !(s->df > 0.0) || !(s->margin > 0.0) || s->replicates < 2.0) {
        *replicates = (double)NAN;
        return QX_OK;
    }
    for (size_t i = 0; i < memory->count && i < QX_SETTLE_REMEMBERED; i++) {
        if (same_question(s, &memory->asked[i])) {
            *replicates = memory->answer[i];
            return QX_OK;
        }
    }
    QX_TRY(search(cx, memory, s, replicates));
    const size_t at = memory->count++ % QX_SETTLE_REMEMBERED; /* the oldest makes room */
    memory->asked[at] = *s;
    memory->answer[at] = *replicates;
    return QX_OK;
}
