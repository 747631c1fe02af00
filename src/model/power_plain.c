#include "model/power_plain.h"

#include <math.h>

#include "model/power.h"
#include "numeric/dist.h"
#include "numeric/root.h"

#define REPLICATES_MOST 1e7

double qx_power_f(double num_df, double den_df, double ncp, double alpha)
{
    if (!(num_df > 0.0) || !(den_df > 0.0) || !(ncp >= 0.0) || !(alpha > 0.0) ||
        !(alpha < 1.0)) {
        return (double)NAN;
    }
    const double critical = qx_f_q(alpha, num_df, den_df, QX_UPPER);
    return qx_nc_f_p(critical, num_df, den_df, ncp, QX_UPPER);
}

static double variance_of_unit(const qx_plain_layout *l)
{
    const double inside =
        l->sampled > 0.0 ? l->sd_sampled * l->sd_sampled / l->sampled : 0.0;
    return l->sd * l->sd + inside;
}

double qx_plain_se(const qx_plain_layout *layout, double n)
{
    const double means = layout->kind == QX_PLAIN_PAIRED ? 1.0 : 2.0;
    return sqrt(means * variance_of_unit(layout) / n);
}

double qx_plain_df(const qx_plain_layout *layout, double n)
{
    switch (layout->kind) {
    case QX_PLAIN_TWO_GROUPS:
        return 2.0 * (n - 1.0);
    case QX_PLAIN_PAIRED:
        return n - 1.0;
    case QX_PLAIN_ONE_WAY:
        return layout->groups * (n - 1.0);
    case QX_PLAIN_BLOCKS:
        return (layout->groups - 1.0) * (n - 1.0);
    }
    return (double)NAN;
}

double
qx_plain_power_t(const qx_plain_layout *layout, double n, double delta, double alpha)
{
    const double df = qx_plain_df(layout, n);
    if (!(df > 0.0) || !(alpha > 0.0) || !(alpha < 1.0)) {
        return (double)NAN;
    }
    return qx_power_t(
        delta, qx_plain_se(layout, n), df, qx_t_q(alpha / 2.0, df, QX_UPPER));
}

static double groups_of(const qx_plain_layout *l)
{
    return l->kind == QX_PLAIN_TWO_GROUPS || l->kind == QX_PLAIN_PAIRED ? 2.0 : l->groups;
}

double
qx_plain_power_f(const qx_plain_layout *layout, double n, double between, double alpha)
{
    const double groups = groups_of(layout);
    const double half_se = qx_plain_se(layout, n) / sqrt(2.0); /* of a mean */
    const double pairs = layout->kind == QX_PLAIN_PAIRED ? 2.0 : 1.0;
    return qx_power_f(groups - 1.0,
                      qx_plain_df(layout, n),
                      (groups - 1.0) * between / (half_se * half_se) / pairs,
                      alpha);
}

/* One question of the kind "where does the power reach `wanted`?" while it is answered. */
typedef struct question {
    const qx_plain_layout *layout;
    double effect; /* difference, or variance between means */
    double alpha, wanted;
    bool joint; /* F test */
    double se, df, critical;
} question;

static double short_of_power(void *data, double n)
{
    const question *q = data;
    return (q->joint ? qx_plain_power_f(q->layout, n, q->effect, q->alpha)
                     : qx_plain_power_t(q->layout, n, q->effect, q->alpha)) -
           q->wanted;
}

static qx_status check_levels(qx_ctx *cx, double alpha, double power)
{
    if (!(alpha > 0.0) || !(alpha < 1.0) || !(power < 1.0) || !(power > alpha)) {
        return qx_fail(
            cx,
            QX_E_ARG,
            "power %g at level %g cannot be asked for; expected a level inside "
            "0 and 1 and a power above it and below 1",
            power,
            alpha);
    }
    return QX_OK;
}

static qx_status replicates(qx_ctx *cx, question *q, double *n)
{
    QX_TRY(check_levels(cx, q->alpha, q->wanted));
    if (!(q->effect > 0.0) || !(qx_plain_se(q->layout, 1.0) > 0.0) ||
        !(groups_of(q->layout) >= 2.0)) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "replicates can be told only for a difference and a variation "
                       "above 0 between at least two treatments");
    }
    const double least = 1.0 + 1e-6; /* some df are needed */
    double high = 2.0;
    while (!(short_of_power(q, high) >= 0.0)) {
        high *= 2.0;
        if (high > REPLICATES_MOST) {
            return qx_fail(cx,
                           QX_E_INPUT,
                           "more than ten million replicates would be needed; the "
                           "difference asked for is too small beside the variation");
        }
    }
    double low = high / 2.0 < least ? least : high / 2.0;
    while (low > least && short_of_power(q, low) > 0.0) {
        low = 1.0 + (low - 1.0) / 2.0;
        low = low < least ? least : low;
    }
    if (short_of_power(q, low) > 0.0) {
        *n = low; /* any number of replicates that leaves a df */
        return QX_OK;
    }
    return qx_root(cx, short_of_power, q, low, high, 0.0, n);
}

qx_status qx_plain_replicates_t(qx_ctx *cx,
                                const qx_plain_layout *layout,
                                double delta,
                                double alpha,
                                double power,
                                double *n)
{
    question q = {
        .layout = layout, .effect = fabs(delta), .alpha = alpha, .wanted = power};
    return replicates(cx, &q, n);
}

qx_status qx_plain_replicates_f(qx_ctx *cx,
                                const qx_plain_layout *layout,
                                double between,
                                double alpha,
                                double power,
                                double *n)
{
    question q = {.layout = layout,
                  .effect = between,
                  .alpha = alpha,
                  .wanted = power,
                  .joint = true};
    return replicates(cx, &q, n);
}

static double short_of_difference(void *data, double delta)
{
    const question *q = data;
    return qx_power_t(delta, q->se, q->df, q->critical) - q->wanted;
}

qx_status qx_power_t_detectable(
    qx_ctx *cx, double se, double df, double critical, double power, double *delta)
{
    if (!(se > 0.0) || !(df > 0.0) || !(critical > 0.0) || !(power > 0.0) ||
        !(power < 1.0)) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "the least difference shown needs a standard error and degrees of "
                       "freedom above 0 and a power inside 0 and 1");
    }
    question q = {.se = se, .df = df, .critical = critical, .wanted = power};
    if (short_of_difference(&q, 0.0) >= 0.0) {
        *delta = 0.0;
        return QX_OK;
    }
    double high = se * (critical + 1.0);
    while (!(short_of_difference(&q, high) >= 0.0)) {
        high *= 1.5;
        if (!isfinite(high) || high > se * (critical + 1e3)) {
            return qx_fail(cx, QX_E_NUMERIC, "no difference is shown with that power");
        }
    }
    return qx_root(cx, short_of_difference, &q, 0.0, high, 0.0, delta);
}

qx_status qx_plain_detectable(qx_ctx *cx,
                              const qx_plain_layout *layout,
                              double n,
                              double alpha,
                              double power,
                              double *delta)
{
    const double df = qx_plain_df(layout, n);
    QX_TRY(check_levels(cx, alpha, power));
    if (!(df > 0.0)) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "%g replicates leave no degrees of freedom; expected at least two",
                       n);
    }
    const double critical = qx_t_q(alpha / 2.0, df, QX_UPPER);
    return qx_power_t_detectable(cx, qx_plain_se(layout, n), df, critical, power, delta);
}
