#include "store/looks.h"

#include "base/array.h"
#include "base/date.h"
#include "store/people.h"
#include "store/tree_store.h"
#include "store/trial_file_inner.h"

static qx_status
keep(qx_ctx *cx, qx_db *db, const char *variate, size_t units, const char *by)
{
    static const char add[] =
        "INSERT INTO look (looked_at, looked_by, variate, units) VALUES (?1, ?2, ?3, ?4)"
        " ON CONFLICT DO NOTHING";
    char when[21];
    int64_t person = 0;
    qx_statement *statement = NULL;
    qx_instant_write(qx_now(), when);
    QX_TRY(qx_person_of(cx, db, by, &person));
    QX_TRY(qx_db_statement(cx, db, add, &statement));
    qx_bind_text(statement, 1, when);
    qx_bind_whole(statement, 2, person);
    qx_bind_text(statement, 3, variate);
    qx_bind_whole(statement, 4, (int64_t)units);
    return qx_db_do(cx, db, statement);
}

qx_status qx_look_keep(
    qx_ctx *cx, qx_trial_file *file, const char *variate, size_t units, const char *by)
{
    QX_TRY(qx_db_begin(cx, file->db));
    qx_status status = keep(cx, file->db, variate, units, by);
    if (status == QX_OK) {
        status = qx_db_commit(cx, file->db);
    }
    if (status != QX_OK) {
        qx_db_undo(file->db);
    }
    return status;
}

static qx_status read_look(qx_ctx *cx, qx_arena *arena, qx_statement *s, qx_array *looks)
{
    qx_look_kept *look = qx_array_push(looks);
    const char *at = qx_arena_copy(arena, qx_row_text(s, 1, NULL));
    const char *by = qx_arena_copy(arena, qx_row_text(s, 2, NULL));
    if (look == NULL || at == NULL || by == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the looks");
    }
    *look = (qx_look_kept){(size_t)qx_row_whole(s, 0), at, by};
    return QX_OK;
}

qx_status qx_looks_kept(qx_ctx *cx,
                        qx_trial_file *file,
                        const char *variate,
                        qx_arena *arena,
                        size_t *count,
                        const qx_look_kept **out)
{
    static const char ask[] = "SELECT l.units, l.looked_at, p.name FROM look AS l JOIN"
                              " person AS p ON p.id = l.looked_by WHERE l.variate = ?1"
                              " ORDER BY l.units";
    qx_array looks = QX_ARRAY(arena, sizeof(qx_look_kept));
    qx_statement *statement = NULL;
    bool row = false, there = false;
    QX_TRY(qx_db_has(cx, file->db, "look", &there));
    if (there) {
        QX_TRY(qx_db_statement(cx, file->db, ask, &statement));
        qx_bind_text(statement, 1, variate);
        QX_TRY(qx_db_step(cx, file->db, statement, &row));
    }
    while (row) {
        QX_TRY(read_look(cx, arena, statement, &looks));
        QX_TRY(qx_db_step(cx, file->db, statement, &row));
    }
    *count = looks.count;
    *out = looks.items;
    return QX_OK;
}
