#include <math.h>
#include <string.h>

#include "findings/plan_scaling.h"
#include "trial/usual.h"

static qx_status keep(const qx_plan_scaling *s, const char *kept, const char **out)
{
    *out = kept;
    return kept == NULL ? qx_fail(s->cx, QX_E_NOMEM, "no memory for the plan") : QX_OK;
}

/* --- what chance follows --- */

/* Things that a share is out of: as expected, as in the earlier trial, else one. */
static double size_of(const qx_plan_scaling *s)
{
    if (s->variate->kind != QX_PROPORTION) {
        return 1.0;
    }
    if (s->expect != NULL && s->expect->of > 0.0) {
        return s->expect->of;
    }
    return s->last != NULL && s->last->mean_size > 1.0 ? s->last->mean_size : 1.0;
}

/* theta or phi; of scaled standard errors the number is a factor of the variance: the theta
 * or phi that has it at the mean. Not above 0: none. */
static double dispersion_of(const qx_plan_scaling *s, double n)
{
    const double given = s->expect != NULL && !isnan(s->expect->dispersion)
                             ? s->expect->dispersion
                         : s->last != NULL ? s->last->dispersion
                                           : (double)NAN;
    switch (s->variate->extra_variation) {
    case QX_VARIATION_NONE:
        return 0.0;
    case QX_VARIATION_SCALED:
        if (!(given > 1.0)) {
            return 0.0;
        }
        return s->variate->kind == QX_PROPORTION ? fmax(n - given, 0.0) / (given - 1.0)
                                                 : s->out->mean / (given - 1.0);
    case QX_VARIATION_AUTO:
    case QX_VARIATION_MODELLED:
    case QX_VARIATION_UNIT:
        break;
    }
    return isfinite(given) ? given : 0.0;
}

static void find_family(qx_plan_scaling *s)
{
    qx_plan_scale *o = s->out;
    const bool count = s->variate->kind == QX_COUNT;
    o->size = size_of(s);
    if (s->variate->kind == QX_ORDINAL) {
        return;
    }
    o->family = count ? &qx_family_poisson : &qx_family_binomial;
    o->dispersion = s->variate->kind == QX_NOMINAL ? 0.0 : dispersion_of(s, o->size);
    if (o->dispersion > 0.0) {
        o->family = count ? &qx_family_negbin : &qx_family_betabin;
        o->psi = o->family->spread(o->dispersion);
    }
}

/* --- where the variation comes from --- */

/* One component of the earlier trial: a unit's, or what a season adds to it. Where one season
 * is planned both count; where several are, what was left over is new in each. */
static void
take_component(qx_plan_scaling *s, size_t unit, bool by_season, double variance)
{
    *(by_season && qx_plan_seasonal(s) ? &s->by_season[unit] : &s->variance[unit]) +=
        variance;
}

/* The path of a component's unit, with ":season" behind it or not. Classes without order
 * have a component for each class but the first, whose name stands in front. */
static const char *path_of(const qx_plan_scaling *s, const char *term)
{
    for (size_t c = 0; s->variate->kind == QX_NOMINAL && c < s->variate->level_count;
         c++) {
        const size_t length = strlen(s->variate->level[c]);
        if (strncmp(term, s->variate->level[c], length) == 0 && term[length] == ':') {
            return term + length + 1;
        }
    }
    return term;
}

static void take_line(qx_plan_scaling *s, const qx_variance_line *line)
{
    const char *term = path_of(s, line->term);
    const double shared =
        s->variate->kind == QX_NOMINAL ? (double)(s->variate->level_count - 1) : 1.0;
    const double variance = isnan(line->variance) ? 0.0 : line->variance / shared;
    if (strcmp(term, "residual") == 0) {
        take_component(s, s->variate->on, true, variance);
        return;
    }
    for (size_t u = 0; u < s->protocol->unit_count; u++) {
        const char *path = s->protocol->unit[u].path;
        const size_t length = strlen(path);
        const bool by_season =
            strncmp(term, path, length) == 0 && strcmp(term + length, ":season") == 0;
        if (by_season || strcmp(term, path) == 0) {
            take_component(s, u, by_season, variance);
        }
    }
}

/* Components of counts, shares and classes hold what is beyond chance; those of values hold
 * all there is. */
static qx_status from_findings(qx_plan_scaling *s)
{
    for (size_t i = 0; i < s->last->variance_count; i++) {
        take_line(s, &s->last->variance[i]);
    }
    s->out->source = QX_SPREAD_FINDINGS;
    return keep(
        s,
        qx_plan_generalised(s->variate)
            ? "The variation between units, beyond what chance makes of counts and "
              "shares, is that of the earlier trial, as it was estimated there."
            : "The variation is that of the earlier trial, as it was estimated "
              "there.",
        &s->out->source_text);
}

static qx_status from_protocol(qx_plan_scaling *s)
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
static size_t lowest_placed(const qx_plan_scaling *s)
{
    size_t unit = s->variate->on;
    while (s->protocol->unit[unit].sample && s->protocol->unit[unit].parent_count == 1) {
        unit = s->protocol->unit[unit].parent[0];
    }
    return unit;
}

/* Of counts and shares a coefficient of variation holds what chance makes of them: what is
 * beyond it, on the scale of the link, at the mean. Counts of mean m: 1 / m is chance, the
 * rest the variance of a lognormal mean, e^v - 1; shares p out of n: p (1 - p) / n is. */
static double beyond_chance(const qx_plan_scaling *s, double sd)
{
    const qx_plan_scale *o = s->out;
    const double m = o->mean;
    const double rest =
        sd * sd - o->family->variance(m, o->size, o->psi) / (o->size * o->size);
    if (!(rest > 0.0)) {
        return 0.0;
    }
    if (o->link == QX_LINK_LOG) {
        return log1p(rest / (m * m));
    }
    const double slope = qx_link_slope(o->link, qx_link_predictor(o->link, m), 1);
    return rest / (slope * slope);
}

static qx_status tell_cv(qx_plan_scaling *s, const char *unit)
{
    const double percent = s->expect->cv_percent;
    const char *chance = "";
    if (qx_plan_generalised(s->variate)) {
        chance = " What chance alone makes of it is taken off.";
    }
    return keep(
        s,
        s->expect->like == NULL
            ? qx_arena_printf(s->arena,
                              "The protocol expects a coefficient of variation of "
                              "%g %% between single %ss.%s",
                              percent,
                              unit,
                              chance)
            : qx_arena_printf(s->arena,
                              "Usual variation of %s: %g %% between single %ss (%s).%s",
                              s->expect->like,
                              percent,
                              unit,
                              qx_usual_find(s->expect->like)->source,
                              chance),
        &s->out->source_text);
}

/* A coefficient of variation of single units; where things are sampled in them, half of
 * the variance is taken to lie between the sampled things' means. */
static qx_status from_cv(qx_plan_scaling *s)
{
    const size_t unit = lowest_placed(s);
    const bool link = qx_plan_generalised(s->variate);
    double sd = s->expect->cv_percent / 100.0 * fabs(s->out->mean);
    if (s->variate->transform != QX_TRANSFORM_NONE) {
        sd = fabs(qx_plan_to_scale(s, s->out->mean + sd) -
                  qx_plan_to_scale(s, s->out->mean));
    }
    const double variance = link ? beyond_chance(s, sd) : sd * sd;
    const double samples =
        s->protocol->planning.samples > 0 ? (double)s->protocol->planning.samples : 1.0;
    const bool sampled = unit != s->variate->on && !link;
    s->variance[unit] = sampled ? 0.5 * variance : variance;
    if (sampled) {
        s->variance[s->variate->on] = 0.5 * variance * samples;
    }
    if (qx_plan_seasonal(s)) { /* half of it comes back, half is new in each season */
        const size_t from = link ? unit : s->variate->on;
        s->by_season[from] = 0.5 * s->variance[from];
        s->variance[from] *= 0.5;
    }
    s->out->source = s->expect->like != NULL ? QX_SPREAD_USUAL : QX_SPREAD_PROTOCOL;
    return tell_cv(s, s->protocol->unit[unit].name);
}

static qx_status from_nothing(qx_plan_scaling *s)
{
    take_component(s, s->variate->on, true, 1.0);
    s->out->source = QX_SPREAD_NONE;
    s->out->name = "standard deviations";
    return keep(
        s,
        "Nothing is known of the variation: differences are told in standard "
        "deviations between the things measured, and all variation is taken to lie "
        "there. Give \"expect\" in the protocol, or an earlier trial with --from.",
        &s->out->source_text);
}

qx_status qx_plan_spread_find(qx_plan_scaling *s)
{
    const bool link = qx_plan_generalised(s->variate);
    if (link) {
        find_family(s);
    }
    if (s->last != NULL &&
        (s->last->variance_count > 0 || (link && s->last->converged))) {
        return from_findings(s);
    }
    if (s->expect != NULL && s->expect->sd != NULL) {
        return from_protocol(s);
    }
    if (s->expect != NULL && !isnan(s->expect->cv_percent) &&
        s->variate->kind != QX_ORDINAL && s->variate->kind != QX_NOMINAL) {
        return from_cv(s);
    }
    if (!link) {
        return from_nothing(s);
    }
    s->out->source = QX_SPREAD_PROTOCOL;
    return keep(s,
                "No variation between units is expected beyond chance: real trees "
                "differ, so this is the best case. Give \"expect: {variation: ...}\".",
                &s->out->source_text);
}

/* Does more than chance vary from row to row, as `analyse` will estimate it? */
static bool rows_vary(const qx_plan_scaling *s)
{
    const qx_variate *v = s->variate;
    const bool there =
        s->out->dispersion > 0.0 || s->variance[v->on] > 0.0 || s->by_season[v->on] > 0.0;
    switch (v->extra_variation) {
    case QX_VARIATION_NONE:
    case QX_VARIATION_SCALED:
        return false;
    case QX_VARIATION_AUTO:
        return there;
    case QX_VARIATION_MODELLED:
    case QX_VARIATION_UNIT:
        break;
    }
    return true;
}

static bool counted(const qx_variate *v)
{
    return qx_plan_generalised(v) && !qx_variate_has_classes(v);
}

qx_status qx_plan_spread_list(qx_plan_scaling *s)
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
    s->out->by_rows = counted(s->variate) && rows_vary(s);
    s->out->spreads =
        (qx_spreads){.variance = s->variance,
                     .variance_by_season = s->by_season,
                     .chance = qx_plan_scale_chance(s->out, 0.0),
                     .asymptotic = counted(s->variate) && !s->out->by_rows &&
                                   s->variate->extra_variation != QX_VARIATION_SCALED};
    return QX_OK;
}
