#include "store/stored.h"

#include <string.h>

#include "base/map.h"
#include "store/migrate.h"

qx_status qx_stored_no_memory(const qx_stored *r)
{
    return qx_fail(r->cx, QX_E_NOMEM, "no memory to read %s", qx_db_path(r->db));
}

qx_status qx_stored_damaged(const qx_stored *r)
{
    return qx_fail(
        r->cx,
        QX_E_INPUT,
        "%s: the observations do not fit the protocol; the file was changed by "
        "hand or is damaged",
        qx_db_path(r->db));
}

const qx_stored_thing *qx_stored_thing_at(const qx_stored *r, size_t thing)
{
    return qx_array_at(&r->things, thing);
}

static size_t thing_by_id(const qx_stored *r, int64_t id)
{
    return qx_map_find(r->ids, (const char *)&id, sizeof id);
}

/* --- things --- */

static qx_status read_things(qx_stored *r)
{
    static const char ask[] =
        "SELECT id, key, parent_key, unit, row_digest IS NOT NULL FROM thing ORDER BY id";
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    while (row) {
        qx_stored_thing *t = qx_array_push(&r->things);
        const char *key = qx_row_text(statement, 1, NULL);
        const char *parent = qx_row_text(statement, 2, NULL);
        const char *unit = qx_row_text(statement, 3, NULL);
        if (t == NULL || key == NULL || parent == NULL || unit == NULL) {
            return qx_stored_no_memory(r);
        }
        t->id = qx_row_whole(statement, 0);
        t->key = qx_arena_copy(scratch, key);
        t->parent_key = qx_arena_copy(scratch, parent);
        t->unit = qx_protocol_find_unit(r->p, unit);
        t->by_row = qx_row_whole(statement, 4) != 0;
        if (t->unit == QX_NONE) {
            return qx_stored_damaged(r);
        }
        if (t->key == NULL || t->parent_key == NULL ||
            qx_map_add(r->keys, t->key, strlen(t->key)) == QX_MAP_NONE ||
            qx_map_add(r->ids, (const char *)&t->id, sizeof t->id) == QX_MAP_NONE) {
            return qx_stored_no_memory(r);
        }
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    return QX_OK;
}

/* The placed thing and all that it stands in. Parents have smaller numbers. */
static void
mark_places(qx_stored *r, size_t t, uint32_t placed) /* NOLINT(misc-no-recursion) */
{
    const qx_placed *at = &r->layout->placed[placed];
    r->place[at->unit][t] = placed + 1;
    for (size_t i = 0; i < r->p->unit[at->unit].parent_count; i++) {
        mark_places(r, t, at->parent[i]);
    }
}

static qx_status read_places(qx_stored *r)
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
            return qx_stored_damaged(r);
        }
        mark_places(r, t, (uint32_t)placed);
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    return QX_OK;
}

static qx_status read_label_names(qx_stored *r)
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
            return qx_stored_no_memory(r);
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

static qx_status read_labels(qx_stored *r)
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
            return qx_stored_damaged(r);
        }
        const size_t column = qx_map_find(r->label_names, name, length);
        r->label[column][t] = qx_arena_copy(r->arena, label);
        if (r->label[column][t] == NULL) {
            return qx_stored_no_memory(r);
        }
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    return QX_OK;
}

/* --- values --- */

static size_t season_level(const qx_stored *r, const char *season)
{
    const qx_seasons *seasons = &r->p->seasons;
    return season[0] == '\0'
               ? QX_NONE
               : qx_level_find(
                     seasons->level_count, seasons->level, season, strlen(season));
}

/* The line, made if new; QX_NONE: no memory. */
static size_t line_of(qx_stored *r, qx_stored_line wanted)
{
    const size_t before = qx_map_count(r->line_keys);
    const size_t at = qx_map_add(r->line_keys, (const char *)&wanted, sizeof wanted);
    if (at == QX_MAP_NONE || at < before) {
        return at == QX_MAP_NONE ? QX_NONE : at;
    }
    qx_stored_line *made = qx_array_push(&r->lines);
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

/* One count may belong to variates with dates and to others without: the date tells. */
static size_t
quantity_of(const qx_stored *r, const char *name, size_t unit, const char *date)
{
    size_t found = QX_NONE;
    for (size_t q = 0; q < r->quantities.count; q++) {
        const qx_quantity *quantity = &r->quantities.quantity[q];
        if (quantity->on != unit || strcmp(quantity->name, name) != 0) {
            continue;
        }
        if ((quantity->dates != NULL) == (date[0] != '\0')) {
            return q;
        }
        found = q; /* without its date, from before files kept them */
    }
    return found;
}

static qx_status keep_position(qx_stored *r, size_t q, size_t t, const char *value)
{
    const qx_unit *unit = &r->p->unit[r->quantities.quantity[q].on];
    const char **to =
        r->position[strcmp(r->quantities.quantity[q].name, unit->row_column) == 0 ? 0
                                                                                  : 1];
    to[t] = value == NULL ? NULL : qx_arena_copy(r->arena, value);
    return value != NULL && to[t] == NULL ? qx_stored_no_memory(r) : QX_OK;
}

static const char **cell_at(const qx_stored *r, size_t line, size_t q)
{
    return qx_array_at(&r->values, line * r->quantities.count + q);
}

bool qx_stored_seen(const qx_stored *r, size_t line, size_t quantity)
{
    return *cell_at(r, line, quantity) != NULL;
}

const char *qx_stored_value(const qx_stored *r, size_t line, size_t quantity)
{
    const char *value = *cell_at(r, line, quantity);
    return value == NULL || value[0] == '\0' ? NULL : value;
}

static qx_status keep_value(
    qx_stored *r, qx_stored_line wanted, const char *date, size_t q, const char *value)
{
    if (date[0] != '\0') {
        wanted.date = qx_map_add(r->dates, date, strlen(date));
        if (wanted.date == QX_MAP_NONE) {
            return qx_stored_no_memory(r);
        }
    }
    const size_t at = line_of(r, wanted);
    if (at == QX_NONE) {
        return qx_stored_no_memory(r);
    }
    const char **cell = cell_at(r, at, q);
    *cell = value == NULL ? "" : qx_arena_copy(qx_ctx_scratch(r->cx), value);
    return *cell == NULL ? qx_stored_no_memory(r) : QX_OK;
}

static qx_status read_value(qx_stored *r, qx_statement *statement)
{
    const size_t t = thing_by_id(r, qx_row_whole(statement, 0));
    const char *season = qx_row_text(statement, 1, NULL);
    const char *name = qx_row_text(statement, 2, NULL);
    const char *value = qx_row_text(statement, 3, NULL);
    const char *date = qx_row_text(statement, 4, NULL);
    if (t == QX_MAP_NONE || season == NULL || name == NULL || date == NULL) {
        return qx_stored_damaged(r);
    }
    const qx_stored_line wanted = {
        .thing = t, .season = season_level(r, season), .date = QX_NONE};
    const size_t q = quantity_of(r, name, qx_stored_thing_at(r, t)->unit, date);
    if (q == QX_NONE || (season[0] != '\0' && wanted.season == QX_NONE)) {
        return qx_stored_damaged(r);
    }
    return r->quantities.quantity[q].role == QX_OF_POSITION
               ? keep_position(r, q, t, value)
               : keep_value(r, wanted, date, q, value);
}

/* In the order of recording: a later revision replaces the value of an earlier one. Files
 * that are only read may have no dates yet. */
static qx_status read_values(qx_stored *r)
{
    static const char *const ask[] = {
        "SELECT thing, season, quantity, value, '' FROM observation ORDER BY id",
        "SELECT thing, season, quantity, value, date FROM observation ORDER BY id"};
    qx_statement *statement = NULL;
    int64_t schema = 0;
    bool row = false;
    QX_NEW(r->cx, r->position[0], r->things.count);
    QX_NEW(r->cx, r->position[1], r->things.count);
    QX_TRY(qx_schema_of(r->cx, r->db, &schema));
    QX_TRY(qx_db_statement(r->cx, r->db, ask[schema < 3 ? 0 : 1], &statement));
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    while (row) {
        QX_TRY(read_value(r, statement));
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    return QX_OK;
}

/* --- rows --- */

/* The first dated line of the same thing and season; QX_NONE. `first` is a line of each of
 * `keys`. */
static size_t
dated_like(const qx_map *keys, const size_t first[], const qx_stored_line *line)
{
    const qx_stored_line key = {line->thing, line->season, QX_NONE};
    const size_t found = qx_map_find(keys, (const char *)&key, sizeof key);
    return found == QX_MAP_NONE ? QX_NONE : first[found];
}

/* What is measured once stands beside the first date. Does anything keep the line? */
static bool move_line(qx_stored *r, size_t from, size_t to)
{
    bool keep = false;
    for (size_t q = 0; q < r->quantities.count; q++) {
        if (r->quantities.quantity[q].dates != NULL) {
            keep = keep || qx_stored_seen(r, from, q);
        } else if (!qx_stored_seen(r, to, q)) {
            *cell_at(r, to, q) = *cell_at(r, from, q);
        }
    }
    return keep;
}

static qx_status find_rows(qx_stored *r)
{
    qx_map *keys = qx_map_new(qx_ctx_scratch(r->cx));
    size_t *first, *row;
    if (keys == NULL) {
        return qx_stored_no_memory(r);
    }
    QX_NEW(r->cx, first, r->lines.count);
    QX_NEW(r->cx, row, r->lines.count);
    for (size_t i = 0; i < r->lines.count; i++) {
        const qx_stored_line *line = qx_array_at(&r->lines, i);
        const qx_stored_line key = {line->thing, line->season, QX_NONE};
        if (line->date == QX_NONE || dated_like(keys, first, line) != QX_NONE) {
            continue;
        }
        const size_t at = qx_map_add(keys, (const char *)&key, sizeof key);
        if (at == QX_MAP_NONE) {
            return qx_stored_no_memory(r);
        }
        first[at] = i;
    }
    for (size_t i = 0; i < r->lines.count; i++) {
        const qx_stored_line *line = qx_array_at(&r->lines, i);
        const size_t to = line->date == QX_NONE ? dated_like(keys, first, line) : QX_NONE;
        if (to == QX_NONE || move_line(r, i, to)) {
            row[r->row_count++] = i;
        }
    }
    r->row = row;
    return QX_OK;
}

qx_status qx_stored_read(qx_stored *r)
{
    qx_arena *scratch = qx_ctx_scratch(r->cx);
    r->things = (qx_array)QX_ARRAY(scratch, sizeof(qx_stored_thing));
    r->lines = (qx_array)QX_ARRAY(scratch, sizeof(qx_stored_line));
    r->values = (qx_array)QX_ARRAY(scratch, sizeof(const char *));
    r->keys = qx_map_new(scratch);
    r->ids = qx_map_new(scratch);
    r->label_names = qx_map_new(scratch);
    r->dates = qx_map_new(scratch);
    r->line_keys = qx_map_new(scratch);
    if (r->keys == NULL || r->ids == NULL || r->label_names == NULL || r->dates == NULL ||
        r->line_keys == NULL) {
        return qx_stored_no_memory(r);
    }
    QX_TRY(qx_quantities_of(r->cx, scratch, r->p, &r->quantities));
    QX_TRY(read_things(r));
    QX_TRY(read_places(r));
    QX_TRY(read_labels(r));
    QX_TRY(read_values(r));
    return find_rows(r);
}
