/* store/observations_table.c - the newest values as a table, a row for each thing and
 * season, in the order in which they were first recorded. */
#include <math.h>
#include <string.h>

#include "base/array.h"
#include "base/map.h"
#include "store/observations.h"
#include "store/quantity.h"
#include "store/trial_file_inner.h"

/* A thing as the file holds it. */
typedef struct thing {
    int64_t id;
    const char *key, *parent_key;
    size_t unit;
    bool by_row; /* only its row tells it */
} thing;

/* One row of the table to come. */
typedef struct line {
    size_t thing;
    size_t season; /* level number, or QX_NONE */
} line;

typedef struct reading {
    qx_ctx *cx;
    qx_db *db;
    const qx_protocol *p;
    const qx_layout *layout;
    qx_arena *arena; /* of the table */
    qx_quantities quantities;
    qx_array things;     /* thing, by id */
    qx_map *keys;        /* key of a thing to its number */
    qx_map *ids;         /* id to number */
    uint32_t **place;    /* unit by thing: placed thing + 1, 0 where it is not placed */
    qx_map *label_names; /* columns of labels that the layout does not know */
    const char ***label; /* of each: by thing, NULL where there is none */
    qx_map *line_keys;   /* thing and season to row */
    qx_array lines;      /* line */
    qx_array values;     /* const char *: quantity_count for each row; NULL missing */
    qx_array columns;    /* qx_column */
} reading;

static qx_status no_memory(const reading *r)
{
    return qx_fail(r->cx, QX_E_NOMEM, "no memory to read %s", qx_db_path(r->db));
}

static qx_status damaged(const reading *r)
{
    return qx_fail(
        r->cx,
        QX_E_INPUT,
        "%s: the observations do not fit the protocol; the file was changed by "
        "hand or is damaged",
        qx_db_path(r->db));
}

static thing *thing_at(const reading *r, size_t i)
{
    return qx_array_at(&r->things, i);
}

static size_t thing_by_id(const reading *r, int64_t id)
{
    return qx_map_find(r->ids, (const char *)&id, sizeof id);
}

/* --- things --- */

static qx_status read_things(reading *r)
{
    static const char ask[] =
        "SELECT id, key, parent_key, unit, row_digest IS NOT NULL FROM thing ORDER BY id";
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    while (row) {
        thing *t = qx_array_push(&r->things);
        const char *key = qx_row_text(statement, 1, NULL);
        const char *parent = qx_row_text(statement, 2, NULL);
        const char *unit = qx_row_text(statement, 3, NULL);
        if (t == NULL || key == NULL || parent == NULL || unit == NULL) {
            return no_memory(r);
        }
        t->id = qx_row_whole(statement, 0);
        t->key = qx_arena_copy(scratch, key);
        t->parent_key = qx_arena_copy(scratch, parent);
        t->unit = qx_protocol_find_unit(r->p, unit);
        t->by_row = qx_row_whole(statement, 4) != 0;
        if (t->unit == QX_NONE) {
            return damaged(r);
        }
        if (t->key == NULL || t->parent_key == NULL ||
            qx_map_add(r->keys, t->key, strlen(t->key)) == QX_MAP_NONE ||
            qx_map_add(r->ids, (const char *)&t->id, sizeof t->id) == QX_MAP_NONE) {
            return no_memory(r);
        }
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    return QX_OK;
}

/* The placed thing and all that it stands in. Parents have smaller numbers. */
static void
mark_places(reading *r, size_t t, uint32_t placed) /* NOLINT(misc-no-recursion) */
{
    const qx_placed *at = &r->layout->placed[placed];
    r->place[at->unit][t] = placed + 1;
    for (size_t i = 0; i < r->p->unit[at->unit].parent_count; i++) {
        mark_places(r, t, at->parent[i]);
    }
}

static qx_status read_places(reading *r)
{
    static const char ask[] = "SELECT thing, placed FROM thing_place";
    qx_statement *statement = NULL;
    bool row = false;
    QX_NEW(r->cx, r->place, r->p->unit_count);
    for (size_t u = 0; u < r->p->unit_count; u++) {
        QX_NEW(r->cx, r->place[u], r->things.count);
    }
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    while (row) {
        const size_t t = thing_by_id(r, qx_row_whole(statement, 0));
        const int64_t placed = qx_row_whole(statement, 1);
        if (t == QX_MAP_NONE || placed < 0 || (size_t)placed >= r->layout->placed_count) {
            return damaged(r);
        }
        mark_places(r, t, (uint32_t)placed);
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    return QX_OK;
}

static qx_status read_label_names(reading *r)
{
    static const char ask[] = "SELECT DISTINCT column FROM thing_label ORDER BY column";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    while (row) {
        size_t length = 0;
        const char *name = qx_row_text(statement, 0, &length);
        if (name == NULL || qx_map_add(r->label_names, name, length) == QX_MAP_NONE) {
            return no_memory(r);
        }
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    const size_t count = qx_map_count(r->label_names);
    QX_NEW(r->cx, r->label, count);
    for (size_t i = 0; i < count; i++) {
        QX_NEW(r->cx, r->label[i], r->things.count);
    }
    return QX_OK;
}

static qx_status read_labels(reading *r)
{
    static const char ask[] = "SELECT thing, column, label FROM thing_label";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(read_label_names(r));
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    while (row) {
        size_t length = 0;
        const size_t t = thing_by_id(r, qx_row_whole(statement, 0));
        const char *name = qx_row_text(statement, 1, &length);
        const char *label = qx_row_text(statement, 2, NULL);
        if (t == QX_MAP_NONE || name == NULL || label == NULL) {
            return damaged(r);
        }
        const size_t column = qx_map_find(r->label_names, name, length);
        r->label[column][t] = qx_arena_copy(r->arena, label);
        if (r->label[column][t] == NULL) {
            return no_memory(r);
        }
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    return QX_OK;
}

/* --- values --- */

static size_t season_level(const reading *r, const char *season)
{
    const qx_seasons *seasons = &r->p->seasons;
    return season[0] == '\0'
               ? QX_NONE
               : qx_level_find(
                     seasons->level_count, seasons->level, season, strlen(season));
}

/* Row of the thing and season, made if new; QX_NONE: no memory. */
static size_t line_of(reading *r, line wanted)
{
    const size_t before = qx_map_count(r->line_keys);
    const size_t at = qx_map_add(r->line_keys, (const char *)&wanted, sizeof wanted);
    if (at == QX_MAP_NONE || at < before) {
        return at == QX_MAP_NONE ? QX_NONE : at;
    }
    line *made = qx_array_push(&r->lines);
    if (made == NULL) {
        return QX_NONE;
    }
    *made = wanted;
    for (size_t q = 0; q < r->quantities.count; q++) {
        if (qx_array_push(&r->values) == NULL) {
            return QX_NONE;
        }
    }
    return at;
}

static size_t quantity_of(const reading *r, const char *name, size_t unit)
{
    for (size_t q = 0; q < r->quantities.count; q++) {
        const qx_quantity *quantity = &r->quantities.quantity[q];
        if (quantity->on == unit && strcmp(quantity->name, name) == 0) {
            return q;
        }
    }
    return QX_NONE;
}

static qx_status read_value(reading *r, qx_statement *statement)
{
    const size_t t = thing_by_id(r, qx_row_whole(statement, 0));
    const char *season = qx_row_text(statement, 1, NULL);
    const char *name = qx_row_text(statement, 2, NULL);
    const char *value = qx_row_text(statement, 3, NULL);
    if (t == QX_MAP_NONE || season == NULL || name == NULL) {
        return damaged(r);
    }
    const line wanted = {.thing = t, .season = season_level(r, season)};
    const size_t q = quantity_of(r, name, thing_at(r, t)->unit);
    if (q == QX_NONE || (season[0] != '\0' && wanted.season == QX_NONE)) {
        return damaged(r);
    }
    const size_t at = line_of(r, wanted);
    if (at == QX_NONE) {
        return no_memory(r);
    }
    const char **cell = qx_array_at(&r->values, at * r->quantities.count + q);
    *cell = value == NULL ? NULL : qx_arena_copy(qx_ctx_scratch(r->cx), value);
    return value != NULL && *cell == NULL ? no_memory(r) : QX_OK;
}

/* In the order of recording: a later revision replaces the value of an earlier one. */
static qx_status read_values(reading *r)
{
    static const char ask[] =
        "SELECT thing, season, quantity, value FROM observation ORDER BY id";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    while (row) {
        QX_TRY(read_value(r, statement));
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    return QX_OK;
}

static const char *value_at(const reading *r, size_t at, size_t q)
{
    const char *const *cell = qx_array_at(&r->values, at * r->quantities.count + q);
    return *cell;
}

/* --- a covariate inside the thing that it was measured on --- */

/* The thing of `unit` that stands above thing `t` (or is it); QX_MAP_NONE if nothing was
 * measured on it. */
static size_t thing_above(const reading *r, size_t t, size_t unit)
{
    if (thing_at(r, t)->unit == unit) {
        return t;
    }
    if (r->place[unit][t] != 0) {
        const char *key = qx_arena_printf(
            qx_ctx_scratch(r->cx), "p%u", (unsigned)(r->place[unit][t] - 1));
        return key == NULL ? QX_MAP_NONE : qx_map_find(r->keys, key, strlen(key));
    }
    for (size_t up = 0; up < r->p->unit_count; up++) {
        const char *parent = thing_at(r, t)->parent_key;
        t = qx_map_find(r->keys, parent, strlen(parent));
        if (t == QX_MAP_NONE || thing_at(r, t)->unit == unit) {
            return t;
        }
    }
    return QX_MAP_NONE;
}

static const char *covariate_at(const reading *r, size_t at, size_t q)
{
    const line *here = qx_array_at(&r->lines, at);
    const size_t unit = r->quantities.quantity[q].on;
    const size_t t = thing_above(r, here->thing, unit);
    if (t == QX_MAP_NONE) {
        return NULL;
    }
    const line same = {.thing = t, .season = here->season};
    const line always = {.thing = t, .season = QX_NONE};
    size_t found = qx_map_find(r->line_keys, (const char *)&same, sizeof same);
    const char *value = found == QX_MAP_NONE ? NULL : value_at(r, found, q);
    if (value == NULL) {
        found = qx_map_find(r->line_keys, (const char *)&always, sizeof always);
        value = found == QX_MAP_NONE ? NULL : value_at(r, found, q);
    }
    return value;
}

static const char *quantity_at(const reading *r, size_t at, size_t q)
{
    return r->quantities.quantity[q].role == QX_OF_COVARIATE ? covariate_at(r, at, q)
                                                             : value_at(r, at, q);
}

/* --- columns --- */

static qx_column *push_column(reading *r, const char *name, qx_column_kind kind)
{
    qx_column *column = qx_array_push(&r->columns);
    if (column != NULL) {
        column->name = qx_arena_copy(r->arena, name);
        column->kind = kind;
    }
    return column != NULL && column->name != NULL ? column : NULL;
}

/* Labels by row (NULL: missing) to a column; `levels` known beforehand come first. */
static qx_status add_labels(reading *r,
                            const char *name,
                            const char *const by_row[],
                            size_t level_count,
                            const char *const levels[])
{
    qx_column *column = push_column(r, name, QX_COLUMN_LABEL);
    qx_map *map = qx_map_new(r->arena);
    uint32_t *code = NULL;
    const char **level = NULL;
    if (column == NULL || map == NULL) {
        return no_memory(r);
    }
    for (size_t i = 0; i < level_count; i++) {
        if (qx_map_add(map, levels[i], strlen(levels[i])) == QX_MAP_NONE) {
            return no_memory(r);
        }
    }
    QX_NEW_IN(r->cx, r->arena, code, r->lines.count);
    for (size_t i = 0; i < r->lines.count; i++) {
        code[i] = QX_MISSING_CODE;
        if (by_row[i] != NULL) {
            const size_t number = qx_map_add(map, by_row[i], strlen(by_row[i]));
            if (number == QX_MAP_NONE) {
                return no_memory(r);
            }
            code[i] = (uint32_t)number;
        }
    }
    QX_NEW_IN(r->cx, r->arena, level, qx_map_count(map));
    for (size_t i = 0; i < qx_map_count(map); i++) {
        level[i] = qx_map_key(map, i);
    }
    column->code = code;
    column->level = level;
    column->level_count = qx_map_count(map);
    return QX_OK;
}

static qx_status add_season(reading *r)
{
    const qx_seasons *seasons = &r->p->seasons;
    const char **by_row = NULL;
    if (seasons->level_count == 0) {
        return QX_OK;
    }
    QX_NEW(r->cx, by_row, r->lines.count);
    for (size_t i = 0; i < r->lines.count; i++) {
        const line *at = qx_array_at(&r->lines, i);
        by_row[i] = at->season == QX_NONE ? NULL : seasons->level[at->season];
    }
    return add_labels(r, seasons->column, by_row, seasons->level_count, seasons->level);
}

/* The label of a unit in one row: the layout's, else its own, else (where its like have
 * labels) one made from its number. */
static const char *label_at(const reading *r, size_t t, size_t unit, size_t column)
{
    if (r->place[unit][t] != 0) {
        return r->layout->placed[r->place[unit][t] - 1].label;
    }
    if (column != QX_MAP_NONE && r->label[column][t] != NULL) {
        return r->label[column][t];
    }
    const thing *own = thing_at(r, t);
    return own->unit == unit && own->by_row
               ? qx_arena_printf(r->arena, "unlabelled %lld", (long long)own->id)
               : NULL;
}

/* Is there a thing of the unit, or one inside it? */
static bool occurs(const reading *r, size_t unit)
{
    for (size_t t = 0; t < r->things.count; t++) {
        if (qx_unit_reaches(r->p, unit, thing_at(r, t)->unit)) {
            return true;
        }
    }
    return false;
}

/* A unit that nothing was measured on yet has a column without labels, so that the layout
 * can be laid beside the table (trial/join.h). */
static qx_status add_unit(reading *r, size_t unit)
{
    const char *name = r->p->unit[unit].name;
    const size_t column = qx_map_find(r->label_names, name, strlen(name));
    const char **by_row = NULL;
    bool any = column != QX_MAP_NONE || !occurs(r, unit);
    QX_NEW(r->cx, by_row, r->lines.count);
    for (size_t i = 0; i < r->lines.count; i++) {
        const line *at = qx_array_at(&r->lines, i);
        any = any || r->place[unit][at->thing] != 0;
        by_row[i] = label_at(r, at->thing, unit, column);
    }
    return any ? add_labels(r, name, by_row, 0, NULL) : QX_OK;
}

/* Labels that are no unit's: treatments and `columns` that the layout does not know. */
static qx_status add_other(reading *r, size_t column)
{
    const char *name = qx_map_key(r->label_names, column);
    const size_t t = qx_protocol_find_treatment(r->p, name);
    const char **by_row = NULL;
    if (qx_protocol_find_unit(r->p, name) != QX_NONE) {
        return QX_OK;
    }
    QX_NEW(r->cx, by_row, r->lines.count);
    for (size_t i = 0; i < r->lines.count; i++) {
        const line *at = qx_array_at(&r->lines, i);
        by_row[i] = r->label[column][at->thing];
    }
    return t == QX_NONE ? add_labels(r, name, by_row, 0, NULL)
                        : add_labels(r,
                                     name,
                                     by_row,
                                     r->p->treatment[t].level_count,
                                     r->p->treatment[t].level);
}

static qx_status add_classes(reading *r, size_t q)
{
    const qx_quantity *quantity = &r->quantities.quantity[q];
    const qx_variate *variate = &r->p->variate[quantity->variate];
    const char **by_row = NULL;
    QX_NEW(r->cx, by_row, r->lines.count);
    for (size_t i = 0; i < r->lines.count; i++) {
        by_row[i] = quantity_at(r, i, q);
    }
    return add_labels(r, quantity->name, by_row, variate->level_count, variate->level);
}

/* A column may stand for several units (the same `of`): each row takes its own unit's. */
static const char *number_at(const reading *r, size_t at, size_t q)
{
    const char *name = r->quantities.quantity[q].name;
    const char *value = NULL;
    for (size_t k = q; k < r->quantities.count && value == NULL; k++) {
        if (strcmp(r->quantities.quantity[k].name, name) == 0) {
            value = quantity_at(r, at, k);
        }
    }
    return value;
}

static qx_status add_numbers(reading *r, size_t q)
{
    const char *name = r->quantities.quantity[q].name;
    for (size_t k = 0; k < q; k++) {
        if (strcmp(r->quantities.quantity[k].name, name) == 0) {
            return QX_OK; /* it has its column already */
        }
    }
    qx_column *column = push_column(r, name, QX_COLUMN_NUMBER);
    double *value = NULL;
    qx_decimal *exact = NULL;
    if (column == NULL) {
        return no_memory(r);
    }
    QX_NEW_IN(r->cx, r->arena, value, r->lines.count);
    QX_NEW_IN(r->cx, r->arena, exact, r->lines.count);
    for (size_t i = 0; i < r->lines.count; i++) {
        const char *text = number_at(r, i, q);
        value[i] = NAN;
        exact[i].scale = QX_DECIMAL_INEXACT;
        if (text != NULL &&
            !qx_decimal_read(text, strlen(text), '.', &value[i], &exact[i])) {
            return damaged(r);
        }
    }
    column->value = value;
    column->exact = exact;
    return QX_OK;
}

static qx_status add_columns(reading *r)
{
    QX_TRY(add_season(r));
    for (size_t i = 0; i < r->p->unit_count; i++) {
        QX_TRY(add_unit(r, r->p->unit_order[i]));
    }
    for (size_t i = 0; i < qx_map_count(r->label_names); i++) {
        QX_TRY(add_other(r, i));
    }
    for (size_t q = 0; q < r->quantities.count; q++) {
        QX_TRY(r->quantities.quantity[q].classes ? add_classes(r, q) : add_numbers(r, q));
    }
    return QX_OK;
}

static qx_status read_all(reading *r, qx_table **out)
{
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    qx_table *table = NULL;
    r->things = (qx_array)QX_ARRAY(scratch, sizeof(thing));
    r->lines = (qx_array)QX_ARRAY(scratch, sizeof(line));
    r->values = (qx_array)QX_ARRAY(scratch, sizeof(const char *));
    r->columns = (qx_array)QX_ARRAY(r->arena, sizeof(qx_column));
    r->keys = qx_map_new(scratch);
    r->ids = qx_map_new(scratch);
    r->label_names = qx_map_new(scratch);
    r->line_keys = qx_map_new(scratch);
    if (r->keys == NULL || r->ids == NULL || r->label_names == NULL ||
        r->line_keys == NULL) {
        return no_memory(r);
    }
    QX_TRY(qx_quantities_of(r->cx, scratch, r->p, &r->quantities));
    QX_TRY(read_things(r));
    QX_TRY(read_places(r));
    QX_TRY(read_labels(r));
    QX_TRY(read_values(r));
    QX_TRY(add_columns(r));
    QX_NEW_IN(r->cx, r->arena, table, 1);
    *table = (qx_table){.arena = r->arena,
                        .file = qx_arena_copy(r->arena, qx_db_path(r->db)),
                        .rows = r->lines.count,
                        .column_count = r->columns.count,
                        .column = r->columns.items};
    *out = table;
    return table->file == NULL ? no_memory(r) : QX_OK;
}

qx_status qx_observations_table(qx_ctx *cx,
                                qx_trial_file *file,
                                const qx_protocol *protocol,
                                const qx_layout *layout,
                                qx_table **out)
{
    reading r = {.cx = cx,
                 .db = file->db,
                 .p = protocol,
                 .layout = layout,
                 .arena = qx_arena_new()};
    qx_table *table = NULL;
    qx_status status = QX_OK;
    if (r.arena == NULL) {
        return no_memory(&r);
    }
    QX_SCRATCH(cx, status, read_all(&r, &table));
    if (status != QX_OK) {
        qx_arena_free(r.arena);
        return status;
    }
    *out = table;
    return QX_OK;
}
