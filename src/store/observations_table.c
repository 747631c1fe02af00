/* store/observations_table.c - the newest values as a table, a row for each thing, season and
 * date, in the order in which they were first recorded. */
#include <math.h>
#include <string.h>

#include "store/cell.h"
#include "store/observations.h"
#include "store/stored.h"
#include "store/trial_file_inner.h"

typedef struct reading {
    qx_stored from;
    qx_array columns; /* qx_column */
} reading;

static const qx_stored_line *line_at(const reading *r, size_t row)
{
    return qx_array_at(&r->from.lines, r->from.row[row]);
}

/* --- a covariate inside the thing that it was measured on --- */

/* The thing of `unit` that stands above thing `t` (or is it); QX_MAP_NONE if nothing was
 * measured on it. */
static size_t thing_above(const reading *r, size_t t, size_t unit)
{
    if (qx_stored_thing_at(&r->from, t)->unit == unit) {
        return t;
    }
    if (r->from.place[unit][t] != 0) {
        const char *key = qx_arena_printf(
            qx_ctx_scratch(r->from.cx), "p%u", (unsigned)(r->from.place[unit][t] - 1));
        return key == NULL ? QX_MAP_NONE : qx_map_find(r->from.keys, key, strlen(key));
    }
    for (size_t up = 0; up < r->from.p->unit_count; up++) {
        const char *parent = qx_stored_thing_at(&r->from, t)->parent_key;
        t = qx_map_find(r->from.keys, parent, strlen(parent));
        if (t == QX_MAP_NONE || qx_stored_thing_at(&r->from, t)->unit == unit) {
            return t;
        }
    }
    return QX_MAP_NONE;
}

/* Value on a line that may not be there. */
static const char *value_of(const reading *r, qx_stored_line line, size_t q)
{
    const size_t found = qx_map_find(r->from.line_keys, (const char *)&line, sizeof line);
    return found == QX_MAP_NONE ? NULL : qx_stored_value(&r->from, found, q);
}

static const char *covariate_at(const reading *r, size_t row, size_t q)
{
    const qx_stored_line *here = line_at(r, row);
    const size_t unit = r->from.quantities.quantity[q].on;
    const size_t t = thing_above(r, here->thing, unit);
    if (t == QX_MAP_NONE) {
        return NULL;
    }
    const char *value = value_of(r, (qx_stored_line){t, here->season, QX_NONE}, q);
    return value != NULL ? value : value_of(r, (qx_stored_line){t, QX_NONE, QX_NONE}, q);
}

static const char *quantity_at(const reading *r, size_t row, size_t q)
{
    return r->from.quantities.quantity[q].role == QX_OF_COVARIATE
               ? covariate_at(r, row, q)
               : qx_stored_value(&r->from, r->from.row[row], q);
}

/* Row (0) or place (1) of the unit with a position that a thing stands in: as recorded, else
 * by the list of trees, else as a label of the thing; NULL: not known. Texts in the table's
 * arena. */
static const char *position_at(const reading *r, size_t t, size_t unit, size_t k)
{
    const qx_unit *u = &r->from.p->unit[unit];
    const char *name = k == 0 ? u->row_column : u->place_column;
    const size_t above = thing_above(r, t, unit);
    if (above != QX_MAP_NONE && r->from.position[k][above] != NULL) {
        return r->from.position[k][above];
    }
    if (r->from.place[unit][t] != 0) {
        const double listed = qx_position_listed(
            r->from.p, r->from.layout, r->from.place[unit][t] - 1, name);
        if (!isnan(listed)) {
            return qx_arena_printf(r->from.arena, "%.0f", listed);
        }
    }
    const size_t label = qx_map_find(r->from.label_names, name, strlen(name));
    return label == QX_MAP_NONE ? NULL : r->from.label[label][t];
}

/* --- columns --- */

static qx_column *push_column(reading *r, const char *name, qx_column_kind kind)
{
    qx_column *column = qx_array_push(&r->columns);
    if (column != NULL) {
        column->name = qx_arena_copy(r->from.arena, name);
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
    qx_map *map = qx_map_new(r->from.arena);
    uint32_t *code = NULL;
    const char **level = NULL;
    if (column == NULL || map == NULL) {
        return qx_stored_no_memory(&r->from);
    }
    for (size_t i = 0; i < level_count; i++) {
        if (qx_map_add(map, levels[i], strlen(levels[i])) == QX_MAP_NONE) {
            return qx_stored_no_memory(&r->from);
        }
    }
    QX_NEW_IN(r->from.cx, r->from.arena, code, r->from.row_count);
    for (size_t i = 0; i < r->from.row_count; i++) {
        code[i] = QX_MISSING_CODE;
        if (by_row[i] != NULL) {
            const size_t number = qx_map_add(map, by_row[i], strlen(by_row[i]));
            if (number == QX_MAP_NONE) {
                return qx_stored_no_memory(&r->from);
            }
            code[i] = (uint32_t)number;
        }
    }
    QX_NEW_IN(r->from.cx, r->from.arena, level, qx_map_count(map));
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
    const qx_seasons *seasons = &r->from.p->seasons;
    const char **by_row = NULL;
    if (seasons->level_count == 0) {
        return QX_OK;
    }
    QX_NEW(r->from.cx, by_row, r->from.row_count);
    for (size_t i = 0; i < r->from.row_count; i++) {
        const qx_stored_line *at = line_at(r, i);
        by_row[i] = at->season == QX_NONE ? NULL : seasons->level[at->season];
    }
    return add_labels(r, seasons->column, by_row, seasons->level_count, seasons->level);
}

/* Is there an earlier quantity with the same column of dates? */
static bool dates_are_there(const reading *r, size_t q)
{
    const qx_quantity *quantity = r->from.quantities.quantity;
    for (size_t k = 0; k < q; k++) {
        if (quantity[k].dates != NULL &&
            strcmp(quantity[k].dates, quantity[q].dates) == 0) {
            return true;
        }
    }
    return false;
}

/* A row has the date of a column if something that follows it was looked at then. */
static bool follows(const reading *r, size_t row, const char *dates)
{
    for (size_t q = 0; q < r->from.quantities.count; q++) {
        const qx_quantity *quantity = &r->from.quantities.quantity[q];
        if (quantity->role == QX_OF_VARIATE && quantity->dates != NULL &&
            strcmp(quantity->dates, dates) == 0 &&
            qx_stored_seen(&r->from, r->from.row[row], q)) {
            return true;
        }
    }
    return false;
}

static qx_status add_dates(reading *r)
{
    for (size_t q = 0; q < r->from.quantities.count; q++) {
        const char *name = r->from.quantities.quantity[q].dates;
        const char **by_row = NULL;
        if (name == NULL || dates_are_there(r, q)) {
            continue;
        }
        QX_NEW(r->from.cx, by_row, r->from.row_count);
        for (size_t i = 0; i < r->from.row_count; i++) {
            const size_t date = line_at(r, i)->date;
            by_row[i] = date == QX_NONE || !follows(r, i, name)
                            ? NULL
                            : qx_map_key(r->from.dates, date);
        }
        QX_TRY(add_labels(r, name, by_row, 0, NULL));
    }
    return QX_OK;
}

/* A position by the name of a unit has that unit's column. */
static bool is_position(const reading *r, const char *name)
{
    const size_t u = qx_protocol_placed_unit(r->from.p);
    return u != QX_NONE && qx_protocol_find_unit(r->from.p, name) == QX_NONE &&
           (strcmp(r->from.p->unit[u].row_column, name) == 0 ||
            strcmp(r->from.p->unit[u].place_column, name) == 0);
}

static qx_status add_positions(reading *r)
{
    const size_t u = qx_protocol_placed_unit(r->from.p);
    for (size_t k = 0; u != QX_NONE && k < 2; k++) {
        const qx_unit *unit = &r->from.p->unit[u];
        const char *name = k == 0 ? unit->row_column : unit->place_column;
        const char **by_row = NULL;
        bool any = false;
        if (!is_position(r, name)) {
            continue;
        }
        QX_NEW(r->from.cx, by_row, r->from.row_count);
        for (size_t i = 0; i < r->from.row_count; i++) {
            by_row[i] = position_at(r, line_at(r, i)->thing, u, k);
            any = any || by_row[i] != NULL;
        }
        QX_TRY(any ? add_labels(r, name, by_row, 0, NULL) : QX_OK);
    }
    return QX_OK;
}

/* The label of a unit in one row: the layout's, else its own, else (where its like have
 * labels) one made from its number. */
static const char *label_at(const reading *r, size_t t, size_t unit, size_t column)
{
    if (r->from.place[unit][t] != 0) {
        return r->from.layout->placed[r->from.place[unit][t] - 1].label;
    }
    if (column != QX_MAP_NONE && r->from.label[column][t] != NULL) {
        return r->from.label[column][t];
    }
    const qx_stored_thing *own = qx_stored_thing_at(&r->from, t);
    return own->unit == unit && own->by_row
               ? qx_arena_printf(r->from.arena, "unlabelled %lld", (long long)own->id)
               : NULL;
}

/* Is there a thing of the unit, or one inside it? */
static bool occurs(const reading *r, size_t unit)
{
    for (size_t t = 0; t < r->from.things.count; t++) {
        if (qx_unit_reaches(r->from.p, unit, qx_stored_thing_at(&r->from, t)->unit)) {
            return true;
        }
    }
    return false;
}

/* A unit that nothing was measured on yet has a column without labels, so that the layout
 * can be laid beside the table (trial/join.h). */
static qx_status add_unit(reading *r, size_t unit)
{
    const char *name = r->from.p->unit[unit].name;
    const size_t column = qx_map_find(r->from.label_names, name, strlen(name));
    const char **by_row = NULL;
    bool any = column != QX_MAP_NONE || !occurs(r, unit);
    QX_NEW(r->from.cx, by_row, r->from.row_count);
    for (size_t i = 0; i < r->from.row_count; i++) {
        const qx_stored_line *at = line_at(r, i);
        any = any || r->from.place[unit][at->thing] != 0;
        by_row[i] = label_at(r, at->thing, unit, column);
    }
    return any ? add_labels(r, name, by_row, 0, NULL) : QX_OK;
}

/* Labels that are no unit's: treatments and `columns` that the layout does not know. */
static qx_status add_other(reading *r, size_t column)
{
    const char *name = qx_map_key(r->from.label_names, column);
    const size_t t = qx_protocol_find_treatment(r->from.p, name);
    const char **by_row = NULL;
    if (qx_protocol_find_unit(r->from.p, name) != QX_NONE || is_position(r, name)) {
        return QX_OK;
    }
    QX_NEW(r->from.cx, by_row, r->from.row_count);
    for (size_t i = 0; i < r->from.row_count; i++) {
        const qx_stored_line *at = line_at(r, i);
        by_row[i] = r->from.label[column][at->thing];
    }
    return t == QX_NONE ? add_labels(r, name, by_row, 0, NULL)
                        : add_labels(r,
                                     name,
                                     by_row,
                                     r->from.p->treatment[t].level_count,
                                     r->from.p->treatment[t].level);
}

static qx_status add_classes(reading *r, size_t q)
{
    const qx_quantity *quantity = &r->from.quantities.quantity[q];
    const qx_variate *variate = &r->from.p->variate[quantity->variate];
    const char **by_row = NULL;
    QX_NEW(r->from.cx, by_row, r->from.row_count);
    for (size_t i = 0; i < r->from.row_count; i++) {
        by_row[i] = quantity_at(r, i, q);
    }
    return add_labels(r, quantity->name, by_row, variate->level_count, variate->level);
}

/* A column may stand for several units (the same `of`): each row takes its own unit's. */
static const char *number_at(const reading *r, size_t at, size_t q)
{
    const char *name = r->from.quantities.quantity[q].name;
    const char *value = NULL;
    for (size_t k = q; k < r->from.quantities.count && value == NULL; k++) {
        if (strcmp(r->from.quantities.quantity[k].name, name) == 0) {
            value = quantity_at(r, at, k);
        }
    }
    return value;
}

static qx_status add_numbers(reading *r, size_t q)
{
    const char *name = r->from.quantities.quantity[q].name;
    for (size_t k = 0; k < q; k++) {
        if (strcmp(r->from.quantities.quantity[k].name, name) == 0) {
            return QX_OK; /* it has its column already */
        }
    }
    qx_column *column = push_column(r, name, QX_COLUMN_NUMBER);
    double *value = NULL;
    qx_decimal *exact = NULL;
    if (column == NULL) {
        return qx_stored_no_memory(&r->from);
    }
    QX_NEW_IN(r->from.cx, r->from.arena, value, r->from.row_count);
    QX_NEW_IN(r->from.cx, r->from.arena, exact, r->from.row_count);
    for (size_t i = 0; i < r->from.row_count; i++) {
        const char *text = number_at(r, i, q);
        value[i] = (double)NAN;
        exact[i].scale = QX_DECIMAL_INEXACT;
        if (text != NULL &&
            !qx_decimal_read(text, strlen(text), '.', &value[i], &exact[i])) {
            return qx_stored_damaged(&r->from);
        }
    }
    column->value = value;
    column->exact = exact;
    return QX_OK;
}

static qx_status add_columns(reading *r)
{
    QX_TRY(add_season(r));
    QX_TRY(add_dates(r));
    for (size_t i = 0; i < r->from.p->unit_count; i++) {
        QX_TRY(add_unit(r, r->from.p->unit_order[i]));
    }
    for (size_t i = 0; i < qx_map_count(r->from.label_names); i++) {
        QX_TRY(add_other(r, i));
    }
    QX_TRY(add_positions(r));
    for (size_t q = 0; q < r->from.quantities.count; q++) {
        const qx_quantity *quantity = &r->from.quantities.quantity[q];
        if (quantity->role != QX_OF_POSITION) {
            QX_TRY(quantity->classes ? add_classes(r, q) : add_numbers(r, q));
        }
    }
    return QX_OK;
}

static qx_status read_all(reading *r, qx_table **out)
{
    qx_arena *arena = r->from.arena;
    qx_table *table = NULL;
    r->columns = (qx_array)QX_ARRAY(arena, sizeof(qx_column));
    QX_TRY(qx_stored_read(&r->from));
    QX_TRY(add_columns(r));
    QX_NEW_IN(r->from.cx, arena, table, 1);
    *table = (qx_table){.arena = arena,
                        .file = qx_arena_copy(arena, qx_db_path(r->from.db)),
                        .rows = r->from.row_count,
                        .column_count = r->columns.count,
                        .column = r->columns.items};
    *out = table;
    return table->file == NULL ? qx_stored_no_memory(&r->from) : QX_OK;
}

qx_status qx_observations_table(qx_ctx *cx,
                                qx_trial_file *file,
                                const qx_protocol *protocol,
                                const qx_layout *layout,
                                qx_table **out)
{
    reading r = {.from = {.cx = cx,
                          .db = file->db,
                          .p = protocol,
                          .layout = layout,
                          .arena = qx_arena_new()}};
    qx_table *table = NULL;
    qx_status status = QX_OK;
    if (r.from.arena == NULL) {
        return qx_stored_no_memory(&r.from);
    }
    QX_SCRATCH(cx, status, read_all(&r, &table));
    if (status != QX_OK) {
        qx_arena_free(r.from.arena);
        return status;
    }
    *out = table;
    return QX_OK;
}
