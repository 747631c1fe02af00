/* store/trial_file.h - one trial, one file: the protocol's text, the layout, and (through
 * observations.h) every value with its revisions and who made them.
 *
 * The file is an SQLite 3 database with application_id "qxnc", schema number in
 * user_version, WAL mode, STRICT tables (schema.sql says what each column holds). A new file
 * is made in memory and takes its name in one step, so that a full disk or a killed process
 * leaves no half-made file.
 *
 * Errors of all calls: QX_E_INPUT (missing, damaged, foreign or newer file), QX_E_IO (disk,
 * permission, in use), QX_E_NOMEM. */
#ifndef QX_STORE_TRIAL_FILE_H
#define QX_STORE_TRIAL_FILE_H

#include "base/problems.h"
#include "layout/layout.h"
#include "trial/protocol.h"
#include "trial/trees.h"

typedef struct qx_trial_file qx_trial_file;

/* The list of trees that a layout was given (trial/trees_place.h). */
typedef struct qx_planting {
    const qx_trees *trees;
    double reach_m; /* as asked for; 0: found */
} qx_planting;

/* Makes `path`, which must not be there (QX_E_EXISTS). `planting` may be NULL. `by`: who. */
qx_status qx_trial_file_create(qx_ctx *cx,
                               const char *path,
                               const qx_protocol *protocol,
                               const qx_layout *layout,
                               const qx_planting *planting,
                               const char *by);

/* After closing a file that was written to: a note where SQLite has left a log beside it (the
 * disk is full, or another program has the file open), for what was stored last stands there
 * alone, and a copy of the file without it would lose it. */
qx_status qx_trial_file_note_log(qx_ctx *cx, const char *path);

/* Removes the file and what SQLite may have left beside it; none of them there: done. */
qx_status qx_trial_file_remove(qx_ctx *cx, const char *path);

typedef enum { QX_TO_READ, QX_TO_RECORD } qx_trial_use;

/* Opens and checks the file (header, schema, pages). Close it with qx_trial_file_close. */
qx_status
qx_trial_file_open(qx_ctx *cx, const char *path, qx_trial_use use, qx_trial_file **out);
void qx_trial_file_close(qx_trial_file *file); /* NULL is accepted */

const char *qx_trial_file_path(const qx_trial_file *file);

/* The protocol, read again from its stored text. The caller frees *out. */
qx_status qx_trial_file_protocol(qx_ctx *cx,
                                 qx_trial_file *file,
                                 qx_problems *problems,
                                 qx_protocol **out);

/* The layout as it was carried out: hand changes (layout_change.h) are in it. The caller
 * frees *out. */
qx_status qx_trial_file_layout(qx_ctx *cx,
                               qx_trial_file *file,
                               const qx_protocol *protocol,
                               qx_layout **out);

/* The same as it was drawn. */
qx_status qx_trial_file_drawn(qx_ctx *cx,
                              qx_trial_file *file,
                              const qx_protocol *protocol,
                              qx_layout **out);

/* The tree list that the layout was given, or NULL in *trees. The caller frees it. */
qx_status qx_trial_file_trees(qx_ctx *cx,
                              qx_trial_file *file,
                              qx_problems *problems,
                              qx_trees **trees,
                              double *reach_m);

typedef struct qx_trial_about {
    const char *protocol_file;   /* name of the protocol file at the layout */
    const char *protocol_digest; /* as stored */
    const char *layout_digest;   /* as stored */
    const char *program;         /* version that made the file */
    const char *created_at;      /* UTC */
    const char *created_by;
    size_t imports;      /* data files recorded */
    size_t things;       /* things that something was measured on */
    size_t values;       /* newest revisions that hold a value */
    size_t corrections;  /* revisions after the first value */
    size_t placed_trees; /* things that are said to be a tree of a list */
} qx_trial_about;

/* Texts live in `arena`. */
qx_status qx_trial_file_about(qx_ctx *cx,
                              qx_trial_file *file,
                              qx_arena *arena,
                              qx_trial_about *out);

/* The digest of the layout as it is now; out holds 64 digits and a NUL. */
qx_status qx_trial_layout_digest(qx_ctx *cx,
                                 const qx_protocol *protocol,
                                 const qx_layout *layout,
                                 char out[65]);

#endif
