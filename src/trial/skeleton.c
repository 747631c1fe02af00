#include "trial/skeleton.h"

#include <stdio.h>
#include <string.h>

#include "base/array.h"
#include "base/map.h"

#define ROWS_MOST   ((size_t)10000000)
#define ABSENT      UINT32_MAX
#define NUMBER_ROOM 24 /* bytes */

typedef struct building {
    qx_ctx *cx;
    qx_arena *arena; /* of the table */
    const qx_protocol *protocol;
    const qx_layout *layout;
    const qx_variate *variate;
    size_t samples;
    size_t base;     /* placed unit from which the rows start */
    size_t depth;    /* sampled units below it, down to the variate's own */
    size_t *sampled; /* depth: unit numbers, from above */
    size_t *each;    /* depth: things in each parent */
    size_t in_each;  /* rows in each thing of the base unit and season */
    size_t things;   /* of the base unit */
    uint32_t *thing; /* things: numbers in the layout */
    size_t seasons;  /* at least 1 */
    size_t rows;
    uint32_t *above;  /* things x unit_count: what stands above, or ABSENT */
    qx_array columns; /* qx_column */
    char *number;     /* NUMBER_ROOM: the label of a sampled unit, until the next one */
} building;

/* --- what there is --- */

static qx_status find_base(building *b)
{
    const qx_protocol *p = b->protocol;
    QX_NEW(b->cx, b->sampled, p->unit_count);
    QX_NEW(b->cx, b->each, p->unit_count);
    bool *placed;
    QX_NEW(b->cx, placed, p->unit_count);
    for (size_t i = 0; i < b->layout->placed_count; i++) {
        placed[b->layout->placed[i].unit] = true;
    }
    size_t unit = b->variate->on;
    for (; !placed[unit]; unit = p->unit[unit].parent[0]) {
        if (p->unit[unit].parent_count != 1 || b->depth == p->unit_count) {
            return qx_fail(b->cx,
                           QX_E_INPUT,
                           "%s is sampled inside nothing that the layout placed",
                           p->unit[unit].name);
        }
        b->sampled[b->depth++] = unit;
    }
    for (size_t i = 0; i < b->depth / 2; i++) {
        const size_t keep = b->sampled[i];
        b->sampled[i] = b->sampled[b->depth - 1 - i];
        b->sampled[b->depth - 1 - i] = keep;
    }
    b->base = unit;
    b->in_each = 1;
    for (size_t i = 0; i < b->depth; i++) {
        const size_t count = p->unit[b->sampled[i]].count;
        b->each[i] = count == QX_NONE ? b->samples : count;
        b->in_each *= b->each[i];
        if (b->in_each > ROWS_MOST) {
            return qx_fail(b->cx, QX_E_INPUT, "too many things to sample");
        }
    }
    return QX_OK;
}

/* Marks a thing and all above it in one row of `above`. */
static void
climb(const building *b, uint32_t thing, uint32_t above[]) /* NOLINT(misc-no-recursion) */
{
    const qx_placed *placed = &b->layout->placed[thing];
    above[placed->unit] = thing;
    for (size_t k = 0; k < b->protocol->unit[placed->unit].parent_count; k++) {
        climb(b, placed->parent[k], above);
    }
}

static qx_status list_things(building *b)
{
    const size_t units = b->protocol->unit_count;
    QX_NEW(b->cx, b->thing, b->layout->placed_count);
    for (size_t i = 0; i < b->layout->placed_count; i++) {
        if (b->layout->placed[i].unit == b->base) {
            b->thing[b->things++] = (uint32_t)i;
        }
    }
    QX_NEW(b->cx, b->above, b->things * units);
    for (size_t i = 0; i < b->things; i++) {
        for (size_t u = 0; u < units; u++) {
            b->above[i * units + u] = ABSENT;
        }
        climb(b, b->thing[i], &b->above[i * units]);
    }
    b->seasons =
        b->protocol->seasons.level_count > 0 ? b->protocol->seasons.level_count : 1;
    if (b->things > ROWS_MOST / b->seasons / b->in_each) {
        return qx_fail(b->cx, QX_E_INPUT, "the trial would have more than 10^7 rows");
    }
    b->rows = b->things * b->seasons * b->in_each;
    return QX_OK;
}

/* Row i: its season, base thing and number inside that thing. */
static size_t season_of(const building *b, size_t row)
{
    return row / (b->things * b->in_each);
}

static size_t thing_of(const building *b, size_t row)
{
    return row / b->in_each % b->things;
}

/* --- columns --- */

static qx_status
new_column(building *b, const char *name, qx_column_kind kind, qx_column **out)
{
    qx_column *column = qx_array_push(&b->columns);
    if (column == NULL) {
        return qx_fail(b->cx, QX_E_NOMEM, "no memory for the trial's rows");
    }
    *column = (qx_column){.kind = kind, .name = qx_arena_copy(b->arena, name)};
    *out = column;
    return column->name == NULL
               ? qx_fail(b->cx, QX_E_NOMEM, "no memory for the trial's rows")
               : QX_OK;
}

typedef const char *label_at(const building *b, size_t row, size_t which);

/* A label column from the text of each row; NULL stands for missing. */
static qx_status add_labels(building *b, const char *name, label_at *label, size_t which)
{
    qx_column *column = NULL;
    uint32_t *code;
    const char **level;
    qx_map *seen = qx_map_new(b->arena);
    QX_TRY(new_column(b, name, QX_COLUMN_LABEL, &column));
    QX_NEW_IN(b->cx, b->arena, code, b->rows);
    for (size_t i = 0; seen != NULL && i < b->rows; i++) {
        const char *text = label(b, i, which);
        const size_t at =
            text == NULL ? QX_MISSING_CODE : qx_map_add(seen, text, strlen(text));
        if (at == QX_MAP_NONE) {
            seen = NULL;
            break;
        }
        code[i] = (uint32_t)at;
    }
    if (seen == NULL) {
        return qx_fail(b->cx, QX_E_NOMEM, "no memory for the trial's rows");
    }
    column->level_count = qx_map_count(seen);
    QX_NEW_IN(b->cx, b->arena, level, column->level_count);
    for (size_t k = 0; k < column->level_count; k++) {
        level[k] = qx_map_key(seen, k);
    }
    column->level = level;
    column->code = code;
    return QX_OK;
}

static const char *placed_label(const building *b, size_t row, size_t unit)
{
    const uint32_t thing = b->above[thing_of(b, row) * b->protocol->unit_count + unit];
    return thing == ABSENT ? NULL : b->layout->placed[thing].label;
}

/* What is sampled in another season is another thing. */
static const char *sampled_label(const building *b, size_t row, size_t depth)
{
    size_t number = row % b->in_each;
    for (size_t i = b->depth; i-- > depth + 1;) {
        number /= b->each[i];
    }
    number = season_of(b, row) * b->each[depth] + number % b->each[depth];
    (void)snprintf(b->number, NUMBER_ROOM, "%zu", number + 1);
    return b->number;
}

static const char *season_label(const building *b, size_t row, size_t which)
{
    (void)which;
    return b->protocol->seasons.level[season_of(b, row)];
}

static const char *treatment_label(const building *b, size_t row, size_t t)
{
    const qx_treatment *treatment = &b->protocol->treatment[t];
    const uint32_t thing =
        b->above[thing_of(b, row) * b->protocol->unit_count + treatment->on];
    if (thing == ABSENT) {
        return NULL;
    }
    const uint32_t level = b->layout->level[thing * b->layout->treatment_count + t];
    return level == QX_NO_LEVEL ? NULL : treatment->level[level];
}

static qx_status add_number(building *b, const char *name, const double value[])
{
    qx_column *column = NULL;
    qx_decimal *exact;
    QX_TRY(new_column(b, name, QX_COLUMN_NUMBER, &column));
    QX_NEW_IN(b->cx, b->arena, exact, b->rows);
    for (size_t i = 0; i < b->rows; i++) {
        exact[i].scale = QX_DECIMAL_INEXACT; /* nobody typed it */
    }
    column->value = value;
    column->exact = exact;
    return QX_OK;
}

static bool is_treatment(const qx_protocol *p, const char *name)
{
    return qx_protocol_find_treatment(p, name) != QX_NONE;
}

/* A unit's own column, or those that tell it together (treatments have theirs). */
static qx_status add_unit(building *b, size_t u, label_at *label, size_t which)
{
    const qx_unit *unit = &b->protocol->unit[u];
    if (unit->column_count == 0) {
        return add_labels(b, unit->name, label, which);
    }
    for (size_t k = 0; k < unit->column_count; k++) {
        if (!is_treatment(b->protocol, unit->column[k])) {
            QX_TRY(add_labels(b, unit->column[k], label, which));
        }
    }
    return QX_OK;
}

static qx_status add_units(building *b)
{
    const qx_protocol *p = b->protocol;
    for (size_t u = 0; u < p->unit_count; u++) {
        if (qx_unit_reaches(p, u, b->base)) {
            QX_TRY(add_unit(b, u, placed_label, u));
        }
    }
    for (size_t i = 0; i < b->depth; i++) {
        QX_TRY(add_unit(b, b->sampled[i], sampled_label, i));
    }
    return QX_OK;
}

/* Values without a pattern that a treatment could share: multiples of the golden section,
 * one for each thing of the covariate's unit. */
static qx_status add_covariate(building *b, const qx_covariate *covariate)
{
    double *value;
    QX_NEW_IN(b->cx, b->arena, value, b->rows);
    for (size_t i = 0; i < b->rows; i++) {
        const uint32_t thing =
            b->above[thing_of(b, i) * b->protocol->unit_count + covariate->on];
        const double k =
            0.6180339887498949 * (double)(thing == ABSENT ? i : (size_t)thing + 1);
        value[i] = k - (double)(size_t)k;
    }
    return add_number(b, covariate->name, value);
}

static qx_status add_measured(building *b)
{
    const qx_variate *v = b->variate;
    double *value;
    if (v->kind == QX_ORDINAL || v->kind == QX_NOMINAL) {
        return QX_OK; /* classes stand in no number column */
    }
    QX_NEW_IN(b->cx, b->arena, value, b->rows);
    QX_TRY(add_number(b, v->name, value));
    if (v->kind == QX_PROPORTION && *v->of != '\0') {
        double *of;
        QX_NEW_IN(b->cx, b->arena, of, b->rows);
        for (size_t i = 0; i < b->rows; i++) {
            of[i] = 1.0;
        }
        return add_number(b, v->of, of);
    }
    return QX_OK;
}

static qx_status add_columns(building *b)
{
    const qx_protocol *p = b->protocol;
    if (p->seasons.level_count > 0) {
        QX_TRY(add_labels(b, p->seasons.column, season_label, 0));
    }
    QX_TRY(add_units(b));
    for (size_t t = 0; t < p->treatment_count; t++) {
        if (qx_unit_reaches(p, p->treatment[t].on, b->variate->on)) {
            QX_TRY(add_labels(b, p->treatment[t].name, treatment_label, t));
        }
    }
    for (size_t k = 0; k < p->covariate_count; k++) {
        if (qx_unit_reaches(p, p->covariate[k].on, b->variate->on)) {
            QX_TRY(add_covariate(b, &p->covariate[k]));
        }
    }
    return add_measured(b);
}

static qx_status build(building *b, qx_table *table)
{
    QX_TRY(find_base(b));
    QX_TRY(list_things(b));
    QX_TRY(add_columns(b));
    table->file = "the planned trial";
    table->rows = b->rows;
    table->column = b->columns.items;
    table->column_count = b->columns.count;
    return QX_OK;
}

qx_status qx_skeleton_make(qx_ctx *cx,
                           const qx_protocol *protocol,
                           const qx_layout *layout,
                           size_t variate,
                           size_t samples,
                           qx_table **out)
{
    if (samples == 0 || variate >= protocol->variate_count) {
        return qx_fail(cx, QX_E_ARG, "at least one thing is sampled in each parent");
    }
    qx_arena *arena = qx_arena_new();
    qx_table *table = arena == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *table);
    if (table == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for the trial's rows");
    }
    table->arena = arena;
    char number[NUMBER_ROOM];
    building b = {.cx = cx,
                  .arena = arena,
                  .protocol = protocol,
                  .layout = layout,
                  .variate = &protocol->variate[variate],
                  .samples = samples,
                  .columns = QX_ARRAY(arena, sizeof(qx_column)),
                  .number = number};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, build(&b, table));
    if (status != QX_OK) {
        qx_table_free(table);
        return status;
    }
    *out = table;
    return QX_OK;
}
