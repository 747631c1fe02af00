#include "store/layout_change.h"

#include <string.h>

#include "base/array.h"
#include "base/date.h"
#include "store/layout_store.h"
#include "store/people.h"
#include "store/tree_store.h"
#include "store/trial_file_inner.h"

static qx_status add_one(qx_ctx *cx,
                         qx_db *db,
                         const qx_protocol *protocol,
                         const qx_layout_change *change,
                         int64_t person,
                         const char *when,
                         const char *reason)
{
    static const char add[] =
        "INSERT INTO layout_change (placed, treatment, level, changed_at, changed_by,"
        " reason) VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
    const qx_treatment *treatment = &protocol->treatment[change->treatment];
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(cx, db, add, &statement));
    qx_bind_whole(statement, 1, (int64_t)change->placed);
    qx_bind_text(statement, 2, treatment->name);
    qx_bind_text(statement, 3, treatment->level[change->level]);
    qx_bind_text(statement, 4, when);
    qx_bind_whole(statement, 5, person);
    qx_bind_text(statement, 6, reason);
    return qx_db_do(cx, db, statement);
}

static qx_status add_all(qx_ctx *cx,
                         qx_db *db,
                         const qx_protocol *protocol,
                         size_t count,
                         const qx_layout_change change[],
                         const char *by,
                         const char *reason)
{
    char when[21];
    int64_t person = 0;
    qx_instant_write(qx_now(), when);
    QX_TRY(qx_person_of(cx, db, by, &person));
    for (size_t i = 0; i < count; i++) {
        QX_TRY(add_one(cx, db, protocol, &change[i], person, when, reason));
    }
    return QX_OK;
}

qx_status qx_layout_changes_add(qx_ctx *cx,
                                qx_trial_file *file,
                                const qx_protocol *protocol,
                                size_t count,
                                const qx_layout_change change[],
                                const char *by,
                                const char *reason)
{
    if (strspn(reason, " \t\n") == strlen(reason)) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "a change of the layout needs a reason; expected --reason TEXT");
    }
    QX_TRY(qx_db_begin(cx, file->db));
    qx_status status = add_all(cx, file->db, protocol, count, change, by, reason);
    if (status == QX_OK) {
        status = qx_db_commit(cx, file->db);
    }
    if (status != QX_OK) {
        qx_db_undo(file->db);
    }
    return status;
}

/* --- reading --- */

typedef struct reading {
    qx_ctx *cx;
    qx_db *db;
    const qx_protocol *protocol;
    qx_arena *arena;
    qx_array changes;
} reading;

static qx_status does_not_fit(const reading *r)
{
    return qx_fail(r->cx,
                   QX_E_INPUT,
                   "%s: a change of the layout does not fit the protocol; the file was "
                   "changed by hand or is damaged",
                   qx_db_path(r->db));
}

static size_t level_in(const qx_treatment *treatment, const char *text)
{
    return text == NULL
               ? QX_NONE
               : qx_level_find(
                     treatment->level_count, treatment->level, text, strlen(text));
}

static qx_status keep(const reading *r, qx_statement *s, int column, const char **out)
{
    const char *text = qx_row_text(s, column, NULL);
    *out = qx_arena_copy(r->arena, text == NULL ? "" : text);
    return *out == NULL ? qx_fail(r->cx, QX_E_NOMEM, "no memory for the changes") : QX_OK;
}

static qx_status read_one(reading *r, qx_statement *s)
{
    const char *name = qx_row_text(s, 1, NULL);
    const size_t t =
        name == NULL ? QX_NONE : qx_protocol_find_treatment(r->protocol, name);
    qx_layout_change *change = qx_array_push(&r->changes);
    if (change == NULL) {
        return qx_fail(r->cx, QX_E_NOMEM, "no memory for the changes");
    }
    if (t == QX_NONE) {
        return does_not_fit(r);
    }
    const qx_treatment *treatment = &r->protocol->treatment[t];
    *change = (qx_layout_change){.placed = (size_t)qx_row_whole(s, 0),
                                 .treatment = t,
                                 .level = level_in(treatment, qx_row_text(s, 2, NULL)),
                                 .drawn = level_in(treatment, qx_row_text(s, 3, NULL))};
    if (change->level == QX_NONE) {
        return does_not_fit(r);
    }
    QX_TRY(keep(r, s, 4, &change->changed_at));
    QX_TRY(keep(r, s, 5, &change->changed_by));
    return keep(r, s, 6, &change->reason);
}

static qx_status read_all(reading *r)
{
    static const char ask[] =
        "SELECT c.placed, c.treatment, c.level, l.level, c.changed_at, p.name, c.reason"
        " FROM layout_change AS c JOIN person AS p ON p.id = c.changed_by"
        " LEFT JOIN placed_level AS l ON l.placed = c.placed AND l.treatment = "
        "c.treatment"
        " ORDER BY c.id";
    qx_statement *statement = NULL;
    bool row = false, there = false;
    QX_TRY(qx_db_has(r->cx, r->db, "layout_change", &there));
    if (!there) {
        return QX_OK;
    }
    QX_TRY(qx_db_statement(r->cx, r->db, ask, &statement));
    QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    while (row) {
        QX_TRY(read_one(r, statement));
        QX_TRY(qx_db_step(r->cx, r->db, statement, &row));
    }
    return QX_OK;
}

qx_status qx_layout_changes_read(qx_ctx *cx,
                                 qx_trial_file *file,
                                 const qx_protocol *protocol,
                                 qx_arena *arena,
                                 size_t *count,
                                 const qx_layout_change **out)
{
    reading r = {.cx = cx,
                 .db = file->db,
                 .protocol = protocol,
                 .arena = arena,
                 .changes = QX_ARRAY(arena, sizeof(qx_layout_change))};
    QX_TRY(read_all(&r));
    *count = r.changes.count;
    *out = r.changes.items;
    return QX_OK;
}
