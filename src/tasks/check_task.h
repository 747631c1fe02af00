/* tasks/check_task.h - is everything in order: a protocol, its data, or a trial file? */
#ifndef QX_TASKS_CHECK_TASK_H
#define QX_TASKS_CHECK_TASK_H

#include <stdint.h>

#include "base/ctx.h"
#include "base/problems.h"

/* What a trial file holds; texts are NULL for PROTOCOL [DATA.csv]. */
typedef struct qx_checked {
    const char *kind;     /* of the layout */
    const char *describe; /* its sentences */
    uint64_t seed;
    uint32_t version;       /* of the randomisation */
    const char *created_at; /* UTC */
    const char *created_by;
    size_t imports, values, corrections;
    const char *trees, *trees_digest; /* tree list; NULL without one */
    size_t change_count;
    const char *const *change; /* what was done otherwise than drawn, in sentences */
} qx_checked;

/* A protocol, with data if `data` is not NULL. Problems and notes to `problems`; QX_E_INPUT
 * when it grew. */
qx_status
qx_check_protocol(qx_ctx *cx, const char *path, const char *data, qx_problems *problems);

/* A trial file: pages, everything that was changed by hand (tasks/inspect_trial.h), and each
 * value that record would not have taken (store/inspect.h). Texts of *out in `arena`. */
qx_status qx_check_trial(qx_ctx *cx,
                         const char *path,
                         qx_problems *problems,
                         qx_arena *arena,
                         qx_checked *out);

#endif
