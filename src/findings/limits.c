#include "findings/limits.h"

#include <math.h>

#include "numeric/dist.h"

/* Beyond so many standard errors the tail is nil in double arithmetic. */
#define MULTIPLE_MOST 40.0

/* Halvings that bring MULTIPLE_MOST below the spacing of doubles. */
#define HALVINGS 60

double qx_limit_mean(const qx_estimator *e, qx_response m, double multiple)
{
    double slope;
    if (isnan(m.se) || isnan(m.value)) {
        return NAN;
    }
    const double at = e->kind->to(e, m.value, &slope);
    if (!isfinite(at) || !isfinite(slope)) {
        return m.se == 0.0 ? m.value : (double)NAN; /* nought or all, held for certain */
    }
    return e->kind->from(e, at + multiple * slope * m.se);
}

double qx_limit_difference(const qx_estimator *e,
                           qx_response first,
                           qx_response second,
                           double correlation,
                           double multiple)
{
    /* Away from the difference on this side: first one way, second the other. */
    const double a = qx_limit_mean(e, first, multiple) - first.value;
    const double b = second.value - qx_limit_mean(e, second, -multiple);
    const double square = a * a - 2.0 * correlation * a * b + b * b;
    const double step = sqrt(fmax(square, 0.0));
    const double d = first.value - second.value;
    return multiple < 0.0 ? d - step : d + step;
}

/* The smaller (side -1) or larger (side 1) R with (m1 - R m2)^2 = a^2 - 2 r a R b + R^2 b^2;
 * a and b are how far the means may go. The form that does not subtract near numbers. */
static double
ratio_limit(const qx_response m[2], const double go[2], double r, double side)
{
    const double half = m[0].value * m[1].value - r * go[0] * go[1];
    const double above = (m[0].value - go[0]) * (m[0].value + go[0]);
    const double below = (m[1].value - go[1]) * (m[1].value + go[1]);
    const double root = sqrt(fmax(half * half - above * below, 0.0));
    if (side < 0.0) {
        return above / (half + root);
    }
    return below > 0.0 ? (half + root) / below : (double)INFINITY;
}

bool qx_limit_ratio(const qx_estimator *e,
                    qx_response first,
                    qx_response second,
                    double correlation,
                    double multiple,
                    double limit[2])
{
    const qx_response m[2] = {first, second};
    if (!(first.value > 0.0) || !(second.value > 0.0)) {
        return false;
    }
    for (int k = 0; k < 2; k++) {
        const double side = k == 0 ? -1.0 : 1.0;
        const double go[2] = {
            fabs(qx_limit_mean(e, first, side * multiple) - first.value),
            fabs(qx_limit_mean(e, second, -side * multiple) - second.value)};
        if (isnan(go[0]) || isnan(go[1])) {
            return false;
        }
        limit[k] = ratio_limit(m, go, correlation, side);
    }
    return true;
}

/* What the search below looks at. */
typedef struct question {
    const qx_estimator *e;
    const qx_response *mean;
    double correlation;
    double df;
} question;

/* P that a difference this far from `bound` is seen by chance, on the side from which it
 * is approached: below the estimate, the multiple is that of the lower limit. */
static double tail_at(const question *q, double bound)
{
    const double d = q->mean[0].value - q->mean[1].value;
    const double side = bound < d ? -1.0 : 1.0;
    double low = 0.0, high = MULTIPLE_MOST;
    for (int i = 0; i < HALVINGS; i++) {
        const double middle = 0.5 * (low + high);
        const double limit = qx_limit_difference(
            q->e, q->mean[0], q->mean[1], q->correlation, side * middle);
        if (isnan(limit)) {
            return NAN;
        }
        const bool reached = side < 0.0 ? limit <= bound : limit >= bound;
        *(reached ? &high : &low) = middle;
    }
    return qx_t_p(high, q->df, QX_UPPER);
}

qx_equivalence qx_limit_equivalence(const qx_estimator *e,
                                    const qx_response mean[2],
                                    double correlation,
                                    double df,
                                    double margin,
                                    double alpha)
{
    qx_equivalence out = {NAN, NAN, NAN, NAN, NAN};
    const question q = {e, mean, correlation, df};
    const double d = mean[0].value - mean[1].value;
    if (isnan(d) || isnan(mean[0].se) || isnan(mean[1].se) || !(df > 0.0) ||
        !(alpha > 0.0 && alpha < 0.5)) {
        return out;
    }
    const double t = qx_t_q(alpha, df, QX_UPPER);
    out.lower = qx_limit_difference(e, mean[0], mean[1], correlation, -t);
    out.upper = qx_limit_difference(e, mean[0], mean[1], correlation, t);
    if (margin > 0.0) {
        const double below = tail_at(&q, -margin);
        const double above = tail_at(&q, margin);
        out.p_lower = -margin < d ? below : 1.0 - below;
        out.p_upper = margin > d ? above : 1.0 - above;
        out.p = fmax(out.p_lower, out.p_upper);
    }
    return out;
}
