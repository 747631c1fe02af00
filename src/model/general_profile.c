/* How well the variances and correlations of a general covariance are known: profile
 * likelihood intervals and restricted likelihood ratios, as in model/components.h.
 *
 * A correlation's ratio is against nil, chi-squared with 1 df (the half-and-half mixture
 * where nil is its bound). The field's ratio has no p: without a field its correlations
 * mean nothing, and the ratio follows no tabulated law (Davies 1987, Biometrika 74:33-43);
 * fields are chosen by the criterion of Akaike instead (findings/field.h). */
#include <math.h>
#include <string.h>

#include "model/general_fit.h"
#include "numeric/dist.h"

#define STEPS_MOST 60

/* The limit is found when f is this near to its target: seven digits of the limit. */
static const double TARGET_SLACK = 1e-8;
/* Where f stays below its target up to this many times the estimate there is no limit. */
static const double FAR = 1e6;
/* Rows of a set beyond which a hundred fits more are not made. */
#define PROFILE_ROWS_MOST 600

typedef struct work {
    const struct qx_general_fit *own;
    const qx_general *g;
    qx_general_point room;
    double target; /* chi-square quantile */
} work;

/* f at theta with parameter i held; theta moves to the best of the others. slope: df/di.
 * NAN where the fit does not settle. */
static qx_status
hold(qx_ctx *cx, work *w, size_t i, double theta[], double *f, double *slope)
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

/* The limit between the estimate and `far` (INFINITY: no end), where the rise passes the
 * target; t: first trial. */
static qx_status limit(qx_ctx *cx, work *w, size_t i, double t, double far, double *out)
{
    const qx_part *part = &w->g->parts.part[i];
    const bool variance = qx_part_is_variance(part->kind);
    const double best = w->own->theta[i];
    const double end = sqrt(FAR * fmax(best, from_scale(part, t)));
    double near = to_scale(part, best);
    double theta[QX_DESCENT_MOST];
    memcpy(theta, w->own->theta, w->g->m * sizeof *theta);
    *out = NAN;
    for (int step = 0; step < STEPS_MOST; step++) {
        double f, slope;
        theta[i] = from_scale(part, t);
        QX_TRY(hold(cx, w, i, theta, &f, &slope));
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
    }
    *out = from_scale(part, t);
    return QX_OK;
}

/* Rise of f with parameter i at `value` (a bound, or nil). */
static qx_status rise_at(qx_ctx *cx, work *w, size_t i, double value, double *out)
{
    double theta[QX_DESCENT_MOST];
    double f, slope;
    memcpy(theta, w->own->theta, w->g->m * sizeof *theta);
    theta[i] = value;
    QX_TRY(hold(cx, w, i, theta, &f, &slope));
    *out = f - w->own->f;
    return QX_OK;
}

/* Standard error from the expected information, to begin the search with. */
static double rough_se(const work *w, size_t i)
{
    const double information = QX_AT(w->own->at.expected, i, i);
    return information > 0.0 ? sqrt(2.0 / information) : 0.0;
}

static qx_status of_variance(qx_ctx *cx, work *w, size_t i, double s2, qx_component *c)
{
    const double best = w->own->theta[i];
    const bool residual = w->g->parts.part[i].kind == QX_PART_RESIDUAL;
    const double reach = sqrt(w->target) * rough_se(w, i);
    const double factor = best > 0.0 ? exp(fmin(reach / best, 2.0)) : 0.0;
    double lower = 0.0;
    double upper;
    bool below = residual;
    if (!residual) {
        double rise = 0.0;
        if (best > 0.0) {
            QX_TRY(rise_at(cx, w, i, 0.0, &rise));
        }
        c->lrt = fmax(rise, 0.0);
        c->p = w->g->parts.part[i].kind == QX_PART_FIELD ? (double)NAN
               : best > 0.0 ? 0.5 * qx_chisq_p(c->lrt, 1.0, QX_UPPER)
                            : 1.0;
        if (isnan(rise)) {
            c->lrt = c->p = NAN;
        }
        below = rise > w->target;
    }
    if (below && best > 0.0) {
        QX_TRY(limit(cx, w, i, sqrt(best / factor), 0.0, &lower));
    }
    const double first = best > 0.0 ? best * factor : reach;
    QX_TRY(limit(cx, w, i, sqrt(first), INFINITY, &upper));
    c->lower = lower * s2;
    c->upper = upper * s2;
    return QX_OK;
}

/* One end of a correlation's interval: the bound itself where that is not far enough. */
static qx_status
correlation_end(qx_ctx *cx, work *w, size_t i, double bound, double sign, double *out)
{
    const double best = w->own->theta[i];
    const double reach = sqrt(w->target) * rough_se(w, i);
    const double first = fmin(reach, 0.5 * fabs(bound - best));
    double rise = 0.0;
    *out = bound;
    if (best == bound) {
        return QX_OK;
    }
    QX_TRY(rise_at(cx, w, i, bound, &rise));
    return rise <= w->target ? QX_OK : limit(cx, w, i, best + sign * first, bound, out);
}

static qx_status of_correlation(qx_ctx *cx, work *w, size_t i, qx_correlation *c)
{
    const qx_part *part = &w->g->parts.part[i];
    double rise = 0.0;
    if (isnan(c->estimate)) {
        return QX_OK;
    }
    if (w->own->theta[i] != 0.0) {
        QX_TRY(rise_at(cx, w, i, 0.0, &rise));
    }
    c->lrt = fmax(rise, 0.0);
    c->p = qx_chisq_p(c->lrt, 1.0, QX_UPPER) * (part->low < 0.0 ? 1.0 : 0.5);
    if (w->own->theta[i] == 0.0) {
        c->p = 1.0;
    }
    QX_TRY(correlation_end(cx, w, i, part->low, -1.0, &c->lower));
    return correlation_end(cx, w, i, part->high, 1.0, &c->upper);
}

/* The restricted likelihood ratio of residual variances against one for all. */
static qx_status one_residual(qx_ctx *cx, work *w, qx_lmm *fit)
{
    qx_general one = *w->g;
    const qx_parts *all = &w->g->parts;
    const size_t first = all->at[QX_PART_RESIDUAL];
    const size_t gone = all->levels - 1;
    qx_part part[QX_DESCENT_MOST];
    double theta[QX_DESCENT_MOST];
    qx_general_point room;
    qx_descent_end end;
    for (size_t i = 0, k = 0; i < all->count; i++) {
        if (i <= first || i > first + gone) {
            theta[k] = w->own->theta[i];
            part[k++] = all->part[i];
        }
    }
    one.parts.part = part;
    one.parts.count = one.m = all->count - gone;
    one.parts.levels = 1;
    one.parts.level_of = NULL;
    for (size_t k = QX_PART_SERIES; k <= QX_PART_PLACE; k++) {
        one.parts.at[k] -= one.parts.at[k] != QX_NO_COLUMN ? gone : 0;
    }
    theta[first] = fit->inner->sigma2;
    QX_TRY(qx_general_room(cx, qx_ctx_scratch(cx), &one, &room));
    QX_TRY(qx_general_descend(cx, &one, &room, NULL, false, theta, NULL, &end));
    if (end.converged) {
        fit->residual_lrt_df = (double)gone;
        fit->residual_lrt = fmax(end.f - w->own->f, 0.0);
        fit->residual_lrt_p =
            qx_chisq_p(fit->residual_lrt, fit->residual_lrt_df, QX_UPPER);
    }
    return QX_OK;
}

static qx_status profile(qx_ctx *cx, qx_lmm *fit, double level)
{
    const struct qx_general_fit *own = fit->inner->general;
    const double square = fit->inner->scale * fit->inner->scale;
    work w = {.own = own, .g = &own->general};
    w.target = qx_chisq_q(1.0 - level, 1.0, QX_UPPER);
    QX_TRY(qx_general_room(cx, qx_ctx_scratch(cx), w.g, &w.room));
    for (size_t i = 0; i < w.g->m; i++) {
        qx_status status;
        if (own->component[i] != QX_NO_COLUMN) {
            QX_SCRATCH(
                cx,
                status,
                of_variance(cx, &w, i, square, &fit->component[own->component[i]]));
        } else {
            QX_SCRATCH(cx,
                       status,
                       of_correlation(cx, &w, i, &fit->correlation[own->correlation[i]]));
        }
        QX_TRY(status);
    }
    return w.g->parts.levels > 1 ? one_residual(cx, &w, fit) : QX_OK;
}

qx_status qx_general_profile(qx_ctx *cx, qx_lmm *fit, double level)
{
    qx_status status;
    if (!(level > 0.0 && level < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "a confidence level lies between 0 and 1");
    }
    if (fit->inner->general->general.largest > PROFILE_ROWS_MOST) {
        return qx_note(cx,
                       "More than %d observations hang together: variances and "
                       "correlations are given without intervals.",
                       PROFILE_ROWS_MOST);
    }
    QX_SCRATCH(cx, status, profile(cx, fit, level));
    return status;
}
