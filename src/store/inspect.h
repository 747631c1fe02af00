/* store/inspect.h - do the tables of a trial file hold what the program would have stored?
 *
 * A trial file is an SQLite database, and people open it with other programs. What they leave
 * behind that the program would never have written is told, each as a problem of the file:
 *
 *   records  numbers that are missing (something was deleted), revisions that are not 1, 2,
 *            3 ..., rows that hang on rows that are not there, triggers
 *   values   texts that are not the number, class, season or date that they stand for, values
 *            out of range, shares of more than all or without their count, quantities that
 *            the protocol does not measure there, things without their place in the layout
 *
 * An analysis can go on after the first kind and tell it; the second kind it refuses.
 *
 * Not here: protocol, layout and tree list held against their digests and drawn again
 * (tasks/inspect_trial.h). */
#ifndef QX_STORE_INSPECT_H
#define QX_STORE_INSPECT_H

#include "store/trial_file.h"

/* Both add to `problems` and are QX_OK when they could look. Errors: those of
 * trial_file.h. Cost: each value is read once. */
qx_status qx_inspect_records(qx_ctx *cx, qx_trial_file *file, qx_problems *problems);
qx_status qx_inspect_values(qx_ctx *cx,
                            qx_trial_file *file,
                            const qx_protocol *protocol,
                            qx_problems *problems);

#endif
