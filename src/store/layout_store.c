#include "store/layout_store.h"

#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/digest.h"
#include "base/text.h"
#include "store/tree_store.h"

static const char *
level_of(const qx_protocol *protocol, const qx_layout *layout, size_t thing, size_t t)
{
    const uint32_t level = layout->level[thing * layout->treatment_count + t];
    return level == QX_NO_LEVEL ? NULL : protocol->treatment[t].level[level];
}

static size_t parents_of(const qx_protocol *protocol, const qx_placed *placed)
{
    return protocol->unit[placed->unit].parent_count;
}

/* --- digest --- */

static qx_status
digest(qx_ctx *cx, const qx_protocol *protocol, const qx_layout *layout, char out[65])
{
    qx_text *text = qx_text_new(qx_ctx_scratch(cx));
    if (text == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the layout's digest");
    }
    qx_text_printf(text,
                   "%s version %" PRIu32 " seed %" PRIu64 "\n",
                   layout->kind,
                   layout->version,
                   layout->seed);
    for (size_t i = 0; i < layout->placed_count; i++) {
        const qx_placed *placed = &layout->placed[i];
        qx_text_json(text, protocol->unit[placed->unit].name);
        qx_text_printf(text, " %" PRIu32 " ", placed->number);
        qx_text_json(text, placed->label);
        for (size_t k = 0; k < parents_of(protocol, placed); k++) {
            qx_text_printf(text, " in %" PRIu32, placed->parent[k]);
        }
        for (size_t t = 0; t < layout->treatment_count; t++) {
            const char *level = level_of(protocol, layout, i, t);
            if (level != NULL) {
                qx_text_add(text, " ");
                qx_text_json(text, protocol->treatment[t].name);
                qx_text_add(text, "=");
                qx_text_json(text, level);
            }
        }
        qx_text_add(text, "\n");
    }
    if (qx_text_failed(text)) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the layout's digest");
    }
    qx_digest(qx_text_get(text), qx_text_length(text), out);
    return QX_OK;
}

qx_status qx_layout_digest(qx_ctx *cx,
                           const qx_protocol *protocol,
                           const qx_layout *layout,
                           char out[65])
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, digest(cx, protocol, layout, out));
    return status;
}

/* --- writing --- */

static qx_status write_head(qx_ctx *cx,
                            qx_db *db,
                            const qx_protocol *protocol,
                            const qx_layout *layout,
                            const char *when)
{
    static const char add[] =
        "INSERT INTO layout (id, kind, describe, seed, version, digest, drawn_at)"
        " VALUES (1, ?1, ?2, ?3, ?4, ?5, ?6)";
    char hash[65];
    QX_TRY(qx_layout_digest(cx, protocol, layout, hash));
    const char *seed = qx_arena_printf(qx_ctx_scratch(cx), "%" PRIu64, layout->seed);
    if (seed == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the layout");
    }
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(cx, db, add, &statement));
    qx_bind_text(statement, 1, layout->kind);
    qx_bind_text(statement, 2, layout->describe);
    qx_bind_text(statement, 3, seed);
    qx_bind_whole(statement, 4, layout->version);
    qx_bind_text(statement, 5, hash);
    qx_bind_text(statement, 6, when);
    return qx_db_do(cx, db, statement);
}

static qx_status
write_parents(qx_ctx *cx, qx_db *db, size_t i, const qx_placed *placed, size_t count)
{
    static const char add[] =
        "INSERT INTO placed_parent (placed, position, parent) VALUES (?1, ?2, ?3)";
    for (size_t k = 0; k < count; k++) {
        qx_statement *statement = NULL;
        QX_TRY(qx_db_statement(cx, db, add, &statement));
        qx_bind_whole(statement, 1, (int64_t)i);
        qx_bind_whole(statement, 2, (int64_t)k);
        qx_bind_whole(statement, 3, (int64_t)placed->parent[k]);
        QX_TRY(qx_db_do(cx, db, statement));
    }
    return QX_OK;
}

static qx_status write_levels(
    qx_ctx *cx, qx_db *db, const qx_protocol *protocol, const qx_layout *layout, size_t i)
{
    static const char add[] =
        "INSERT INTO placed_level (placed, treatment, level) VALUES (?1, ?2, ?3)";
    for (size_t t = 0; t < layout->treatment_count; t++) {
        const char *level = level_of(protocol, layout, i, t);
        if (level == NULL) {
            continue;
        }
        qx_statement *statement = NULL;
        QX_TRY(qx_db_statement(cx, db, add, &statement));
        qx_bind_whole(statement, 1, (int64_t)i);
        qx_bind_text(statement, 2, protocol->treatment[t].name);
        qx_bind_text(statement, 3, level);
        QX_TRY(qx_db_do(cx, db, statement));
    }
    return QX_OK;
}

qx_status qx_layout_write(qx_ctx *cx,
                          qx_db *db,
                          const qx_protocol *protocol,
                          const qx_layout *layout,
                          const char *when)
{
    static const char add[] =
        "INSERT INTO placed (id, unit, number, label) VALUES (?1, ?2, ?3, ?4)";
    QX_TRY(write_head(cx, db, protocol, layout, when));
    for (size_t i = 0; i < layout->placed_count; i++) {
        const qx_placed *placed = &layout->placed[i];
        qx_statement *statement = NULL;
        QX_TRY(qx_db_statement(cx, db, add, &statement));
        qx_bind_whole(statement, 1, (int64_t)i);
        qx_bind_text(statement, 2, protocol->unit[placed->unit].name);
        qx_bind_whole(statement, 3, placed->number);
        qx_bind_text(statement, 4, placed->label);
        QX_TRY(qx_db_do(cx, db, statement));
        QX_TRY(write_parents(cx, db, i, placed, parents_of(protocol, placed)));
        QX_TRY(write_levels(cx, db, protocol, layout, i));
    }
    return QX_OK;
}

/* --- reading --- */

typedef struct reading {
    qx_ctx *cx;
    qx_db *db;
    const qx_protocol *protocol;
    qx_arena *arena;
    qx_layout *layout;
    qx_placed *placed;
    uint32_t *level;
} reading;

static qx_status does_not_fit(const reading *r)
{
    return qx_fail(r->cx,
                   QX_E_INPUT,
                   "%s: the layout does not fit its protocol; the file was changed by "
                   "hand or is damaged",
                   qx_db_path(r->db));
}

static qx_status
keep_text(const reading *r, qx_statement *statement, int column, const char **out)
{
    const char *text = qx_row_text(statement, column, NULL);
    *out = text == NULL ? NULL : qx_arena_copy(r->arena, text);
    return *out == NULL ? qx_fail(r->cx, QX_E_NOMEM, "no memory for the layout") : QX_OK;
}

static qx_status read_head(reading *r)
{
    static const char ask[] =
        "SELECT kind, describe, seed, version, (SELECT count(*) FROM placed) FROM layout";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    if (!row) {
        return does_not_fit(r);
    }
    QX_TRY(keep_text(r, statement, 0, &r->layout->kind));
    QX_TRY(keep_text(r, statement, 1, &r->layout->describe));
    errno = 0;
    char *end = NULL;
    const char *seed = qx_row_text(statement, 2, NULL);
    r->layout->seed = seed == NULL ? 0 : strtoull(seed, &end, 10);
    if (seed == NULL || errno != 0 || end == seed || *end != '\0') {
        return does_not_fit(r);
    }
    r->layout->version = (uint32_t)qx_row_whole(statement, 3);
    r->layout->placed_count = (size_t)qx_row_whole(statement, 4);
    r->layout->treatment_count = r->protocol->treatment_count;
    return qx_db_do(r->cx, r->db, statement);
}

static qx_status read_placed(reading *r)
{
    static const char ask[] = "SELECT id, unit, number, label FROM placed ORDER BY id";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    for (size_t i = 0; i < r->layout->placed_count; i++) {
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
        const char *unit = row ? qx_row_text(statement, 1, NULL) : NULL;
        const size_t u =
            unit == NULL ? QX_NONE : qx_protocol_find_unit(r->protocol, unit);
        if (u == QX_NONE || qx_row_whole(statement, 0) != (int64_t)i) {
            return does_not_fit(r);
        }
        r->placed[i].unit = (uint32_t)u;
        r->placed[i].number = (uint32_t)qx_row_whole(statement, 2);
        QX_TRY(keep_text(r, statement, 3, &r->placed[i].label));
    }
    return qx_db_do(r->cx, r->db, statement);
}

static qx_status read_parents(reading *r)
{
    static const char ask[] = "SELECT placed, position, parent FROM placed_parent";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    while (row) {
        const int64_t at = qx_row_whole(statement, 0);
        const int64_t position = qx_row_whole(statement, 1);
        const int64_t parent = qx_row_whole(statement, 2);
        /* Parents stand before their children. */
        if (at < 0 || (size_t)at >= r->layout->placed_count || position < 0 ||
            (size_t)position >= parents_of(r->protocol, &r->placed[at]) || parent < 0 ||
            parent >= at) {
            return does_not_fit(r);
        }
        r->placed[at].parent[position] = (uint32_t)parent;
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    return QX_OK;
}

/* Where each parent number leads to must be a thing of the parent's unit. */
static qx_status check_parents(const reading *r)
{
    for (size_t i = 0; i < r->layout->placed_count; i++) {
        const qx_placed *placed = &r->placed[i];
        const qx_unit *unit = &r->protocol->unit[placed->unit];
        for (size_t k = 0; k < unit->parent_count; k++) {
            if (placed->parent[k] >= i ||
                r->placed[placed->parent[k]].unit != unit->parent[k]) {
                return does_not_fit(r);
            }
        }
    }
    return QX_OK;
}

static qx_status read_levels(reading *r)
{
    static const char ask[] = "SELECT placed, treatment, level FROM placed_level";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    while (row) {
        const int64_t at = qx_row_whole(statement, 0);
        const char *name = qx_row_text(statement, 1, NULL);
        const size_t t =
            name == NULL ? QX_NONE : qx_protocol_find_treatment(r->protocol, name);
        const char *level = qx_row_text(statement, 2, NULL);
        if (t == QX_NONE || level == NULL || at < 0 ||
            (size_t)at >= r->layout->placed_count) {
            return does_not_fit(r);
        }
        const qx_treatment *treatment = &r->protocol->treatment[t];
        const size_t found =
            qx_level_find(treatment->level_count, treatment->level, level, strlen(level));
        if (found == QX_NONE) {
            return does_not_fit(r);
        }
        r->level[(size_t)at * r->layout->treatment_count + t] = (uint32_t)found;
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    return QX_OK;
}

static qx_status read_all(reading *r)
{
    QX_NEW_IN(r->cx, r->arena, r->layout, 1);
    r->layout->arena = r->arena;
    QX_TRY(read_head(r));
    const size_t cells = r->layout->placed_count * r->layout->treatment_count;
    QX_NEW_IN(r->cx, r->arena, r->placed, r->layout->placed_count);
    QX_NEW_IN(r->cx, r->arena, r->level, cells);
    for (size_t i = 0; i < cells; i++) {
        r->level[i] = QX_NO_LEVEL;
    }
    QX_TRY(read_placed(r));
    QX_TRY(read_parents(r));
    QX_TRY(check_parents(r));
    QX_TRY(read_levels(r));
    r->layout->placed = r->placed;
    r->layout->level = r->level;
    return qx_stands_read(r->cx, r->db, r->layout);
}

qx_status
qx_layout_read(qx_ctx *cx, qx_db *db, const qx_protocol *protocol, qx_layout **out)
{
    reading r = {.cx = cx, .db = db, .protocol = protocol, .arena = qx_arena_new()};
    if (r.arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the layout");
    }
    const qx_status status = read_all(&r);
    if (status != QX_OK) {
        qx_arena_free(r.arena);
        return status;
    }
    *out = r.layout;
    return QX_OK;
}
