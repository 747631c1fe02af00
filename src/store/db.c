#include "store/db.h"

#include <sqlite3.h>
#include <string.h>

/* Milliseconds to wait for another program that is writing. */
#define PATIENCE_MS 5000

#define STATEMENTS_MOST 48

/* Bytes 18 and 19 of a database file: 2 says WAL mode (SQLite, Database File Format, 1.3). */
#define HEADER_BYTES  100
#define WRITE_VERSION 18
#define READ_VERSION  19
#define WAL_VERSION   2

struct qx_db {
    qx_arena *arena; /* owns this struct */
    sqlite3 *handle;
    const char *path;
    size_t statement_count;
    const char *sql[STATEMENTS_MOST];
    sqlite3_stmt *statement[STATEMENTS_MOST];
};

/* qx_statement is sqlite3_stmt under a name that does not need its header. */
static sqlite3_stmt *inner(qx_statement *statement)
{
    return (sqlite3_stmt *)statement;
}

/* --- failures in words --- */

static qx_status status_of(int code)
{
    switch (code & 0xff) {
    case SQLITE_NOMEM:
        return QX_E_NOMEM;
    case SQLITE_ERROR: /* our statements are right: tables or columns are not there */
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        return QX_E_INPUT;
    case SQLITE_INTERRUPT:
        return QX_E_CANCELLED;
    default:
        return QX_E_IO;
    }
}

static const char *words_of(int code)
{
    switch (code & 0xff) {
    case SQLITE_FULL:
        return "the disk is full; nothing of this step was stored";
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return "another program is writing to it; try again when it is done";
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return "it may not be written to; check the permissions of file and folder";
    case SQLITE_CANTOPEN:
        return "it could not be opened; check the permissions of file and folder";
    case SQLITE_ERROR:
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        return "it is damaged or not a trial file; take the last good copy";
    case SQLITE_IOERR:
        return "the disk could not be read or written";
    default:
        return NULL;
    }
}

static qx_status failed(qx_ctx *cx, qx_db *db, int code)
{
    const char *words = words_of(code);
    const bool own = db->handle != NULL && sqlite3_extended_errcode(db->handle) == code;
    const char *why = own ? sqlite3_errmsg(db->handle) : sqlite3_errstr(code);
    if (words != NULL) {
        return qx_fail(cx, status_of(code), "%s: %s (%s)", db->path, words, why);
    }
    return qx_fail(cx, status_of(code), "%s: %s", db->path, why);
}

/* --- opening and closing --- */

static qx_status new_db(qx_ctx *cx, const char *path, qx_db **out)
{
    qx_arena *arena = qx_arena_new();
    qx_db *db = arena == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *db);
    if (db == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory to open %s", path);
    }
    db->arena = arena;
    db->path = qx_arena_copy(arena, path);
    if (db->path == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory to open %s", path);
    }
    *out = db;
    return QX_OK;
}

static int open_handle(qx_db *db, const char *name, int flags)
{
    sqlite3_close(db->handle);
    db->handle = NULL;
    const int code =
        sqlite3_open_v2(name, &db->handle, flags | SQLITE_OPEN_NOMUTEX, NULL);
    if (code != SQLITE_OK) {
        return code;
    }
    (void)sqlite3_extended_result_codes(db->handle, 1);
    (void)sqlite3_busy_timeout(db->handle, PATIENCE_MS);
    /* Touches the file, so that one that cannot be read is seen here. */
    return sqlite3_exec(
        db->handle, "SELECT count(*) FROM sqlite_schema", NULL, NULL, NULL);
}

/* A file in WAL mode wants two files beside it, and only a connection that may write takes
 * them away again: such a one is tried first, and forbidden to change anything. Where the
 * folder may not be written to and nobody has them open, the file alone is everything:
 * SQLite calls that immutable. */
static int open_to_read(qx_ctx *cx, qx_db *db)
{
    int code = open_handle(db, db->path, SQLITE_OPEN_READWRITE);
    if (code == SQLITE_OK) {
        return sqlite3_exec(db->handle, "PRAGMA query_only=ON", NULL, NULL, NULL);
    }
    if ((code & 0xff) != SQLITE_NOTADB && (code & 0xff) != SQLITE_CORRUPT) {
        code = open_handle(db, db->path, SQLITE_OPEN_READONLY);
    }
    if (code == SQLITE_OK || (code & 0xff) == SQLITE_NOTADB ||
        (code & 0xff) == SQLITE_CORRUPT) {
        return code;
    }
    const char *log = qx_arena_printf(qx_ctx_scratch(cx), "%s-wal", db->path);
    if (log == NULL || qx_file_exists(log)) {
        return code;
    }
    qx_arena *scratch = qx_ctx_scratch(cx);
    const size_t length = strlen(db->path);
    char *uri = qx_arena_alloc(scratch, 3 * length + 32, 1);
    if (uri == NULL) {
        return code;
    }
    static const char hex[] = "0123456789abcdef";
    size_t n = 5;
    memcpy(uri, "file:", n);
    for (size_t i = 0; i < length; i++) {
        const unsigned char c = (unsigned char)db->path[i];
        if (c == '?' || c == '#' || c == '%') {
            uri[n++] = '%';
            uri[n++] = hex[c >> 4];
            uri[n++] = hex[c & 15];
        } else {
            uri[n++] = (char)c;
        }
    }
    memcpy(uri + n, "?immutable=1", sizeof "?immutable=1");
    return open_handle(db, uri, SQLITE_OPEN_READONLY | SQLITE_OPEN_URI);
}

static qx_status open_file(qx_ctx *cx, qx_db *db, qx_db_mode mode)
{
    const int code = mode == QX_DB_READ
                         ? open_to_read(cx, db)
                         : open_handle(db, db->path, SQLITE_OPEN_READWRITE);
    if (code != SQLITE_OK) {
        return failed(cx, db, code);
    }
    if (mode == QX_DB_WRITE) {
        if (sqlite3_db_readonly(db->handle, "main") == 1) {
            return failed(cx, db, SQLITE_READONLY);
        }
        QX_TRY(qx_db_run(cx, db, "PRAGMA journal_mode=WAL"));
    }
    return qx_db_run(cx,
                     db,
                     "PRAGMA foreign_keys=ON; PRAGMA synchronous=FULL;"
                     "PRAGMA trusted_schema=OFF; PRAGMA cell_size_check=ON");
}

qx_status qx_db_open(qx_ctx *cx, const char *path, qx_db_mode mode, qx_db **out)
{
    qx_db *db = NULL;
    QX_TRY(new_db(cx, path, &db));
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, open_file(cx, db, mode));
    if (status != QX_OK) {
        qx_db_close(db);
        return status;
    }
    *out = db;
    return QX_OK;
}

qx_status qx_db_open_memory(qx_ctx *cx, qx_db **out)
{
    qx_db *db = NULL;
    QX_TRY(new_db(cx, "trial file in memory", &db));
    const int code =
        open_handle(db, ":memory:", SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE);
    if (code != SQLITE_OK) {
        const qx_status status = failed(cx, db, code);
        qx_db_close(db);
        return status;
    }
    const qx_status status = qx_db_run(cx, db, "PRAGMA foreign_keys=ON");
    if (status != QX_OK) {
        qx_db_close(db);
        return status;
    }
    *out = db;
    return QX_OK;
}

qx_status qx_db_bytes(qx_ctx *cx, qx_db *db, qx_arena *arena, qx_bytes *out)
{
    sqlite3_int64 size = 0;
    unsigned char *bytes = sqlite3_serialize(db->handle, "main", &size, 0);
    if (bytes == NULL || size < HEADER_BYTES) {
        sqlite3_free(bytes);
        return qx_fail(cx, QX_E_NOMEM, "no memory for the trial file");
    }
    char *copy = qx_arena_alloc(arena, (size_t)size + 1, 1);
    if (copy != NULL) {
        memcpy(copy, bytes, (size_t)size);
        copy[WRITE_VERSION] = WAL_VERSION;
        copy[READ_VERSION] = WAL_VERSION;
    }
    sqlite3_free(bytes);
    if (copy == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the trial file");
    }
    *out = (qx_bytes){copy, (size_t)size};
    return QX_OK;
}

void qx_db_close(qx_db *db)
{
    if (db == NULL) {
        return;
    }
    for (size_t i = 0; i < db->statement_count; i++) {
        (void)sqlite3_finalize(db->statement[i]);
    }
    (void)sqlite3_close(db->handle);
    qx_arena_free(db->arena);
}

const char *qx_db_path(const qx_db *db)
{
    return db->path;
}

/* --- statements --- */

qx_status qx_db_run(qx_ctx *cx, qx_db *db, const char *sql)
{
    const int code = sqlite3_exec(db->handle, sql, NULL, NULL, NULL);
    return code == SQLITE_OK ? QX_OK : failed(cx, db, code);
}

qx_status qx_db_begin(qx_ctx *cx, qx_db *db)
{
    return qx_db_run(cx, db, "BEGIN IMMEDIATE");
}

qx_status qx_db_commit(qx_ctx *cx, qx_db *db)
{
    return qx_db_run(cx, db, "COMMIT");
}

void qx_db_undo(qx_db *db)
{
    for (size_t i = 0; i < db->statement_count; i++) {
        (void)sqlite3_reset(db->statement[i]);
    }
    if (sqlite3_get_autocommit(db->handle) == 0) {
        (void)sqlite3_exec(db->handle, "ROLLBACK", NULL, NULL, NULL);
    }
}

qx_status qx_db_statement(qx_ctx *cx, qx_db *db, const char *sql, qx_statement **out)
{
    for (size_t i = 0; i < db->statement_count; i++) {
        if (db->sql[i] == sql) {
            (void)sqlite3_reset(db->statement[i]);
            (void)sqlite3_clear_bindings(db->statement[i]);
            *out = (qx_statement *)db->statement[i];
            return QX_OK;
        }
    }
    QX_ASSERT(db->statement_count < STATEMENTS_MOST);
    if (db->statement_count == STATEMENTS_MOST) {
        return qx_fail(cx, QX_E_ARG, "too many prepared statements");
    }
    sqlite3_stmt *made = NULL;
    const int code =
        sqlite3_prepare_v3(db->handle, sql, -1, SQLITE_PREPARE_PERSISTENT, &made, NULL);
    if (code != SQLITE_OK) {
        return failed(cx, db, code);
    }
    db->sql[db->statement_count] = sql;
    db->statement[db->statement_count++] = made;
    *out = (qx_statement *)made;
    return QX_OK;
}

/* Binding to a number that the statement has fails only for want of memory, and then the
 * parameter stays NULL: the NOT NULL columns of the schema refuse it. */
void qx_bind_text(qx_statement *statement, int at, const char *text)
{
    if (text != NULL) {
        (void)sqlite3_bind_text(inner(statement), at, text, -1, SQLITE_STATIC);
    }
}

void qx_bind_whole(qx_statement *statement, int at, int64_t value)
{
    (void)sqlite3_bind_int64(inner(statement), at, value);
}

qx_status qx_db_step(qx_ctx *cx, qx_db *db, qx_statement *statement, bool *row)
{
    const int code = sqlite3_step(inner(statement));
    *row = code == SQLITE_ROW;
    if (code == SQLITE_ROW || code == SQLITE_DONE) {
        return QX_OK;
    }
    const qx_status status = failed(cx, db, code);
    (void)sqlite3_reset(inner(statement));
    return status;
}

qx_status qx_db_do(qx_ctx *cx, qx_db *db, qx_statement *statement)
{
    bool row = true;
    while (row) {
        QX_TRY(qx_db_step(cx, db, statement, &row));
    }
    (void)sqlite3_reset(inner(statement));
    return QX_OK;
}

const char *qx_row_text(qx_statement *statement, int column, size_t *length)
{
    const char *text = (const char *)sqlite3_column_text(inner(statement), column);
    if (length != NULL) {
        *length = (size_t)sqlite3_column_bytes(inner(statement), column);
    }
    return text;
}

int64_t qx_row_whole(qx_statement *statement, int column)
{
    return sqlite3_column_int64(inner(statement), column);
}

int64_t qx_db_last_id(qx_db *db)
{
    return sqlite3_last_insert_rowid(db->handle);
}

qx_status qx_db_whole(qx_ctx *cx, qx_db *db, const char *sql, int64_t none, int64_t *out)
{
    qx_statement *statement = NULL;
    bool row = false;
    QX_TRY(qx_db_statement(cx, db, sql, &statement));
    QX_TRY(qx_db_step(cx, db, statement, &row));
    *out = row ? qx_row_whole(statement, 0) : none;
    (void)sqlite3_reset(inner(statement));
    return QX_OK;
}
