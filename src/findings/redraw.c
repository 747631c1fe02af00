#include "findings/redraw.h"

#include <math.h>
#include <string.h>

#include "findings/truth_draw.h"
#include "trial/check.h"

/* Trials are told apart by their seeds: jumping to a late stream would cost more than the
 * trial. Odd, so that no two trials share one. */
#define TRIAL_STEP UINT64_C(0x9e3779b97f4a7c15)

/* Units that vary: a frame factor and its standard deviation. */
typedef struct part {
    const uint32_t *code;
    size_t count;
    double sd;
} part;

struct qx_redraw {
    qx_truth_draw truth;
    size_t n;
    const double **base; /* n */
    double *fixed;       /* shifts x n */
    double *size;        /* n */
    size_t part_count;
    part *part;
};

/* A truth that gives every variate's rows a value that can be recorded. */
static qx_truth plain_truth(const qx_variate *v, const double share[])
{
    return (qx_truth){.variate = v->name, .share = share};
}

static qx_status write_rows(qx_ctx *cx,
                            const qx_protocol *protocol,
                            const qx_layout *layout,
                            const qx_variate *v,
                            size_t samples,
                            qx_text *csv)
{
    double *share;
    QX_NEW(cx, share, v->level_count + 1);
    share[0] = 1.0;
    const qx_truth truth = plain_truth(v, share);
    const qx_simulation s = {
        .seed = 1, .samples = samples, .truth_count = 1, .truth = &truth};
    return qx_simulate_csv(cx, protocol, layout, &s, csv);
}

/* Its table must outlive the frame's labels: it is tied to the arena. */
static void free_table(void *table)
{
    qx_table_free(table);
}

static qx_status read_rows(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_protocol *protocol,
                           const char *csv,
                           size_t variate,
                           qx_variate_frame *out)
{
    qx_problems *problems = qx_problems_new(arena);
    qx_table *table = NULL;
    bool *bad = NULL;
    if (problems == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a layout's rows");
    }
    QX_TRY(qx_data_parse(
        cx, protocol, "layout", csv, strlen(csv), false, problems, &table, &bad));
    if (qx_arena_defer(arena, free_table, table) != QX_OK) {
        qx_table_free(table);
        return qx_fail(cx, QX_E_NOMEM, "no memory for a layout's rows");
    }
    return qx_frame_of(cx, arena, protocol, table, variate, out);
}

/* The protocol without ranges, since the values here are of no account, and without what is
 * known only when the trial runs: dates, and where in the field things stand. */
static qx_status
as_planned(qx_ctx *cx, qx_arena *arena, const qx_protocol *protocol, qx_protocol *out)
{
    qx_variate *variate;
    qx_unit *unit;
    QX_NEW_IN(cx, arena, variate, protocol->variate_count);
    QX_NEW_IN(cx, arena, unit, protocol->unit_count);
    for (size_t u = 0; u < protocol->unit_count; u++) {
        unit[u] = protocol->unit[u];
        unit[u].row_column = unit[u].place_column = NULL;
    }
    for (size_t v = 0; v < protocol->variate_count; v++) {
        variate[v] = protocol->variate[v];
        variate[v].has_range = false;
        variate[v].transform = QX_TRANSFORM_NONE;
        variate[v].dates = NULL;
    }
    *out = *protocol;
    out->variate = variate;
    out->unit = unit;
    return QX_OK;
}

qx_status qx_redraw_frame(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_protocol *protocol,
                          const qx_layout *layout,
                          size_t variate,
                          size_t samples,
                          qx_variate_frame *out)
{
    qx_text *csv = qx_text_new(arena);
    qx_protocol plain;
    qx_status status;
    if (csv == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a layout's rows");
    }
    QX_TRY(as_planned(cx, arena, protocol, &plain));
    QX_SCRATCH(cx,
               status,
               write_rows(cx, &plain, layout, &plain.variate[variate], samples, csv));
    QX_TRY(status);
    return read_rows(cx, arena, &plain, qx_text_get(csv), variate, out);
}

/* The protocol's number of a level that the frame calls by name. */
static size_t
level_number(const qx_factor *f, uint32_t code, size_t count, const char *const level[])
{
    for (size_t l = 0; l < count; l++) {
        if (strcmp(level[l], f->level[code]) == 0) {
            return l;
        }
    }
    return QX_NONE;
}

static void add(double shift[], const double effect[], size_t shifts)
{
    for (size_t k = 0; k < shifts; k++) {
        shift[k] += effect[k];
    }
}

/* Base and fixed shifts of one row. */
static qx_status place_row(qx_ctx *cx,
                           qx_redraw *r,
                           const qx_protocol *p,
                           const qx_variate_frame *data,
                           size_t i,
                           size_t level[])
{
    const qx_truth_draw *d = &r->truth;
    double *shift = &r->fixed[i * d->shifts];
    size_t season = 0;
    if (data->season != QX_NO_COLUMN) {
        const qx_factor *f = &data->frame.factor[data->season];
        season = level_number(f, f->code[i], p->seasons.level_count, p->seasons.level);
        add(shift, &d->season[season * d->shifts], d->shifts);
    }
    for (size_t t = 0; t < p->treatment_count; t++) {
        level[t] = QX_NONE;
        if (data->treatment[t] == QX_NO_COLUMN) {
            continue;
        }
        const qx_factor *f = &data->frame.factor[data->treatment[t]];
        level[t] = level_number(
            f, f->code[i], p->treatment[t].level_count, p->treatment[t].level);
        add(shift, &d->level[(d->first[t] + level[t]) * d->shifts], d->shifts);
    }
    r->base[i] = qx_truth_draw_base(d, p->treatment_count, level, season);
    if (r->base[i] == NULL) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "no assumed mean of %s fits row %zu",
                       d->variate->name,
                       data->row[i]);
    }
    return QX_OK;
}

/* Has the unit an entry of its own for what a season adds to it? */
static bool has_twin(const qx_variate_frame *data, size_t unit)
{
    for (size_t k = 0; k < data->unit_count; k++) {
        if (data->unit[k].unit == unit && data->unit[k].by_season) {
            return true;
        }
    }
    return false;
}

static double
sd_of(const qx_redraw *r, const qx_protocol *p, const qx_variate_frame *data, size_t k)
{
    const qx_frame_unit *u = &data->unit[k];
    const double sd = r->truth.sd[u->unit], season = r->truth.sd_season[u->unit];
    if (u->by_season) {
        return season;
    }
    return has_twin(data, u->unit) || p->unit[u->unit].sample
               ? sd
               : sqrt(sd * sd + season * season);
}

static qx_status make_parts(qx_ctx *cx,
                            qx_arena *arena,
                            qx_redraw *r,
                            const qx_protocol *p,
                            const qx_variate_frame *data)
{
    QX_NEW_IN(cx, arena, r->part, data->unit_count);
    for (size_t k = 0; k < data->unit_count; k++) {
        const double sd = sd_of(r, p, data, k);
        if (sd > 0.0) {
            r->part[r->part_count++] = (part){
                data->frame.factor[data->unit[k].factor].code, data->unit[k].count, sd};
        }
    }
    return QX_OK;
}

qx_status qx_redraw_new(qx_ctx *cx,
                        qx_arena *arena,
                        const qx_protocol *protocol,
                        size_t variate,
                        const qx_variate_frame *data,
                        const qx_truth *truth,
                        const qx_redraw **out)
{
    qx_redraw *r;
    size_t *level;
    QX_NEW_IN(cx, arena, r, 1);
    QX_NEW_IN(cx, arena, level, protocol->treatment_count);
    QX_TRY(qx_truth_draw_make(cx, arena, protocol, truth, &r->truth));
    if (r->truth.variate != &protocol->variate[variate]) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "the truth is about %s, the frame about %s",
                       truth->variate,
                       protocol->variate[variate].name);
    }
    r->n = data->n;
    QX_NEW_IN(cx, arena, r->base, r->n);
    QX_NEW_IN(cx, arena, r->size, r->n);
    QX_NEW_IN(cx, arena, r->fixed, r->n * r->truth.shifts);
    for (size_t i = 0; i < r->n; i++) {
        r->size[i] = truth->size > 0.0    ? truth->size
                     : data->size != NULL ? data->size[i]
                                          : 1.0;
        QX_TRY(place_row(cx, r, protocol, data, i, level));
    }
    QX_TRY(make_parts(cx, arena, r, protocol, data));
    *out = r;
    return QX_OK;
}

const double *qx_redraw_size(const qx_redraw *redraw)
{
    return redraw->truth.variate->kind == QX_PROPORTION ? redraw->size : NULL;
}

/* Adds one effect a unit and shift to every row in it. */
static qx_status
add_part(qx_ctx *cx, const qx_redraw *r, const part *p, qx_rng *rng, double shift[])
{
    const size_t shifts = r->truth.shifts;
    double *u;
    QX_NEW(cx, u, p->count * shifts);
    for (size_t k = 0; k < p->count * shifts; k++) {
        u[k] = p->sd * qx_rng_normal(rng);
    }
    for (size_t i = 0; i < r->n; i++) {
        add(&shift[i * shifts], &u[p->code[i] * shifts], shifts);
    }
    return QX_OK;
}

static qx_status
values(qx_ctx *cx, const qx_redraw *r, uint64_t seed, size_t trial, double y[])
{
    const size_t shifts = r->truth.shifts;
    qx_rng rng = qx_rng_seeded(seed + TRIAL_STEP * ((uint64_t)trial + 1));
    double *shift;
    QX_NEW(cx, shift, r->n * shifts);
    memcpy(shift, r->fixed, r->n * shifts * sizeof *shift);
    for (size_t k = 0; k < r->part_count; k++) {
        QX_TRY(add_part(cx, r, &r->part[k], &rng, shift));
    }
    for (size_t i = 0; i < r->n; i++) {
        y[i] = qx_truth_draw_value(
            &r->truth, &rng, r->base[i], &shift[i * shifts], r->size[i]);
    }
    return QX_OK;
}

qx_status qx_redraw_values(
    qx_ctx *cx, const qx_redraw *redraw, uint64_t seed, size_t trial, double y[])
{
    qx_status status;
    QX_SCRATCH(cx, status, values(cx, redraw, seed, trial, y));
    return status;
}
