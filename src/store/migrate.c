#include "store/migrate.h"

#include "base/text.h"
#include "store/schema.h"

/* Step n stands at n - 1: lines of SQL, closed by NULL. */
static const char *const *const steps[QX_SCHEMA] = {
    qx_schema_1, qx_schema_2, qx_schema_3};

qx_status qx_schema_of(qx_ctx *cx, qx_db *db, int64_t *out)
{
    int64_t application = 0;
    int64_t schema = 0;
    QX_TRY(qx_db_whole(cx, db, "PRAGMA application_id", 0, &application));
    QX_TRY(qx_db_whole(cx, db, "PRAGMA user_version", 0, &schema));
    if (application != QX_APPLICATION_ID) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%s is a database, but not a trial file; expected a file that "
                       "\"layout\" made",
                       qx_db_path(db));
    }
    if (schema > QX_SCHEMA) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%s was written by a newer version of this program (schema %lld); "
                       "expected schema %d or older: install the newer version",
                       qx_db_path(db),
                       (long long)schema,
                       QX_SCHEMA);
    }
    *out = schema;
    return QX_OK;
}

static qx_status take_step(qx_ctx *cx, qx_db *db, int64_t to)
{
    qx_text *sql = qx_text_new(qx_ctx_scratch(cx));
    if (sql == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the schema");
    }
    for (const char *const *line = steps[to - 1]; *line != NULL; line++) {
        qx_text_add(sql, *line);
    }
    qx_text_printf(sql, "PRAGMA user_version = %lld;\n", (long long)to);
    qx_text_printf(sql, "PRAGMA application_id = %d;\n", QX_APPLICATION_ID);
    if (qx_text_failed(sql)) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the schema");
    }
    QX_TRY(qx_db_begin(cx, db));
    qx_status status = qx_db_run(cx, db, qx_text_get(sql));
    if (status == QX_OK) {
        status = qx_db_commit(cx, db);
    }
    if (status != QX_OK) {
        qx_db_undo(db);
    }
    return status;
}

/* An empty database has neither number yet. */
static qx_status schema_now(qx_ctx *cx, qx_db *db, int64_t *out)
{
    int64_t tables = 0;
    QX_TRY(qx_db_whole(cx, db, "SELECT count(*) FROM sqlite_schema", 0, &tables));
    if (tables == 0) {
        *out = 0;
        return QX_OK;
    }
    return qx_schema_of(cx, db, out);
}

qx_status qx_migrate(qx_ctx *cx, qx_db *db)
{
    int64_t schema = 0;
    QX_TRY(schema_now(cx, db, &schema));
    for (int64_t next = schema + 1; next <= QX_SCHEMA; next++) {
        qx_status status = QX_OK;
        QX_SCRATCH(cx, status, take_step(cx, db, next));
        QX_TRY(status);
    }
    return QX_OK;
}
