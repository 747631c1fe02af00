/* store/migrate.h - numbered steps from one schema of the trial file to the next.
 *
 * user_version holds the schema's number. Step n makes schema n from schema n - 1, in one
 * transaction; step 1 makes the tables of an empty file. A step that was released is never
 * changed: a change of the schema is a new step. A file of a newer program is refused with
 * its number, never guessed at.
 *
 * Inner header of the folder. */
#ifndef QX_STORE_MIGRATE_H
#define QX_STORE_MIGRATE_H

#include "store/db.h"

#define QX_SCHEMA 3 /* number of the newest schema */

/* Brings an open database to QX_SCHEMA. Errors: those of db.h; QX_E_INPUT for a newer
 * schema. */
qx_status qx_migrate(qx_ctx *cx, qx_db *db);

/* The schema of the file; QX_E_INPUT when it is newer than QX_SCHEMA, or when the database
 * is not a trial file. */
qx_status qx_schema_of(qx_ctx *cx, qx_db *db, int64_t *out);

#endif
