/* store/db.h - the only door to SQLite: open, run, ask.
 *
 * One connection belongs to one thread. Files are in WAL mode with synchronous=FULL, so a
 * committed transaction survives a killed process and a power cut; foreign keys are on.
 * Statements are prepared once for each connection and found again by the address of their
 * text, which must be a literal. A failure says the file and what SQLite or the machine
 * said:
 *
 *   QX_E_INPUT  not a database, damaged, or not a trial file
 *   QX_E_IO     full disk, no permission, in use by another program
 *
 * Inner header of the folder. */
#ifndef QX_STORE_DB_H
#define QX_STORE_DB_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/ctx.h"
#include "base/file.h"

typedef struct qx_db qx_db;
typedef struct qx_statement qx_statement;

#define QX_APPLICATION_ID 0x71786e63 /* "qxnc" in the header of every trial file */

typedef enum { QX_DB_READ, QX_DB_WRITE } qx_db_mode;

/* Opens a file that is there. A file in a folder that may not be written to can be read. */
qx_status qx_db_open(qx_ctx *cx, const char *path, qx_db_mode mode, qx_db **out);

/* An empty database in memory, and its bytes as a file in WAL mode. */
qx_status qx_db_open_memory(qx_ctx *cx, qx_db **out);
qx_status qx_db_bytes(qx_ctx *cx, qx_db *db, qx_arena *arena, qx_bytes *out);

/* Closes and frees; an open transaction is undone. NULL is accepted. */
void qx_db_close(qx_db *db);

const char *qx_db_path(const qx_db *db);

/* One or several statements without results. */
qx_status qx_db_run(qx_ctx *cx, qx_db *db, const char *sql);

/* One transaction at a time. Undoing never fails. */
qx_status qx_db_begin(qx_ctx *cx, qx_db *db);
qx_status qx_db_commit(qx_ctx *cx, qx_db *db);
void qx_db_undo(qx_db *db);

/* The prepared statement, reset, with no bindings. Owned by the connection. */
qx_status qx_db_statement(qx_ctx *cx, qx_db *db, const char *sql, qx_statement **out);

/* Parameters, from 1. Texts are borrowed until the next use; NULL binds NULL. */
void qx_bind_text(qx_statement *statement, int at, const char *text);
void qx_bind_whole(qx_statement *statement, int at, int64_t value);

/* The next row: *row says whether there is one. */
qx_status qx_db_step(qx_ctx *cx, qx_db *db, qx_statement *statement, bool *row);

/* Runs to the end a statement without results. */
qx_status qx_db_do(qx_ctx *cx, qx_db *db, qx_statement *statement);

/* Columns of the current row, from 0. A text is borrowed until the next step; NULL for
 * NULL. `length` may be NULL. */
const char *qx_row_text(qx_statement *statement, int column, size_t *length);
int64_t qx_row_whole(qx_statement *statement, int column);

int64_t qx_db_last_id(qx_db *db); /* row id of the last insertion */

/* One whole number that a query gives in its first row; `none` if there is no row. */
qx_status qx_db_whole(qx_ctx *cx, qx_db *db, const char *sql, int64_t none, int64_t *out);

#endif
