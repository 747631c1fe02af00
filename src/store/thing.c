#include "store/thing.h"

#include <string.h>

typedef struct making {
    qx_ctx *cx;
    qx_db *db;
    const qx_spots *spots;
    size_t row;
    int64_t thing;
} making;

qx_status qx_things_begin(qx_ctx *cx, qx_arena *arena, qx_things *out)
{
    const qx_array number = QX_ARRAY(arena, sizeof(int64_t));
    *out = (qx_things){.known = qx_map_new(arena), .number = number};
    return out->known == NULL ? qx_fail(cx, QX_E_NOMEM, "no memory for the things")
                              : QX_OK;
}

static qx_status finished(qx_ctx *cx, const qx_text *text)
{
    return text == NULL || qx_text_failed(text)
               ? qx_fail(cx, QX_E_NOMEM, "no memory for the things")
               : QX_OK;
}

/* --- places and labels of a new thing --- */

static qx_status add_place(const making *m, uint32_t placed)
{
    static const char add[] = "INSERT INTO thing_place (thing, placed) VALUES (?1, ?2)"
                              " ON CONFLICT DO NOTHING";
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(m->cx, m->db, add, &statement));
    qx_bind_whole(statement, 1, m->thing);
    qx_bind_whole(statement, 2, placed);
    return qx_db_do(m->cx, m->db, statement);
}

static qx_status add_label(const making *m, const char *name)
{
    static const char add[] = "INSERT INTO thing_label (thing, column, label)"
                              " VALUES (?1, ?2, ?3) ON CONFLICT DO NOTHING";
    const qx_column *column = qx_table_find(m->spots->table, name);
    if (column == NULL || column->kind != QX_COLUMN_LABEL ||
        column->code[m->row] == QX_MISSING_CODE) {
        return QX_OK;
    }
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(m->cx, m->db, add, &statement));
    qx_bind_whole(statement, 1, m->thing);
    qx_bind_text(statement, 2, name);
    qx_bind_text(statement, 3, column->level[column->code[m->row]]);
    return qx_db_do(m->cx, m->db, statement);
}

static qx_status describe_unit(const making *m, size_t unit)
{
    const qx_protocol *p = m->spots->protocol;
    const qx_spot spot = m->spots->spot[unit][m->row];
    if (spot.kind == QX_SPOT_PLACED) {
        return add_place(m, spot.placed);
    }
    QX_TRY(add_label(m, p->unit[unit].name));
    for (size_t i = 0; i < p->unit[unit].column_count; i++) {
        QX_TRY(add_label(m, p->unit[unit].column[i]));
    }
    for (size_t t = 0; t < p->treatment_count; t++) {
        if (p->treatment[t].on == unit) {
            QX_TRY(add_label(m, p->treatment[t].name));
        }
    }
    return QX_OK;
}

/* The unit itself, and those above it that are not above a placed one already. */
static qx_status describe(const making *m, size_t unit)
{
    const qx_protocol *p = m->spots->protocol;
    bool wanted[QX_NAMES_MOST] = {false};
    wanted[unit] = true;
    for (size_t i = p->unit_count; i-- > 0;) {
        const size_t u = p->unit_order[i];
        if (!wanted[u]) {
            continue;
        }
        QX_TRY(describe_unit(m, u));
        const bool placed = m->spots->spot[u][m->row].kind == QX_SPOT_PLACED;
        for (size_t k = 0; !placed && k < p->unit[u].parent_count; k++) {
            wanted[p->unit[u].parent[k]] = true;
        }
    }
    return QX_OK;
}

/* --- finding and making --- */

static qx_status find(qx_ctx *cx, qx_db *db, const char *key, int64_t *out)
{
    static const char ask[] = "SELECT id FROM thing WHERE key = ?1";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(cx, db, ask, &statement));
    qx_bind_text(statement, 1, key);
    QX_TRY(qx_db_step(cx, db, statement, &row));
    *out = row ? qx_row_whole(statement, 0) : 0;
    return row ? qx_db_do(cx, db, statement) : QX_OK;
}

static qx_status make(making *m, size_t unit, const char *key)
{
    static const char add[] = "INSERT INTO thing (key, unit, parent_key, row_digest)"
                              " VALUES (?1, ?2, ?3, ?4)";
    qx_text *parent = qx_text_new(qx_ctx_scratch(m->cx));
    if (parent != NULL) {
        qx_spot_parent_key(m->spots, unit, m->row, parent);
    }
    QX_TRY(finished(m->cx, parent));
    const bool by_row = m->spots->spot[unit][m->row].kind == QX_SPOT_ROW;
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(m->cx, m->db, add, &statement));
    qx_bind_text(statement, 1, key);
    qx_bind_text(statement, 2, m->spots->protocol->unit[unit].name);
    qx_bind_text(statement, 3, qx_text_get(parent));
    qx_bind_text(statement, 4, by_row ? m->spots->digest : NULL);
    QX_TRY(qx_db_do(m->cx, m->db, statement));
    m->thing = qx_db_last_id(m->db);
    return describe(m, unit);
}

static qx_status number_of(making *m, qx_things *things, size_t unit)
{
    qx_text *key = qx_text_new(qx_ctx_scratch(m->cx));
    if (key != NULL) {
        qx_spot_key(m->spots, unit, m->row, key);
    }
    QX_TRY(finished(m->cx, key));
    const size_t length = qx_text_length(key);
    const size_t known = qx_map_find(things->known, qx_text_get(key), length);
    if (known != QX_MAP_NONE) {
        m->thing = *(const int64_t *)qx_array_at(&things->number, known);
        return QX_OK;
    }
    QX_TRY(find(m->cx, m->db, qx_text_get(key), &m->thing));
    if (m->thing == 0) {
        QX_TRY(make(m, unit, qx_text_get(key)));
    }
    int64_t *number = qx_array_push(&things->number);
    if (number == NULL ||
        qx_map_add(things->known, qx_text_get(key), length) == QX_MAP_NONE) {
        return qx_fail(m->cx, QX_E_NOMEM, "no memory for the things");
    }
    *number = m->thing;
    return QX_OK;
}

qx_status qx_thing_of(qx_ctx *cx,
                      qx_db *db,
                      qx_things *things,
                      const qx_spots *spots,
                      size_t unit,
                      size_t row,
                      int64_t *out)
{
    making m = {.cx = cx, .db = db, .spots = spots, .row = row};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, number_of(&m, things, unit));
    *out = m.thing;
    return status;
}

static qx_status find_there(
    qx_ctx *cx, qx_db *db, const qx_spots *spots, size_t unit, size_t row, int64_t *out)
{
    qx_text *key = qx_text_new(qx_ctx_scratch(cx));
    if (key != NULL) {
        qx_spot_key(spots, unit, row, key);
    }
    QX_TRY(finished(cx, key));
    return find(cx, db, qx_text_get(key), out);
}

qx_status qx_thing_find(
    qx_ctx *cx, qx_db *db, const qx_spots *spots, size_t unit, size_t row, int64_t *out)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, find_there(cx, db, spots, unit, row, out));
    return status;
}

static qx_status
has_rival(making *m, size_t unit, const char *season, const char *date, bool *out)
{
    static const char ask[] =
        "SELECT 1 FROM thing JOIN observation ON observation.thing = thing.id"
        " WHERE row_digest IS NOT NULL AND row_digest <> ?1 AND parent_key = ?2"
        " AND unit = ?3 AND season = ?4 AND date = ?5 LIMIT 1";
    qx_text *parent = qx_text_new(qx_ctx_scratch(m->cx));
    if (parent != NULL) {
        qx_spot_parent_key(m->spots, unit, m->row, parent);
    }
    QX_TRY(finished(m->cx, parent));
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(m->cx, m->db, ask, &statement));
    qx_bind_text(statement, 1, m->spots->digest);
    qx_bind_text(statement, 2, qx_text_get(parent));
    qx_bind_text(statement, 3, m->spots->protocol->unit[unit].name);
    qx_bind_text(statement, 4, season);
    qx_bind_text(statement, 5, date);
    QX_TRY(qx_db_step(m->cx, m->db, statement, out));
    return *out ? qx_db_do(m->cx, m->db, statement) : QX_OK;
}

qx_status qx_thing_has_rival(qx_ctx *cx,
                             qx_db *db,
                             const qx_spots *spots,
                             size_t unit,
                             size_t row,
                             const char *season,
                             const char *date,
                             bool *out)
{
    making m = {.cx = cx, .db = db, .spots = spots, .row = row};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, has_rival(&m, unit, season, date, out));
    return status;
}
