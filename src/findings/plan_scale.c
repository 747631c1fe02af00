#include "findings/plan_scale.h"

#include <math.h>
#include <string.h>

#include "findings/transform.h"
#include "model/family.h"
#include "trial/usual.h"

typedef struct scaling {
    qx_ctx *cx;
    qx_arena *arena;
    const qx_protocol *protocol;
    const qx_variate *variate;
    const qx_expectation *expect; /* or NULL */
    const qx_result *last;        /* or NULL */
    qx_plan_scale *out;
    double *variance, *by_season; /* unit_count */
} scaling;

static qx_status keep(const scaling *s, const char *kept, const char **out)
{
    *out = kept;
    return kept == NULL ? qx_fail(s->cx, QX_E_NOMEM, "no memory for the plan") : QX_OK;
}

/* Counts, shares and grades that no transform makes into plain numbers. */
static bool generalised(const qx_variate *v)
{
    return v->kind != QX_CONTINUOUS && v->transform == QX_TRANSFORM_NONE;
}

static qx_link link_of(const qx_variate *v)
{
    if (!generalised(v)) {
        return QX_LINK_IDENTITY;
    }
    if (v->kind == QX_COUNT) {
        return QX_LINK_LOG;
    }
    return v->link == QX_SHARE_PROBIT    ? QX_LINK_PROBIT
           : v->link == QX_SHARE_CLOGLOG ? QX_LINK_CLOGLOG
                                         : QX_LINK_LOGIT;
}

static double to_scale(const scaling *s, double value)
{
    return s->out->link != QX_LINK_IDENTITY
               ? qx_link_predictor(s->out->link, value)
               : qx_transform_apply(s->variate->transform, value);
}

/* --- means --- */

/* Mean over the levels of the first term of an earlier trial. */
static double last_mean(const qx_result *last)
{
    double sum = 0.0, count = 0.0;
    for (size_t i = 0; i < last->mean_count; i++) {
        if (strcmp(last->mean[i].term, last->mean[0].term) == 0) {
            const double back = last->mean[i].back.estimate;
            sum += isnan(back) ? last->mean[i].estimate : back;
            count += 1.0;
        }
    }
    return sum / count;
}

static void find_mean(scaling *s)
{
    qx_plan_scale *o = s->out;
    o->mean = s->expect != NULL ? s->expect->mean : (double)NAN;
    if (isnan(o->mean) && s->last != NULL && s->variate->kind != QX_ORDINAL) {
        o->mean = last_mean(s->last);
    }
    o->margin = s->variate->margin;
    o->eta = o->step = (double)NAN;
    if (s->variate->kind == QX_ORDINAL) {
        return; /* a shift of the whole scale: there is no mean and no margin to move */
    }
    o->eta = to_scale(s, o->mean);
    if (o->link != QX_LINK_IDENTITY) {
        o->step = fabs(to_scale(s, o->mean + o->margin) - o->eta);
        if (!isfinite(o->step)) { /* beyond the end of the scale: downwards */
            o->step = fabs(to_scale(s, o->mean - o->margin) - o->eta);
        }
    } else if (s->variate->transform != QX_TRANSFORM_NONE) {
        o->step = qx_transform_margin(s->variate->transform, o->margin, o->eta);
    } else {
        o->step = o->margin;
    }
}

/* --- variation of one observation on the link's scale --- */

/* Sets dispersion, the number that the family is known by. */
static const qx_family *family_of(const scaling *s, double *psi)
{
    const bool share = s->variate->kind == QX_PROPORTION;
    const double dispersion = s->expect != NULL && !isnan(s->expect->dispersion)
                                  ? s->expect->dispersion
                              : s->last != NULL ? s->last->dispersion
                                                : (double)NAN;
    *psi = 0.0;
    if (isnan(dispersion) || s->variate->extra_variation == QX_VARIATION_NONE) {
        return qx_family_find(share ? "binomial" : "poisson");
    }
    const qx_family *wide = qx_family_find(share ? "betabin" : "negbin");
    *psi = wide->spread(dispersion);
    s->out->dispersion = dispersion;
    return wide;
}

/* Grades: information on a shift, whatever the thresholds (Whitehead 1993). */
static double variance_of_grade(const scaling *s)
{
    double cubes = 0.0;
    for (size_t i = 0; i < s->expect->share_count; i++) {
        cubes += pow(s->expect->share[i], 3.0);
    }
    return 3.0 / (1.0 - cubes);
}

static double variance_of_one(const scaling *s)
{
    if (s->variate->kind == QX_ORDINAL) {
        return variance_of_grade(s);
    }
    double psi;
    const qx_family *family = family_of(s, &psi);
    const double n =
        s->variate->kind == QX_PROPORTION && s->expect != NULL && s->expect->of > 0.0
            ? s->expect->of
            : 1.0;
    s->out->size = n;
    const double slope = qx_link_slope(s->out->link, s->out->eta, 1);
    return family->variance(s->out->mean, n, psi) / (n * n * slope * slope);
}

/* --- where the variation comes from --- */

/* Do the same things come back in several seasons? */
static bool seasonal(const scaling *s)
{
    return s->protocol->seasons.level_count > 1;
}

/* One component of the earlier trial: a unit's, or what a season adds to it. Where one season
 * is planned both count; where several are, what was left over is new in each. */
static void take_component(scaling *s, size_t unit, bool by_season, double variance)
{
    *(by_season && seasonal(s) ? &s->by_season[unit] : &s->variance[unit]) += variance;
}

static qx_status from_findings(scaling *s)
{
    for (size_t i = 0; i < s->last->variance_count; i++) {
        const qx_variance_line *line = &s->last->variance[i];
        const double variance = isnan(line->variance) ? 0.0 : line->variance;
        if (strcmp(line->term, "residual") == 0) {
            take_component(s, s->variate->on, true, variance);
            continue;
        }
        for (size_t u = 0; u < s->protocol->unit_count; u++) {
            const char *path = s->protocol->unit[u].path;
            const size_t length = strlen(path);
            const bool by_season = strncmp(line->term, path, length) == 0 &&
                                   strcmp(line->term + length, ":season") == 0;
            if (by_season || strcmp(line->term, path) == 0) {
                take_component(s, u, by_season, variance);
            }
        }
    }
    s->out->source = QX_SPREAD_FINDINGS;
    return keep(s,
                "The variation is that of the earlier trial, as it was estimated there.",
                &s->out->source_text);
}

static qx_status from_protocol(scaling *s)
{
    for (size_t u = 0; u < s->protocol->unit_count; u++) {
        const double sd = s->expect->sd[u];
        const double season =
            s->expect->sd_season == NULL ? 0.0 : s->expect->sd_season[u];
        s->variance[u] = isnan(sd) ? 0.0 : sd * sd;
        s->by_season[u] = isnan(season) ? 0.0 : season * season;
    }
    s->out->source = QX_SPREAD_PROTOCOL;
    return keep(s, "The variation is what the protocol expects.", &s->out->source_text);
}

/* The lowest unit on the variate's way up that is placed beforehand. */
static size_t lowest_placed(const scaling *s)
{
    size_t unit = s->variate->on;
    while (s->protocol->unit[unit].sample && s->protocol->unit[unit].parent_count == 1) {
        unit = s->protocol->unit[unit].parent[0];
    }
    return unit;
}

/* A coefficient of variation of single units; where things are sampled in them, half of
 * the variance is taken to lie between the sampled things' means. */
static qx_status from_cv(scaling *s)
{
    const size_t unit = lowest_placed(s);
    const double percent = s->expect->cv_percent;
    double sd = percent / 100.0 * fabs(s->out->mean);
    if (s->variate->transform != QX_TRANSFORM_NONE) {
        sd = fabs(to_scale(s, s->out->mean + sd) - s->out->eta);
    }
    const double samples =
        s->protocol->planning.samples > 0 ? (double)s->protocol->planning.samples : 1.0;
    const bool sampled = unit != s->variate->on;
    s->variance[unit] = sampled ? 0.5 * sd * sd : sd * sd;
    if (sampled) {
        s->variance[s->variate->on] = 0.5 * sd * sd * samples;
    }
    if (seasonal(s)) { /* half of it comes back, half is new in each season */
        s->by_season[s->variate->on] = 0.5 * s->variance[s->variate->on];
        s->variance[s->variate->on] *= 0.5;
    }
    s->out->source = s->expect->like != NULL ? QX_SPREAD_USUAL : QX_SPREAD_PROTOCOL;
    if (s->expect->like == NULL) {
        return keep(s,
                    qx_arena_printf(s->arena,
                                    "The protocol expects a coefficient of variation of "
                                    "%g %% between single %ss.",
                                    percent,
                                    s->protocol->unit[unit].name),
                    &s->out->source_text);
    }
    return keep(s,
                qx_arena_printf(s->arena,
                                "Usual variation of %s: %g %% between single %ss (%s).",
                                s->expect->like,
                                percent,
                                s->protocol->unit[unit].name,
                                qx_usual_find(s->expect->like)->source),
                &s->out->source_text);
}

static qx_status from_nothing(scaling *s)
{
    take_component(s, s->variate->on, true, 1.0);
    s->out->source = QX_SPREAD_NONE;
    s->out->name = "standard deviations";
    s->out->step = (double)NAN;
    return keep(
        s,
        "Nothing is known of the variation: differences are told in standard "
        "deviations between the things measured, and all variation is taken to lie "
        "there. Give \"expect\" in the protocol, or an earlier trial with --from.",
        &s->out->source_text);
}

static qx_status find_spread(scaling *s)
{
    const bool link = generalised(s->variate);
    if (s->last != NULL && s->last->variance_count > 0) {
        QX_TRY(from_findings(s));
    } else if (s->expect != NULL && s->expect->sd != NULL) {
        QX_TRY(from_protocol(s));
    } else if (s->expect != NULL && !isnan(s->expect->cv_percent) && !link) {
        QX_TRY(from_cv(s));
    } else if (!link) {
        QX_TRY(from_nothing(s));
    } else {
        s->out->source = QX_SPREAD_PROTOCOL;
        QX_TRY(
            keep(s,
                 "No variation between units is expected beyond chance: real trees "
                 "differ, so this is the best case. Give \"expect: {variation: ...}\".",
                 &s->out->source_text));
    }
    s->out->own_variance = s->variance[s->variate->on];
    if (link) {
        take_component(s, s->variate->on, true, variance_of_one(s));
    }
    return QX_OK;
}

static qx_status list_spread(scaling *s)
{
    qx_plan_spread *line;
    QX_NEW_IN(s->cx, s->arena, line, 2 * s->protocol->unit_count);
    for (size_t i = 0; i < s->protocol->unit_count; i++) {
        const size_t u = s->protocol->unit_order[i];
        const char *name = s->protocol->unit[u].name;
        if (s->variance[u] > 0.0 && qx_unit_reaches(s->protocol, u, s->variate->on)) {
            line[s->out->line_count++] = (qx_plan_spread){name, sqrt(s->variance[u])};
        }
        if (s->by_season[u] > 0.0) {
            qx_plan_spread *l = &line[s->out->line_count++];
            l->sd = sqrt(s->by_season[u]);
            QX_TRY(keep(s, qx_arena_printf(s->arena, "%s by season", name), &l->unit));
        }
    }
    s->out->line = line;
    s->out->spreads =
        (qx_spreads){.variance = s->variance, .variance_by_season = s->by_season};
    return QX_OK;
}

/* --- what cannot be planned --- */

static const char *why_not(const scaling *s)
{
    const qx_variate *v = s->variate;
    if (v->kind == QX_NOMINAL) {
        return "classes without an order are not planned: plan the share of the class "
               "that "
               "matters most, as a proportion";
    }
    if (v->kind == QX_ORDINAL && (s->expect == NULL || s->expect->share_count == 0)) {
        return "grades are planned from the shares of their classes: give \"expect: "
               "{shares: [...]}\", one for each class";
    }
    if (v->kind == QX_ORDINAL) {
        return s->expect->share_count == v->level_count
                   ? NULL
                   : "\"shares\" does not hold one number for each class";
    }
    if (seasonal(s) && !generalised(v) && s->last == NULL && s->expect != NULL &&
        s->expect->sd != NULL && !s->protocol->unit[v->on].sample &&
        (s->expect->sd_season == NULL || !(s->expect->sd_season[v->on] > 0.0))) {
        return "with several seasons the unit it is measured on needs a number under "
               "\"expect: {variation_by_season: {...}}\" as well: how much the same "
               "thing "
               "differs from one season to the next";
    }
    if (generalised(v) || v->transform != QX_TRANSFORM_NONE) {
        const double mean = s->out->mean;
        const bool share = v->kind == QX_PROPORTION;
        if (isnan(mean)) {
            return "its variation depends on its mean: give \"expect: {mean: ...}\"";
        }
        if (generalised(v) && (!(mean > 0.0) || (share && !(mean < 1.0)))) {
            return share ? "the mean of a share must lie between 0 and 1"
                         : "the mean of a count must be above 0";
        }
        if (!generalised(v) && !isfinite(s->out->eta)) {
            return "the expected mean is outside of what the transform allows";
        }
    }
    return NULL;
}

static const char *scale_name(const scaling *s)
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
    scaling s = {.cx = cx,
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
    find_mean(&s);
    out->why_not = why_not(&s);
    if (out->why_not != NULL) {
        return QX_OK;
    }
    QX_TRY(find_spread(&s));
    return list_spread(&s);
}

double qx_plan_scale_back(const qx_plan_scale *scale, double step)
{
    if (scale->link != QX_LINK_IDENTITY) {
        return scale->variate->kind == QX_ORDINAL
                   ? exp(step) /* the ratio of odds */
                   : qx_link_mean(scale->link, scale->eta + step) - scale->mean;
    }
    if (scale->transform != QX_TRANSFORM_NONE) {
        return qx_transform_back(scale->transform, scale->eta + step) - scale->mean;
    }
    return step;
}
