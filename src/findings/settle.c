#include "findings/settle.h"

#include <math.h>

#include "model/power.h"
#include "numeric/dist.h"

/* Two questions are the same when they differ by rounding only. */
#define SAME 1e-9

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
            qx_range_table range;
            memory->ranges.arena = memory->arena;
            QX_TRY(qx_range_tables_get(cx, &memory->ranges, s->means, &range));
            *x = qx_range_table_q(&range, s->alpha, df) / sqrt(2.0);
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

/* Quantile of t from that of the normal distribution, to two terms (Cornish & Fisher 1938,
 * Rev Inst Int Stat 5:307-320). */
static double about_t(double z, double df)
{
    return z + (z * z * z + z) / (4.0 * df);
}

/* About where the answer lies: where the search begins. Bonferroni's critical value stands
 * for that of the adjusted test. */
static double guess(const qx_settle *s)
{
    const double m = (double)(s->family > 0 ? s->family : 1);
    const double adjusted = qx_normal_q(s->alpha / (2.0 * m), QX_UPPER);
    const double alone = qx_normal_q(s->alpha, QX_UPPER);
    const double shown = qx_normal_q(1.0 - QX_SETTLE_POWER, QX_UPPER);
    const double inside = qx_normal_q((1.0 - QX_SETTLE_POWER) / 2.0, QX_UPPER);
    double r = s->replicates + 1.0;
    for (int again = 0; again < 3; again++) {
        const double df = s->df * (r - 1.0) / (s->replicates - 1.0);
        const double size =
            fmax(about_t(adjusted, df) + shown, about_t(alone, df) + inside) * s->se /
            s->margin;
        r = fmin(fmax(ceil(s->replicates * size * size), s->replicates + 1.0),
                 QX_SETTLE_MOST);
    }
    return r;
}

/* The same with the critical value of the adjusted test near there, and the spread of the
 * estimated error (Johnson & Welch 1940, Biometrika 31:362-389). */
static double better_guess(const qx_settle *s, double r, double x)
{
    const double df = s->df * (r - 1.0) / (s->replicates - 1.0);
    const double alone = about_t(qx_normal_q(s->alpha, QX_UPPER), df);
    const double shown = qx_normal_q(1.0 - QX_SETTLE_POWER, QX_UPPER);
    const double inside = qx_normal_q((1.0 - QX_SETTLE_POWER) / 2.0, QX_UPPER);
    const double differs =
        (x + shown * sqrt(1.0 + x * x / (2.0 * df))) / (1.0 - 1.0 / (4.0 * df));
    const double equals = alone + inside * sqrt(1.0 + alone * alone / (2.0 * df));
    const double size = fmax(differs, equals) * s->se / s->margin;
    if (!(size > 0.0) || isinf(size)) {
        return r;
    }
    return fmin(fmax(ceil(s->replicates * size * size), s->replicates + 1.0),
                QX_SETTLE_MOST);
}

/* Steps away from the guess until it is enough, or no longer: low and high, where `high`
 * is known to be enough and `low` not; high NAN: nothing up to QX_SETTLE_MOST is. */
static qx_status bracket(
    qx_ctx *cx, qx_settle_memory *memory, const qx_settle *s, double *low, double *high)
{
    const double least = s->replicates; /* asked only when this was not enough */
    const double first = guess(s);
    double stride = 1.0;
    double x;
    QX_TRY(critical(cx, memory, s, s->df * (first - 1.0) / (s->replicates - 1.0), &x));
    double at = better_guess(s, first, x);
    bool is_enough;
    QX_TRY(enough(cx, memory, s, at, &is_enough));
    const bool down = is_enough;
    *low = least;
    *high = down ? at : (double)NAN;
    while (is_enough == down) {
        if (down) {
            *high = at;
            at = fmax(at - stride, least);
        } else {
            *low = at;
            at = fmin(at + stride, QX_SETTLE_MOST);
        }
        stride *= 2.0;
        if (at == least || *low == QX_SETTLE_MOST) {
            return QX_OK;
        }
        QX_TRY(enough(cx, memory, s, at, &is_enough));
    }
    *(is_enough ? high : low) = at;
    return QX_OK;
}

static qx_status
search(qx_ctx *cx, qx_settle_memory *memory, const qx_settle *s, double *replicates)
{
    double low, high;
    bool is_enough;
    *replicates = (double)NAN;
    QX_TRY(bracket(cx, memory, s, &low, &high));
    if (isnan(high)) {
        return QX_OK;
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
