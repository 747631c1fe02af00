#include "findings/plan_scale.h"

#include <math.h>
#include <string.h>

#include "findings/plan_scaling.h"
#include "findings/transform.h"

/* Shifts of grades are looked for up to here: odds times five hundred million. */
#define SHIFT_MOST 20.0
#define HALVINGS   60

bool qx_plan_generalised(const qx_variate *v)
{
    return v->kind != QX_CONTINUOUS && v->transform == QX_TRANSFORM_NONE;
}

static bool has_classes(const qx_plan_scale *scale)
{
    return qx_variate_has_classes(scale->variate);
}

static bool has_order(const qx_plan_scale *scale)
{
    return scale->variate->kind == QX_ORDINAL;
}

static qx_link link_of(const qx_variate *v)
{
    if (!qx_plan_generalised(v)) {
        return QX_LINK_IDENTITY;
    }
    if (v->kind == QX_COUNT) {
        return QX_LINK_LOG;
    }
    return v->kind != QX_PROPORTION      ? QX_LINK_LOGIT
           : v->link == QX_SHARE_PROBIT  ? QX_LINK_PROBIT
           : v->link == QX_SHARE_CLOGLOG ? QX_LINK_CLOGLOG
                                         : QX_LINK_LOGIT;
}

bool qx_plan_seasonal(const qx_plan_scaling *s)
{
    return s->protocol->seasons.level_count > 1;
}

double qx_plan_to_scale(const qx_plan_scaling *s, double value)
{
    return s->out->link != QX_LINK_IDENTITY
               ? qx_link_predictor(s->out->link, value)
               : qx_transform_apply(s->variate->transform, value);
}

/* --- means --- */

/* Mean over the levels of the first term of an earlier trial; class_ NULL: of the variate. */
static double last_mean(const qx_result *last, const char *class_)
{
    double sum = 0.0, count = 0.0;
    for (size_t i = 0; i < last->mean_count; i++) {
        const qx_mean *mean = &last->mean[i];
        if (strcmp(mean->term, last->mean[0].term) != 0 ||
            (class_ != NULL &&
             (mean->class_ == NULL || strcmp(mean->class_, class_) != 0))) {
            continue;
        }
        sum += isnan(mean->back.estimate) ? mean->estimate : mean->back.estimate;
        count += 1.0;
    }
    return sum / count;
}

/* Shares as expected, or those of the earlier trial; NULL where neither tells. */
static qx_status find_shares(qx_plan_scaling *s)
{
    const qx_variate *v = s->variate;
    double *share, sum = 0.0;
    if (s->expect != NULL && s->expect->share_count > 0) {
        s->out->share = s->expect->share;
        return QX_OK;
    }
    if (s->last == NULL || s->last->mean_count == 0) {
        return QX_OK;
    }
    QX_NEW_IN(s->cx, s->arena, share, v->level_count);
    for (size_t c = 0; c < v->level_count; c++) {
        share[c] = last_mean(s->last, v->level[c]);
        sum += share[c];
    }
    for (size_t c = 0; c < v->level_count; c++) {
        share[c] /= sum;
    }
    s->out->share = isfinite(sum) ? share : NULL;
    return QX_OK;
}

/* The class whose share is the nearest to a half. */
static size_t hardest(const qx_variate *v, const double share[])
{
    size_t best = 0;
    for (size_t c = 1; c < v->level_count; c++) {
        best = fabs(share[c] - 0.5) < fabs(share[best] - 0.5) ? c : best;
    }
    return best;
}

static qx_status find_mean(qx_plan_scaling *s)
{
    qx_plan_scale *o = s->out;
    o->mean = s->expect != NULL ? s->expect->mean : (double)NAN;
    o->margin = s->variate->margin;
    o->eta = o->step = o->even = (double)NAN;
    o->sign = 1.0;
    if (has_classes(o)) {
        QX_TRY(find_shares(s));
        o->class_ = o->share == NULL ? 0 : hardest(s->variate, o->share);
        o->mean = o->share == NULL || has_order(o) ? (double)NAN : o->share[o->class_];
    } else if (isnan(o->mean) && s->last != NULL) {
        o->mean = last_mean(s->last, NULL);
    }
    return QX_OK;
}

/* --- the margin --- */

static double predicted(const qx_plan_scale *scale, double mean)
{
    return qx_averaged_base(&scale->averaged, mean);
}

/* Is there room for the margin on this side of the mean? */
static bool has_room(const qx_plan_scale *o, double sign)
{
    const double there = o->mean + sign * o->margin;
    return there > 0.0 && (o->link == QX_LINK_LOG || there < 1.0);
}

static double slope_of_mean(const void *data, double predictor)
{
    return qx_link_slope(((const qx_plan_scale *)data)->link, predictor, 1);
}

static void place_on_link(qx_plan_scale *o)
{
    o->eta = predicted(o, o->mean);
    o->even = o->margin / qx_averaged_over(&o->averaged, o->eta, slope_of_mean, o);
    if (!(o->margin > 0.0)) {
        return;
    }
    o->sign = has_room(o, 1.0) ? 1.0 : -1.0;
    if (has_room(o, o->sign)) {
        o->step = fabs(predicted(o, o->mean + o->sign * o->margin) - o->eta);
    }
}

static double most_moved(const qx_plan_scale *o, double shift)
{
    double below = 0.0, was = 0.0, most = 0.0;
    for (size_t c = 0; c < o->variate->level_count; c++) {
        const bool last = c + 1 == o->variate->level_count;
        const double up =
            last ? 1.0 : qx_averaged_mean(&o->averaged, o->threshold[c] - shift);
        const double before =
            last ? 1.0 : qx_averaged_mean(&o->averaged, o->threshold[c]);
        most = fmax(most, fabs((up - below) - (before - was)));
        below = up;
        was = before;
    }
    return most;
}

/* The shift that moves some share by so much; NAN where none does. */
static double shift_for(const qx_plan_scale *o, double change)
{
    double low = 0.0, high = SHIFT_MOST;
    if (!(change > 0.0) || !(most_moved(o, SHIFT_MOST) > change)) {
        return (double)NAN;
    }
    for (int i = 0; i < HALVINGS; i++) {
        const double middle = 0.5 * (low + high);
        *(most_moved(o, middle) < change ? &low : &high) = middle;
    }
    return 0.5 * (low + high);
}

static qx_status place_grades(qx_plan_scaling *s)
{
    const size_t classes = s->variate->level_count;
    double *threshold, below = 0.0;
    QX_NEW_IN(s->cx, s->arena, threshold, classes);
    for (size_t c = 0; c + 1 < classes; c++) {
        below += s->out->share[c];
        threshold[c] = predicted(s->out, fmin(below, 1.0));
    }
    s->out->threshold = threshold;
    s->out->eta = 0.0;
    s->out->step = s->out->even = shift_for(s->out, s->out->margin);
    return QX_OK;
}

static void place_value(qx_plan_scaling *s)
{
    qx_plan_scale *o = s->out;
    o->eta = qx_transform_apply(s->variate->transform, o->mean);
    o->step = s->variate->transform == QX_TRANSFORM_NONE
                  ? o->margin
                  : qx_transform_margin(s->variate->transform, o->margin, o->eta);
    const bool upwards =
        isnan(o->eta) || qx_transform_allows(s->variate->transform, o->mean + o->margin);
    o->sign = upwards ? 1.0 : -1.0;
    o->even = o->step;
}

/* Variance of all units that a thing lies in, its own included. */
static double over_units(const qx_plan_scaling *s)
{
    double sum = 0.0;
    for (size_t u = 0; u < s->protocol->unit_count; u++) {
        sum += qx_unit_reaches(s->protocol, u, s->variate->on)
                   ? s->variance[u] + s->by_season[u]
                   : 0.0;
    }
    return sum;
}

static qx_status place(qx_plan_scaling *s)
{
    /* Shares of classes without order are those at a typical unit. */
    const bool averaged =
        s->out->link != QX_LINK_IDENTITY && (!has_classes(s->out) || has_order(s->out));
    QX_TRY(qx_averaged_make(
        s->cx, s->out->link, averaged ? over_units(s) : 0.0, &s->out->averaged));
    if (has_order(s->out)) {
        QX_TRY(place_grades(s));
    } else if (s->out->link != QX_LINK_IDENTITY) {
        place_on_link(s->out);
    } else {
        place_value(s);
    }
    if (s->out->source == QX_SPREAD_NONE) {
        s->out->step = s->out->even = (double)NAN;
    }
    return QX_OK;
}

/* --- what cannot be planned --- */

static const char *why_no_classes(const qx_plan_scaling *s)
{
    if (s->out->share == NULL) {
        return "grades and classes are planned from the shares of their classes: give "
               "\"expect: {shares: [...]}\", one for each class";
    }
    return NULL;
}

static const char *why_no_mean(const qx_plan_scaling *s)
{
    const qx_variate *v = s->variate;
    const double mean = s->out->mean;
    const bool share = v->kind == QX_PROPORTION;
    if (isnan(mean)) {
        return "its variation depends on its mean: give \"expect: {mean: ...}\"";
    }
    if (qx_plan_generalised(v) && (!(mean > 0.0) || (share && !(mean < 1.0)))) {
        return share ? "the mean of a share must lie between 0 and 1"
                     : "the mean of a count must be above 0";
    }
    if (!qx_plan_generalised(v) && !isfinite(qx_plan_to_scale(s, mean))) {
        return "the expected mean is outside of what the transform allows";
    }
    return NULL;
}

static const char *why_not(const qx_plan_scaling *s)
{
    const qx_variate *v = s->variate;
    if (qx_plan_generalised(v) && has_classes(s->out)) {
        return why_no_classes(s);
    }
    if (qx_plan_seasonal(s) && !qx_plan_generalised(v) && s->last == NULL &&
        s->expect != NULL && s->expect->sd != NULL && !s->protocol->unit[v->on].sample &&
        (s->expect->sd_season == NULL || !(s->expect->sd_season[v->on] > 0.0))) {
        return "with several seasons the unit it is measured on needs a number under "
               "\"expect: {variation_by_season: {...}}\" as well: how much the same "
               "thing differs from one season to the next";
    }
    return qx_plan_generalised(v) || v->transform != QX_TRANSFORM_NONE ? why_no_mean(s)
                                                                       : NULL;
}

/* --- the whole --- */

static const char *scale_name(const qx_plan_scaling *s)
{
    if (s->out->link != QX_LINK_IDENTITY) {
        return qx_link_key(s->out->link);
    }
    return s->variate->transform != QX_TRANSFORM_NONE
               ? qx_transform_word(s->variate->transform)
               : s->variate->unit;
}

qx_status qx_plan_scale_of(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_protocol *protocol,
                           size_t variate,
                           const qx_result *last,
                           qx_plan_scale *out)
{
    qx_plan_scaling s = {.cx = cx,
                         .arena = arena,
                         .protocol = protocol,
                         .variate = &protocol->variate[variate],
                         .expect = protocol->variate[variate].expect,
                         .last = last,
                         .out = out};
    *out = (qx_plan_scale){.variate = s.variate,
                           .link = link_of(s.variate),
                           .transform = s.variate->transform};
    QX_NEW_IN(cx, arena, s.variance, protocol->unit_count);
    QX_NEW_IN(cx, arena, s.by_season, protocol->unit_count);
    out->name = scale_name(&s);
    QX_TRY(find_mean(&s));
    out->why_not = why_not(&s);
    if (out->why_not != NULL) {
        return QX_OK;
    }
    QX_TRY(qx_plan_spread_find(&s));
    QX_TRY(place(&s));
    return qx_plan_spread_list(&s);
}

/* --- steps --- */

double qx_plan_scale_mean_at(const qx_plan_scale *scale, double step)
{
    return qx_averaged_mean(&scale->averaged, scale->eta + scale->sign * step);
}

double qx_plan_scale_back(const qx_plan_scale *scale, double step)
{
    if (scale->link == QX_LINK_IDENTITY) {
        return scale->transform == QX_TRANSFORM_NONE
                   ? step
                   : fabs(qx_transform_back(scale->transform,
                                            scale->eta + scale->sign * step) -
                          scale->mean);
    }
    return has_order(scale) ? most_moved(scale, step)
                            : fabs(qx_plan_scale_mean_at(scale, step) - scale->mean);
}

void qx_plan_scale_shares_at(const qx_plan_scale *scale, double step, double share[])
{
    const size_t classes = scale->variate->level_count;
    if (!has_order(scale)) {
        const double now = qx_plan_scale_mean_at(scale, step);
        for (size_t c = 0; c < classes; c++) {
            share[c] = c == scale->class_
                           ? now
                           : scale->share[c] * (1.0 - now) / (1.0 - scale->mean);
        }
        return;
    }
    double below = 0.0;
    for (size_t c = 0; c < classes; c++) {
        const double up = c + 1 == classes ? 1.0
                                           : qx_averaged_mean(&scale->averaged,
                                                              scale->threshold[c] - step);
        share[c] = up - below;
        below = up;
    }
}

/* --- chance --- */

/* Variance of one count or share on the link, given the units that it lies in. */
static double chance_at(const void *data, double predictor)
{
    const qx_plan_scale *scale = data;
    const double n = scale->size;
    const double slope = n * qx_link_slope(scale->link, predictor, 1);
    const double mean = qx_link_mean(scale->link, predictor);
    return scale->family->variance(mean, n, scale->psi) / (slope * slope);
}

/* Information on a shift of grades, whatever the thresholds: Whitehead 1993. */
static double chance_of_grade(const qx_plan_scale *scale, double step)
{
    double below = 0.0, cubes = 0.0;
    for (size_t c = 0; c < scale->variate->level_count; c++) {
        const double up = c + 1 == scale->variate->level_count
                              ? 1.0
                              : qx_link_mean(QX_LINK_LOGIT, scale->threshold[c] - step);
        cubes += pow(up - below, 3.0);
        below = up;
    }
    return 3.0 / (1.0 - cubes);
}

double qx_plan_scale_chance(const qx_plan_scale *scale, double step)
{
    if (scale->link == QX_LINK_IDENTITY) {
        return 0.0;
    }
    return has_order(scale)
               ? chance_of_grade(scale, step)
               : qx_averaged_over(
                     &scale->averaged, scale->eta + scale->sign * step, chance_at, scale);
}
