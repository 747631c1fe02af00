/* tasks/load.h - a trial as the verbs name it: PROTOCOL DATA.csv, or FILE.qx. */
#ifndef QX_TASKS_LOAD_H
#define QX_TASKS_LOAD_H

#include "base/ctx.h"
#include "base/problems.h"
#include "layout/layout.h"
#include "trial/protocol.h"
#include "trial/table.h"

typedef struct qx_loaded {
    qx_protocol *protocol;
    qx_layout *layout; /* NULL for PROTOCOL DATA.csv */
    qx_table *table;
    size_t change_count; /* what was done otherwise than drawn, in sentences */
    const char *const *change;
    size_t
        by_hand_count; /* what was changed in the file with another program, in sentences */
    const char *const *by_hand;
} qx_loaded;

/* Is `path` a trial file? By its first bytes; by its name if it cannot be read. */
bool qx_is_trial_file(const char *path);

/* Reads and checks. `data` is NULL for a trial file: what was changed in it by hand is told in
 * *out (tasks/inspect_trial.h), values that record would not have taken are problems.
 * QX_E_INPUT when `problems` grew or a
 * file is missing or damaged; QX_E_IO. The caller frees *out with qx_loaded_free. */
qx_status qx_load(qx_ctx *cx,
                  const char *path,
                  const char *data,
                  qx_problems *problems,
                  qx_loaded *out);

void qx_loaded_free(qx_loaded *loaded);

#endif
