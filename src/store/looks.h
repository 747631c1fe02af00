/* store/looks.h - when results were looked at, and with how many things measured by then.
 *
 * A look is kept once for each variate and number of things: looking again at the same data
 * is no new look. Nothing is ever taken back. What looks cost: model/looks.h. */
#ifndef QX_STORE_LOOKS_H
#define QX_STORE_LOOKS_H

#include "store/trial_file.h"

typedef struct qx_look_kept {
    size_t units;          /* things with a value by then */
    const char *looked_at; /* UTC */
    const char *looked_by;
} qx_look_kept;

/* Keeps a look; nothing happens if it is there already. The file is open to record. */
qx_status qx_look_keep(
    qx_ctx *cx, qx_trial_file *file, const char *variate, size_t units, const char *by);

/* Looks at one variate by rising number of things, in `arena`. */
qx_status qx_looks_kept(qx_ctx *cx,
                        qx_trial_file *file,
                        const char *variate,
                        qx_arena *arena,
                        size_t *count,
                        const qx_look_kept **out);

#endif
