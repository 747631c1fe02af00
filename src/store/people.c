#include "store/people.h"

qx_status qx_person_of(qx_ctx *cx, qx_db *db, const char *name, int64_t *out)
{
    static const char add[] =
        "INSERT INTO person (name) VALUES (?1) ON CONFLICT DO NOTHING";
    static const char find[] = "SELECT id FROM person WHERE name = ?1";
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(cx, db, add, &statement));
    qx_bind_text(statement, 1, name);
    QX_TRY(qx_db_do(cx, db, statement));
    QX_TRY(qx_db_statement(cx, db, find, &statement));
    qx_bind_text(statement, 1, name);
    QX_TRY(qx_db_step(cx, db, statement, &row));
    *out = qx_row_whole(statement, 0);
    return qx_db_do(cx, db, statement);
}
