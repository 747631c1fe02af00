/* tasks/look.h - looks at the results of a trial file: what was looked at before, and the
 * look that is being taken now. */
#ifndef QX_TASKS_LOOK_H
#define QX_TASKS_LOOK_H

#include "base/ctx.h"
#include "findings/findings.h"

/* Earlier looks, one entry for each variate, in `arena`. */
qx_status qx_looks_before(qx_ctx *cx,
                          const char *path,
                          const qx_protocol *protocol,
                          qx_arena *arena,
                          const qx_look_history **out);

/* Keeps the look that these findings are, for each variate with differences. A file that
 * cannot be written is no failure: a note says that the look is not kept. */
qx_status
qx_looks_take(qx_ctx *cx, const char *path, const qx_findings *findings, const char *by);

#endif
