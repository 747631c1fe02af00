#include "model/general_hold.h"

#include <math.h>
#include <string.h>

#define STEPS_MOST 60

/* The limit is found when f is this near to its target: seven digits of the limit. */
static const double TARGET_SLACK = 1e-8;
/* Where f stays below its target up to this many times the estimate there is no limit, and
 * down to this share of it the limit is nil. */
static const double FAR = 1e6;
static const double NIL_SHARE = 1e-12;

qx_status qx_general_hold_at(
    qx_ctx *cx, qx_general_hold *w, size_t i, double theta[], double *f, double *slope)
{
    bool fixed[QX_DESCENT_MOST] = {false};
    double gradient[QX_DESCENT_MOST];
    qx_descent_end end;
    fixed[i] = true;
    QX_TRY(qx_general_value(cx, w->g, theta, &w->room));
    *f = *slope = NAN;
    if (!isfinite(w->room.f)) {
        return QX_OK;
    }
    QX_TRY(qx_general_descend(cx, w->g, &w->room, fixed, true, theta, gradient, &end));
    if (end.converged) {
        *f = end.f;
        *slope = gradient[i];
    }
    return QX_OK;
}

qx_status
qx_general_rise_at(qx_ctx *cx, qx_general_hold *w, size_t i, double value, double *out)
{
    double theta[QX_DESCENT_MOST];
    double f, slope;
    memcpy(theta, w->own->theta, w->g->m * sizeof *theta);
    theta[i] = value;
    QX_TRY(qx_general_hold_at(cx, w, i, theta, &f, &slope));
    *out = f - w->own->f;
    return QX_OK;
}

double qx_general_rough_se(const qx_general_hold *w, size_t i)
{
    const double information = QX_AT(w->own->at.expected, i, i);
    return information > 0.0 ? sqrt(2.0 / information) : 0.0;
}

/* Parameters are searched on a scale on which the root of the rise is nearly straight. */
static double to_scale(const qx_part *part, double theta)
{
    return qx_part_is_variance(part->kind) ? sqrt(theta) : theta;
}

static double from_scale(const qx_part *part, double t)
{
    return qx_part_is_variance(part->kind) ? t * t : t;
}

/* Next trial between the ends: Newton on the root of the rise, else halving. dt: df/dt. */
static double
next_trial(double t, double rise, double dt, double target, double near, double far)
{
    const double z = sqrt(fmax(rise, 0.0));
    const double step = t + (sqrt(target) - z) * 2.0 * z / dt;
    if (isfinite(step) && step > fmin(near, far) && step < fmax(near, far)) {
        return step;
    }
    return isfinite(far) ? 0.5 * (near + far) : 2.0 * t;
}

qx_status qx_general_crossing(
    qx_ctx *cx, qx_general_hold *w, size_t i, const qx_general_bracket *from, double *out)
{
    const qx_part *part = &w->g->parts.part[i];
    const bool variance = qx_part_is_variance(part->kind);
    const double best = w->own->theta[i];
    const double end = sqrt(FAR * fmax(best, from->first));
    double near = to_scale(part, from->near);
    double far = isfinite(from->far) ? to_scale(part, from->far) : from->far;
    double t = to_scale(part, from->first);
    double theta[QX_DESCENT_MOST];
    memcpy(theta, from->theta, w->g->m * sizeof *theta);
    *out = NAN;
    for (int step = 0; step < STEPS_MOST; step++) {
        double f, slope;
        theta[i] = from_scale(part, t);
        QX_TRY(qx_general_hold_at(cx, w, i, theta, &f, &slope));
        const double rise = f - w->own->f;
        if (!isfinite(rise)) {
            return QX_OK;
        }
        if (fabs(rise - w->target) < TARGET_SLACK) {
            break;
        }
        *(rise < w->target ? &near : &far) = t;
        t = next_trial(t, rise, variance ? 2.0 * t * slope : slope, w->target, near, far);
        if (variance && t > end) {
            *out = INFINITY;
            return QX_OK;
        }
        if (variance && t * t < NIL_SHARE * best) {
            *out = 0.0;
            return QX_OK;
        }
    }
    *out = from_scale(part, t);
    return QX_OK;
}
