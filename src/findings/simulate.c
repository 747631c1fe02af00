#include "findings/simulate.h"

#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "findings/truth_draw.h"
#include "numeric/rng.h"

#define NEVER ((size_t)-1)

/* One variate's truth and its draws. */
typedef struct draw {
    qx_truth_draw truth;
    qx_rng rng;
    double *u;        /* shifts x placed_count */
    double *u_season; /* shifts x season_count x placed_count */
    double *shift;    /* shifts: of the thing at hand */
} draw;

typedef struct work {
    qx_ctx *cx;
    const qx_protocol *protocol;
    const qx_layout *layout;
    const qx_simulation *simulation;
    qx_text *csv;
    size_t seasons;    /* at least 1 */
    size_t *levels;    /* treatment_count: of the thing at hand, QX_NONE: not given */
    size_t *lost_from; /* placed_count: season, or NEVER */
    draw *draw;        /* truth_count */
    qx_rng *covariate; /* covariate_count: of those that sampled things have */
    double *stands_in; /* covariate_count x placed_count: of placed things */
    uint32_t *chain;   /* placed_count: a thing and everything above it */
    size_t chain_count;
} work;

/* One normal a thing, and one a thing and season, whether its spread is 0 or not: so that
 * another spread moves nothing but its own part. Classes have as many as they have shifts. */
static void draw_things(const work *w, draw *d)
{
    const size_t shifts = d->truth.shifts;
    for (size_t i = 0; i < w->layout->placed_count; i++) {
        const size_t unit = w->layout->placed[i].unit;
        for (size_t k = 0; k < shifts; k++) {
            d->u[i * shifts + k] = d->truth.sd[unit] * qx_rng_normal(&d->rng);
        }
        for (size_t s = 0; s < w->seasons * shifts; s++) {
            d->u_season[i * w->seasons * shifts + s] =
                d->truth.sd_season[unit] * qx_rng_normal(&d->rng);
        }
    }
}

static qx_status prepare_draw(work *w, size_t k)
{
    draw *d = &w->draw[k];
    QX_TRY(qx_truth_draw_make(
        w->cx, qx_ctx_scratch(w->cx), w->protocol, &w->simulation->truth[k], &d->truth));
    d->rng = qx_rng_stream(w->simulation->seed, k);
    QX_NEW(w->cx, d->u, w->layout->placed_count * d->truth.shifts);
    QX_NEW(w->cx, d->u_season, w->layout->placed_count * w->seasons * d->truth.shifts);
    QX_NEW(w->cx, d->shift, d->truth.shifts);
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

/* A truth says nothing of covariates: they stand in as numbers between 0 and 1 by chance, so
 * that they cost what a covariate costs and explain nothing. */
static qx_status draw_covariates(work *w)
{
    const qx_protocol *p = w->protocol;
    const size_t placed = w->layout->placed_count;
    const size_t before = w->simulation->truth_count + w->simulation->loss_count;
    QX_NEW(w->cx, w->covariate, p->covariate_count);
    QX_NEW(w->cx, w->stands_in, p->covariate_count * placed);
    for (size_t c = 0; c < p->covariate_count; c++) {
        w->covariate[c] = qx_rng_stream(w->simulation->seed, before + c);
        for (size_t i = 0; i < placed; i++) {
            w->stands_in[c * placed + i] = qx_rng_uniform(&w->covariate[c]);
        }
    }
    return QX_OK;
}

static qx_status prepare(work *w)
{
    const qx_protocol *p = w->protocol;
    w->seasons = p->seasons.level_count > 0 ? p->seasons.level_count : 1;
    QX_NEW(w->cx, w->levels, p->treatment_count);
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
    return draw_covariates(w);
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

/* What chain and season add up to, before what is sampled; the levels of the thing. */
static void add_up(const work *w, const draw *d, size_t season)
{
    const qx_layout *l = w->layout;
    const size_t shifts = d->truth.shifts;
    for (size_t t = 0; t < l->treatment_count; t++) {
        w->levels[t] = QX_NONE;
    }
    memcpy(d->shift, &d->truth.season[season * shifts], shifts * sizeof *d->shift);
    for (size_t i = 0; i < w->chain_count; i++) {
        const size_t a = w->chain[i];
        for (size_t k = 0; k < shifts; k++) {
            d->shift[k] += d->u[a * shifts + k] +
                           d->u_season[(a * w->seasons + season) * shifts + k];
        }
        for (size_t t = 0; t < l->treatment_count; t++) {
            const uint32_t level = l->level[a * l->treatment_count + t];
            if (level == QX_NO_LEVEL) {
                continue;
            }
            w->levels[t] = level;
            const double *effect = &d->truth.level[(d->truth.first[t] + level) * shifts];
            for (size_t k = 0; k < shifts; k++) {
                d->shift[k] += effect[k];
            }
        }
    }
}

static double size_of(const draw *d)
{
    return d->truth.truth->size > 0.0 ? d->truth.truth->size : 1.0;
}

/* The value of a thing; *lost when it has none. */
static qx_status
draw_value(const work *w, draw *d, size_t season, bool sampled, double *value, bool *lost)
{
    add_up(w, d, season);
    const double *base =
        qx_truth_draw_base(&d->truth, w->layout->treatment_count, w->levels, season);
    if (base == NULL) {
        return qx_fail(w->cx,
                       QX_E_ARG,
                       "no assumed mean of %s fits some of the things in the layout",
                       d->truth.variate->name);
    }
    for (size_t k = 0; sampled && k < d->truth.shifts; k++) {
        d->shift[k] += d->truth.sd[d->truth.variate->on] * qx_rng_normal(&d->rng);
    }
    *value = qx_truth_draw_value(&d->truth, &d->rng, base, d->shift, size_of(d));
    *lost = qx_rng_uniform(&d->rng) < d->truth.truth->lost || is_lost(w, season);
    return QX_OK;
}

static void write_number(const work *w, const draw *d, double value)
{
    char number[QX_NUMBER_ROOM];
    const qx_variate *v = d->truth.variate;
    if (qx_variate_has_classes(v)) {
        qx_text_csv(w->csv, v->level[(size_t)value]);
        return;
    }
    if (v->kind == QX_CONTINUOUS) {
        value = qx_truth_draw_read_off(&d->truth, value);
    }
    qx_text_add(w->csv,
                v->decimals >= 0 ? qx_number_fixed(value, v->decimals, number)
                                 : qx_number_exact(value, number));
}

/* Is this the first variate that is a share of its column? */
static bool first_of(const qx_protocol *p, size_t v)
{
    for (size_t i = 0; i < v; i++) {
        if (strcmp(p->variate[i].of, p->variate[v].of) == 0) {
            return false;
        }
    }
    return p->variate[v].of[0] != '\0';
}

/* Variates that the truths do not name are left empty. */
static draw *draw_of(const work *w, size_t v)
{
    for (size_t k = 0; k < w->simulation->truth_count; k++) {
        if (w->draw[k].truth.variate == &w->protocol->variate[v]) {
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

static void write_covariates(const work *w, size_t unit, bool sampled)
{
    char number[QX_NUMBER_ROOM];
    for (size_t c = 0; c < w->protocol->covariate_count; c++) {
        const size_t on = w->protocol->covariate[c].on;
        double value =
            sampled && on == unit ? qx_rng_uniform(&w->covariate[c]) : (double)NAN;
        for (size_t i = 0; i < w->chain_count; i++) {
            if (w->layout->placed[w->chain[i]].unit == on) {
                value = w->stands_in[c * w->layout->placed_count + w->chain[i]];
            }
        }
        qx_text_add(w->csv, ",");
        qx_text_add(w->csv, isnan(value) ? "" : qx_number_fixed(value, 6, number));
    }
}

/* The value of variate v, and of how many it is a share. */
static qx_status
write_variate(const work *w, size_t v, size_t unit, size_t season, bool sampled)
{
    char number[QX_NUMBER_ROOM];
    draw *d = draw_of(w, v);
    double value = 0.0;
    bool lost = true;
    const bool looked_at = d != NULL && w->protocol->variate[v].on == unit;
    qx_text_add(w->csv, ",");
    if (looked_at) {
        QX_TRY(draw_value(w, d, season, sampled, &value, &lost));
    }
    if (!lost) {
        write_number(w, d, value);
    }
    if (first_of(w->protocol, v)) {
        qx_text_add(w->csv, ",");
        qx_text_add(w->csv, looked_at ? qx_number_exact(size_of(d), number) : "");
    }
    return QX_OK;
}

/* One row: `sample` counts from 1 for a sampled thing, 0 for a placed one. */
static qx_status write_row(const work *w, size_t unit, size_t season, size_t sample)
{
    const qx_protocol *p = w->protocol;
    if (p->seasons.level_count > 0) {
        qx_text_csv(w->csv, p->seasons.level[season]);
    }
    write_units(w, unit, season, sample);
    write_treatments(w);
    write_covariates(w, unit, sample > 0);
    for (size_t v = 0; v < p->variate_count; v++) {
        QX_TRY(write_variate(w, v, unit, season, sample > 0));
    }
    qx_text_add(w->csv, "\n");
    return QX_OK;
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
            QX_TRY(write_row(w, unit, season, s));
        }
        if (!sampled) {
            QX_TRY(write_row(w, unit, season, 0));
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
    for (size_t c = 0; c < p->covariate_count; c++) {
        qx_text_add(w->csv, ",");
        qx_text_csv(w->csv, p->covariate[c].name);
    }
    for (size_t v = 0; v < p->variate_count; v++) {
        qx_text_add(w->csv, ",");
        qx_text_csv(w->csv, p->variate[v].name);
        if (first_of(p, v)) {
            qx_text_add(w->csv, ",");
            qx_text_csv(w->csv, p->variate[v].of);
        }
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
