/* How well the variances and correlations of a general covariance are known: profile
 * likelihood intervals and restricted likelihood ratios, as in model/components.h.
 *
 * A correlation of dates has a ratio against nil, chi-squared with 1 df (the half-and-half
 * mixture where nil is its bound). The field's variance and correlations have none: without a
 * field its correlations mean nothing, and at a correlation of nil the field is not told from
 * the units' own variation, so that the ratios follow no tabulated law (Davies 1987,
 * Biometrika 74:33-43); fields are chosen by the criterion of Akaike instead
 * (findings/field_trend.h). */
#include <math.h>

#include "model/general_hold.h"
#include "numeric/dist.h"

/* Rows of a set beyond which a hundred fits more are not made. */
#define PROFILE_ROWS_MOST 600

static qx_status
of_variance(qx_ctx *cx, qx_general_hold *w, size_t i, double s2, qx_component *c)
{
    const double best = w->own->theta[i];
    const bool residual = w->g->parts.part[i].kind == QX_PART_RESIDUAL;
    const double reach = sqrt(w->target) * qx_general_rough_se(w, i);
    const double factor = best > 0.0 ? exp(fmin(reach / best, 2.0)) : 0.0;
    double lower = 0.0;
    double upper;
    bool below = residual;
    if (!residual) {
        double rise = 0.0;
        if (best > 0.0) {
            QX_TRY(qx_general_rise_at(cx, w, i, 0.0, &rise));
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
        const qx_general_bracket down = {w->own->theta, best, 0.0, best / factor};
        QX_TRY(qx_general_crossing(cx, w, i, &down, &lower));
    }
    const qx_general_bracket up = {
        w->own->theta, best, INFINITY, best > 0.0 ? best * factor : reach};
    QX_TRY(qx_general_crossing(cx, w, i, &up, &upper));
    c->lower = lower * s2;
    c->upper = upper * s2;
    return QX_OK;
}

/* The restricted likelihood ratio of residual variances against one for all. */
static qx_status one_residual(qx_ctx *cx, qx_general_hold *w, qx_lmm *fit)
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
    qx_general_hold w = {.own = own, .g = &own->general};
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
                       qx_general_correlation(
                           cx, &w, i, &fit->correlation[own->correlation[i]]));
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
