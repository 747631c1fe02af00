#include "report/blank_sheet.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "layout/position.h"
#include "trial/structure.h"

typedef struct stop {
    double row, place;
    size_t thing; /* number in the layout */
} stop;

typedef struct sheet {
    qx_ctx *cx;
    const qx_protocol *p;
    const qx_layout *layout;
    size_t unit;   /* measured */
    size_t placed; /* the unit itself, or the one above that is placed */
    size_t season;
    qx_text *out;
    size_t column_count;
    const char **column; /* to be filled in */
    bool first;          /* of the line that is being written */
} sheet;

bool qx_sheet_wanted(const qx_protocol *p, size_t unit)
{
    for (size_t v = 0; v < p->variate_count; v++) {
        if (p->variate[v].on == unit) {
            return true;
        }
    }
    for (size_t c = 0; c < p->covariate_count; c++) {
        if (p->covariate[c].on == unit) {
            return true;
        }
    }
    return false;
}

/* --- columns --- */

static void field(sheet *s, const char *text)
{
    if (!s->first) {
        qx_text_add(s->out, ",");
    }
    s->first = false;
    qx_text_csv(s->out, text);
}

static void end_line(sheet *s)
{
    qx_text_add(s->out, "\r\n");
    s->first = true;
}

static void want(sheet *s, const char *name)
{
    for (size_t i = 0; i < s->column_count; i++) {
        if (strcmp(s->column[i], name) == 0) {
            return;
        }
    }
    if (name[0] != '\0') {
        s->column[s->column_count++] = name;
    }
}

static qx_status list_columns(sheet *s)
{
    QX_NEW(s->cx, s->column, s->p->covariate_count + 4 * s->p->variate_count);
    for (size_t v = 0; v < s->p->variate_count; v++) {
        if (s->p->variate[v].on == s->unit && s->p->variate[v].dates != NULL) {
            want(s, s->p->variate[v].dates);
        }
    }
    for (size_t c = 0; c < s->p->covariate_count; c++) {
        if (s->p->covariate[c].on == s->unit) {
            want(s, s->p->covariate[c].name);
        }
    }
    for (size_t v = 0; v < s->p->variate_count; v++) {
        const qx_variate *variate = &s->p->variate[v];
        if (variate->on == s->unit) {
            want(s, variate->name);
            want(s, variate->of);
            want(s, variate->times);
        }
    }
    return QX_OK;
}

static bool above(const sheet *s, size_t unit, size_t below)
{
    return qx_unit_reaches(s->p, unit, below);
}

static qx_status head(sheet *s)
{
    if (s->season != QX_NONE) {
        field(s, s->p->seasons.column);
    }
    for (size_t i = 0; i < s->p->unit_count; i++) {
        const qx_unit *unit = &s->p->unit[s->p->unit_order[i]];
        if (!above(s, s->p->unit_order[i], s->unit)) {
            continue;
        }
        if (unit->column_count > 0) {
            return qx_fail(s->cx,
                           QX_E_INPUT,
                           "%s is told by several columns, so that there is no sheet for "
                           "it; expected a unit with labels of its own",
                           unit->name);
        }
        field(s, unit->name);
    }
    for (size_t i = 0; i < s->column_count; i++) {
        field(s, s->column[i]);
    }
    end_line(s);
    return QX_OK;
}

/* --- which things, in which order --- */

/* The thing of `unit` at or above `thing`; QX_NONE: it stands below. */
static size_t thing_above(const sheet *s, size_t thing, size_t unit)
{
    while (s->layout->placed[thing].unit != unit) {
        const qx_placed *at = &s->layout->placed[thing];
        const qx_unit *about = &s->p->unit[at->unit];
        size_t next = QX_NONE;
        for (size_t k = 0; k < about->parent_count && next == QX_NONE; k++) {
            next = above(s, unit, about->parent[k]) ? at->parent[k] : QX_NONE;
        }
        if (next == QX_NONE) {
            return QX_NONE;
        }
        thing = next;
    }
    return thing;
}

/* Has everything that carries treatments above it got its level? */
static bool takes_part(const sheet *s, size_t thing)
{
    const size_t treatments = s->layout->treatment_count;
    for (size_t t = 0; t < treatments; t++) {
        const size_t on = thing_above(s, thing, s->p->treatment[t].on);
        if (on != QX_NONE && s->layout->level[on * treatments + t] == QX_NO_LEVEL) {
            return false;
        }
    }
    return true;
}

static bool is_guard(const sheet *s, const qx_position at[], size_t thing)
{
    for (size_t u = 0; u < s->p->unit_count; u++) {
        const size_t on = above(s, u, s->layout->placed[thing].unit)
                              ? thing_above(s, thing, u)
                              : QX_NONE;
        if (on != QX_NONE && at[on].guard) {
            return true;
        }
    }
    return false;
}

/* Where a real tree stands, if a list told it: the thing itself or what is above it. */
static const qx_stand *stand_of(const sheet *s, size_t thing)
{
    for (size_t u = 0; s->layout->stand != NULL && u < s->p->unit_count; u++) {
        const size_t on = above(s, u, s->layout->placed[thing].unit)
                              ? thing_above(s, thing, u)
                              : QX_NONE;
        if (on != QX_NONE && !isnan(s->layout->stand[on].row)) {
            return &s->layout->stand[on];
        }
    }
    return NULL;
}

static int compare_rows(const void *a, const void *b)
{
    const stop *x = a;
    const stop *y = b;
    if (x->row != y->row) {
        return x->row < y->row ? -1 : 1;
    }
    if (x->place != y->place) {
        return x->place < y->place ? -1 : 1;
    }
    return x->thing < y->thing ? -1 : x->thing > y->thing;
}

/* Every second row is walked back: its places are turned round, things at one place are not. */
static void walk(stop stops[], size_t count)
{
    double row = (double)NAN;
    size_t rows = 0;
    qsort(stops, count, sizeof *stops, compare_rows);
    for (size_t i = 0; i < count; i++) {
        rows += stops[i].row == row ? 0 : 1;
        row = stops[i].row;
        stops[i].place *= rows % 2 == 0 ? -1 : 1;
    }
    qsort(stops, count, sizeof *stops, compare_rows);
}

static qx_status list_stops(sheet *s, stop **out, size_t *count)
{
    qx_layout_spec spec = {0};
    qx_position *at = NULL;
    QX_NEW(s->cx, at, s->layout->placed_count);
    QX_NEW(s->cx, *out, s->layout->placed_count);
    QX_TRY(qx_structure_of(s->cx, qx_ctx_scratch(s->cx), s->p, &spec));
    QX_TRY(qx_positions_of(s->cx, &spec, s->layout, at));
    *count = 0;
    for (size_t i = 0; i < s->layout->placed_count; i++) {
        if (s->layout->placed[i].unit != s->placed || !takes_part(s, i) ||
            is_guard(s, at, i)) {
            continue;
        }
        const qx_stand *stand = stand_of(s, i);
        (*out)[(*count)++] = (stop){.row = stand == NULL ? at[i].row : stand->row,
                                    .place = stand == NULL ? at[i].place : stand->place,
                                    .thing = i};
    }
    walk(*out, *count);
    return QX_OK;
}

/* --- lines --- */

/* `sample`: number of a sampled thing, 0 where the thing itself is placed. */
static void add_line(sheet *s, size_t thing, size_t sample)
{
    char number[24];
    (void)snprintf(number, sizeof number, "%zu", sample);
    if (s->season != QX_NONE) {
        field(s, s->p->seasons.level[s->season]);
    }
    for (size_t i = 0; i < s->p->unit_count; i++) {
        const size_t unit = s->p->unit_order[i];
        if (!above(s, unit, s->unit)) {
            continue;
        }
        const size_t on = thing_above(s, thing, unit);
        field(s, on == QX_NONE ? number : s->layout->placed[on].label);
    }
    for (size_t i = 0; i < s->column_count; i++) {
        field(s, "");
    }
    end_line(s);
}

static qx_status write_sheet(sheet *s, size_t *rows)
{
    stop *stops = NULL;
    size_t count = 0;
    const size_t planned = s->p->planning.samples;
    const size_t samples = planned > 0 ? planned : QX_SHEET_SAMPLES;
    const bool sampled = s->placed != s->unit;
    QX_TRY(list_columns(s));
    QX_TRY(head(s));
    QX_TRY(list_stops(s, &stops, &count));
    for (size_t i = 0; i < count; i++) {
        for (size_t k = 1; k <= (sampled ? samples : 1); k++) {
            add_line(s, stops[i].thing, sampled ? k : 0);
        }
    }
    *rows = count * (sampled ? samples : 1);
    return QX_OK;
}

qx_status qx_blank_sheet(qx_ctx *cx,
                         const qx_protocol *protocol,
                         const qx_layout *layout,
                         size_t unit,
                         size_t season,
                         qx_text *out,
                         size_t *rows)
{
    sheet s = {.cx = cx,
               .p = protocol,
               .layout = layout,
               .unit = unit,
               .placed = unit,
               .season = season,
               .out = out,
               .first = true};
    if (unit >= protocol->unit_count ||
        (season != QX_NONE && season >= protocol->seasons.level_count)) {
        return qx_fail(cx, QX_E_ARG, "there is no such unit or season");
    }
    if (qx_unit_sampled(protocol, unit)) {
        const qx_unit *about = &protocol->unit[unit];
        s.placed = about->parent_count == 1 ? about->parent[0] : QX_NONE;
        if (s.placed == QX_NONE || qx_unit_sampled(protocol, s.placed)) {
            return qx_fail(cx,
                           QX_E_INPUT,
                           "%s is sampled in something that is not placed, so that there "
                           "is no sheet for it; expected rows written by hand",
                           about->name);
        }
    }
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, write_sheet(&s, rows));
    return status;
}
