#include "findings/simulate.h"

#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "numeric/rng.h"

#define NEVER ((size_t)-1)

/* One variate's truth, looked up once, and its draws. */
typedef struct draw {
    const qx_truth *truth;
    const qx_variate *variate;
    qx_rng rng;
    double *sd;        /* unit_count */
    double *sd_season; /* unit_count */
    double *level;  /* for each treatment the effects of its levels, one after another */
    double *season; /* season_count */
    double *u;      /* placed_count */
    double *u_season; /* placed_count x season_count, row-major */
} draw;

typedef struct work {
    qx_ctx *cx;
    const qx_protocol *protocol;
    const qx_layout *layout;
    const qx_simulation *simulation;
    qx_text *csv;
    size_t seasons;      /* at least 1 */
    size_t *first_level; /* treatment_count: where its effects start in draw.level */
    size_t levels;       /* of all treatments together */
    size_t *lost_from;   /* placed_count: season, or NEVER */
    draw *draw;          /* truth_count */
    uint32_t *chain;     /* placed_count: a thing and everything above it */
    size_t chain_count;
} work;

static size_t find_variate(const qx_protocol *p, const char *name)
{
    for (size_t v = 0; v < p->variate_count; v++) {
        if (strcmp(p->variate[v].name, name) == 0) {
            return v;
        }
    }
    return QX_NONE;
}

static qx_status fill_effect(work *w, draw *d, const qx_truth_effect *effect)
{
    const qx_protocol *p = w->protocol;
    const bool by_season = strcmp(effect->factor, "season") == 0;
    const size_t t = by_season ? 0 : qx_protocol_find_treatment(p, effect->factor);
    if (t == QX_NONE) {
        return qx_fail(
            w->cx, QX_E_ARG, "the truth names %s, which is no treatment", effect->factor);
    }
    const size_t level =
        qx_level_find(by_season ? p->seasons.level_count : p->treatment[t].level_count,
                      by_season ? p->seasons.level : p->treatment[t].level,
                      effect->level,
                      strlen(effect->level));
    if (level == QX_NONE) {
        return qx_fail(w->cx,
                       QX_E_ARG,
                       "the truth names %s %s, which is no level",
                       effect->factor,
                       effect->level);
    }
    *(by_season ? &d->season[level] : &d->level[w->first_level[t] + level]) =
        effect->effect;
    return QX_OK;
}

static qx_status fill_spread(work *w, draw *d, const qx_truth_spread *spread)
{
    const size_t unit = qx_protocol_find_unit(w->protocol, spread->unit);
    if (unit == QX_NONE) {
        return qx_fail(
            w->cx, QX_E_ARG, "the truth names %s, which is no unit", spread->unit);
    }
    d->sd[unit] = spread->sd;
    d->sd_season[unit] = spread->sd_season;
    return QX_OK;
}

/* One normal a thing, and one a thing and season, whether its spread is 0 or not: so that
 * another spread moves nothing but its own part. */
static void draw_things(const work *w, draw *d)
{
    for (size_t i = 0; i < w->layout->placed_count; i++) {
        const size_t unit = w->layout->placed[i].unit;
        d->u[i] = d->sd[unit] * qx_rng_normal(&d->rng);
        for (size_t s = 0; s < w->seasons; s++) {
            d->u_season[i * w->seasons + s] = d->sd_season[unit] * qx_rng_normal(&d->rng);
        }
    }
}

static qx_status prepare_draw(work *w, size_t k)
{
    draw *d = &w->draw[k];
    d->truth = &w->simulation->truth[k];
    const size_t v = find_variate(w->protocol, d->truth->variate);
    if (v == QX_NONE || w->protocol->variate[v].kind != QX_CONTINUOUS) {
        return qx_fail(w->cx,
                       QX_E_ARG,
                       "the truth names %s, which is no continuous variate",
                       d->truth->variate);
    }
    d->variate = &w->protocol->variate[v];
    d->rng = qx_rng_stream(w->simulation->seed, k);
    QX_NEW(w->cx, d->sd, w->protocol->unit_count);
    QX_NEW(w->cx, d->sd_season, w->protocol->unit_count);
    QX_NEW(w->cx, d->level, w->levels);
    QX_NEW(w->cx, d->season, w->seasons);
    QX_NEW(w->cx, d->u, w->layout->placed_count);
    QX_NEW(w->cx, d->u_season, w->layout->placed_count * w->seasons);
    for (size_t i = 0; i < d->truth->effect_count; i++) {
        QX_TRY(fill_effect(w, d, &d->truth->effect[i]));
    }
    for (size_t i = 0; i < d->truth->spread_count; i++) {
        QX_TRY(fill_spread(w, d, &d->truth->spread[i]));
    }
    draw_things(w, d);
    return QX_OK;
}

/* Chance picks the things of one loss among all of their unit. */
static qx_status lose_things(work *w, size_t k)
{
    const qx_truth_loss *loss = &w->simulation->loss[k];
    const size_t unit = qx_protocol_find_unit(w->protocol, loss->unit);
    size_t *things;
    size_t count = 0;
    QX_NEW(w->cx, things, w->layout->placed_count);
    for (size_t i = 0; i < w->layout->placed_count; i++) {
        if (w->layout->placed[i].unit == unit) {
            things[count++] = i;
        }
    }
    if (loss->things > count) {
        return qx_fail(w->cx,
                       QX_E_ARG,
                       "%zu of %s are to be lost; there are %zu placed",
                       loss->things,
                       loss->unit,
                       count);
    }
    qx_rng rng = qx_rng_stream(w->simulation->seed, w->simulation->truth_count + k);
    qx_rng_shuffle(&rng, count, things);
    for (size_t i = 0; i < loss->things; i++) {
        w->lost_from[things[i]] = loss->season;
    }
    return QX_OK;
}

static qx_status prepare(work *w)
{
    const qx_protocol *p = w->protocol;
    w->seasons = p->seasons.level_count > 0 ? p->seasons.level_count : 1;
    QX_NEW(w->cx, w->first_level, p->treatment_count);
    for (size_t t = 0; t < p->treatment_count; t++) {
        w->first_level[t] = w->levels;
        w->levels += p->treatment[t].level_count;
    }
    QX_NEW(w->cx, w->draw, w->simulation->truth_count);
    QX_NEW(w->cx, w->chain, w->layout->placed_count);
    QX_NEW(w->cx, w->lost_from, w->layout->placed_count);
    for (size_t i = 0; i < w->layout->placed_count; i++) {
        w->lost_from[i] = NEVER;
    }
    for (size_t k = 0; k < w->simulation->truth_count; k++) {
        QX_TRY(prepare_draw(w, k));
    }
    for (size_t k = 0; k < w->simulation->loss_count; k++) {
        QX_TRY(lose_things(w, k));
    }
    return QX_OK;
}

static bool in_chain(const work *w, size_t thing)
{
    for (size_t i = 0; i < w->chain_count; i++) {
        if (w->chain[i] == thing) {
            return true;
        }
    }
    return false;
}

/* A thing and everything above it, each once: two crossed parents may share a block. Depth
 * is that of the units. */
static void climb(work *w, size_t thing)
{
    if (in_chain(w, thing)) {
        return;
    }
    w->chain[w->chain_count++] = (uint32_t)thing;
    const qx_placed *placed = &w->layout->placed[thing];
    const size_t parents = w->protocol->unit[placed->unit].parent_count;
    for (size_t i = 0; i < parents; i++) {
        climb(w, placed->parent[i]);
    }
}

static bool is_lost(const work *w, size_t season)
{
    for (size_t i = 0; i < w->chain_count; i++) {
        if (w->lost_from[w->chain[i]] <= season) {
            return true;
        }
    }
    return false;
}

/* What chain and season add up to, before what is sampled. */
static double expected(const work *w, const draw *d, size_t season)
{
    const qx_layout *l = w->layout;
    double y = d->truth->mean + d->season[season];
    for (size_t i = 0; i < w->chain_count; i++) {
        const size_t a = w->chain[i];
        y += d->u[a] + d->u_season[a * w->seasons + season];
        for (size_t t = 0; t < l->treatment_count; t++) {
            const uint32_t level = l->level[a * l->treatment_count + t];
            y += level == QX_NO_LEVEL ? 0.0 : d->level[w->first_level[t] + level];
        }
    }
    return y;
}

/* As a person reads it off: inside the range, to the step. */
static double read_off(const draw *d, double y)
{
    const qx_variate *v = d->variate;
    const double step = d->truth->step;
    if (v->has_range) {
        y = fmin(fmax(y, v->low), v->high);
    }
    return step > 0.0 ? step * round(y / step) : y;
}

static void write_value(const work *w, draw *d, size_t season, bool sampled)
{
    double y = expected(w, d, season);
    if (sampled) {
        y += d->sd[d->variate->on] * qx_rng_normal(&d->rng);
    }
    const bool lost = qx_rng_uniform(&d->rng) < d->truth->lost;
    if (lost || is_lost(w, season)) {
        return;
    }
    char number[QX_NUMBER_ROOM];
    const int decimals = d->variate->decimals;
    y = read_off(d, y);
    qx_text_add(w->csv,
                decimals >= 0 ? qx_number_fixed(y, decimals, number)
                              : qx_number_exact(y, number));
}

/* Variates that the truths do not name are left empty. */
static draw *draw_of(const work *w, size_t v)
{
    for (size_t k = 0; k < w->simulation->truth_count; k++) {
        if (w->draw[k].variate == &w->protocol->variate[v]) {
            return &w->draw[k];
        }
    }
    return NULL;
}

static void write_units(const work *w, size_t unit, size_t season, size_t sample)
{
    const qx_protocol *p = w->protocol;
    for (size_t k = 0; k < p->unit_count; k++) {
        const size_t u = p->unit_order[k];
        qx_text_add(w->csv, k > 0 || p->seasons.level_count > 0 ? "," : "");
        for (size_t i = 0; i < w->chain_count; i++) {
            const qx_placed *placed = &w->layout->placed[w->chain[i]];
            if (placed->unit == u) {
                qx_text_csv(w->csv, placed->label);
            }
        }
        if (u == unit && sample > 0) { /* another season's sample is another thing */
            if (p->seasons.level_count > 0) {
                qx_text_printf(w->csv, "%s-", p->seasons.level[season]);
            }
            qx_text_printf(w->csv, "%zu", sample);
        }
    }
}

static void write_treatments(const work *w)
{
    const qx_layout *l = w->layout;
    for (size_t t = 0; t < l->treatment_count; t++) {
        qx_text_add(w->csv, ",");
        for (size_t i = 0; i < w->chain_count; i++) {
            const uint32_t level = l->level[w->chain[i] * l->treatment_count + t];
            if (level != QX_NO_LEVEL) {
                qx_text_csv(w->csv, w->protocol->treatment[t].level[level]);
            }
        }
    }
}

/* One row: `sample` counts from 1 for a sampled thing, 0 for a placed one. */
static void write_row(const work *w, size_t unit, size_t season, size_t sample)
{
    const qx_protocol *p = w->protocol;
    if (p->seasons.level_count > 0) {
        qx_text_csv(w->csv, p->seasons.level[season]);
    }
    write_units(w, unit, season, sample);
    write_treatments(w);
    for (size_t v = 0; v < p->variate_count; v++) {
        draw *d = draw_of(w, v);
        qx_text_add(w->csv, ",");
        if (d != NULL && p->variate[v].on == unit) {
            write_value(w, d, season, sample > 0);
        }
    }
    qx_text_add(w->csv, "\n");
}

static bool is_measured(const qx_protocol *p, size_t unit)
{
    for (size_t v = 0; v < p->variate_count; v++) {
        if (p->variate[v].on == unit) {
            return true;
        }
    }
    return false;
}

/* All rows of one unit in one season. A sampled unit stands inside its first parent. */
static qx_status write_unit(work *w, size_t unit, size_t season)
{
    const qx_unit *u = &w->protocol->unit[unit];
    const bool sampled = u->sample;
    if (sampled && (u->parent_count != 1 || w->protocol->unit[u->parent[0]].sample)) {
        return qx_fail(
            w->cx, QX_E_ARG, "%s is sampled, but not inside one placed unit", u->name);
    }
    const size_t placed = sampled ? u->parent[0] : unit;
    for (size_t i = 0; i < w->layout->placed_count; i++) {
        if (w->layout->placed[i].unit != placed) {
            continue;
        }
        w->chain_count = 0;
        climb(w, i);
        for (size_t s = 1; sampled && s <= w->simulation->samples; s++) {
            write_row(w, unit, season, s);
        }
        if (!sampled) {
            write_row(w, unit, season, 0);
        }
    }
    return QX_OK;
}

static void write_header(const work *w)
{
    const qx_protocol *p = w->protocol;
    if (p->seasons.level_count > 0) {
        qx_text_csv(w->csv, p->seasons.column);
    }
    for (size_t k = 0; k < p->unit_count; k++) {
        qx_text_add(w->csv, k > 0 || p->seasons.level_count > 0 ? "," : "");
        qx_text_csv(w->csv, p->unit[p->unit_order[k]].name);
    }
    for (size_t t = 0; t < p->treatment_count; t++) {
        qx_text_add(w->csv, ",");
        qx_text_csv(w->csv, p->treatment[t].name);
    }
    for (size_t v = 0; v < p->variate_count; v++) {
        qx_text_add(w->csv, ",");
        qx_text_csv(w->csv, p->variate[v].name);
    }
    qx_text_add(w->csv, "\n");
}

static qx_status simulate(work *w)
{
    const qx_protocol *p = w->protocol;
    QX_TRY(prepare(w));
    write_header(w);
    for (size_t season = 0; season < w->seasons; season++) {
        for (size_t k = 0; k < p->unit_count; k++) {
            if (is_measured(p, p->unit_order[k])) {
                QX_TRY(write_unit(w, p->unit_order[k], season));
            }
        }
    }
    return qx_text_failed(w->csv) ? qx_fail(w->cx, QX_E_NOMEM, "no memory for the data")
                                  : QX_OK;
}

qx_status qx_simulate_csv(qx_ctx *cx,
                          const qx_protocol *protocol,
                          const qx_layout *layout,
                          const qx_simulation *simulation,
                          qx_text *csv)
{
    work w = {.cx = cx,
              .protocol = protocol,
              .layout = layout,
              .simulation = simulation,
              .csv = csv};
    qx_status status;
    if (layout->treatment_count != protocol->treatment_count) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "the layout has %zu treatments, the protocol %zu",
                       layout->treatment_count,
                       protocol->treatment_count);
    }
    QX_SCRATCH(cx, status, simulate(&w));
    return status;
}
