/* tasks/inspect_trial.h - is a trial file what the program made, or did somebody change it
 * with another program?
 *
 *   protocol   against its digest
 *   layout     against its digest, and drawn again from the seed, with its trees
 *   tree list  it must be there, and give each thing the tree that it has
 *   records    nothing deleted, no revision missing (store/inspect.h)
 *
 * Not here: single values (store/inspect.h), which an analysis refuses. */
#ifndef QX_TASKS_INSPECT_TRIAL_H
#define QX_TASKS_INSPECT_TRIAL_H

#include "base/problems.h"
#include "store/trial_file.h"

/* `drawn`: the layout as the file has it, without changes that were kept with a reason
 * (qx_trial_file_drawn). Each difference is added to `problems`, placed in the file. Name and
 * digest of the tree list are given in `arena`, NULL without one. Cost: drawing it again. */
qx_status qx_inspect_trial(qx_ctx *cx,
                           qx_trial_file *file,
                           const qx_protocol *protocol,
                           const qx_layout *drawn,
                           qx_problems *problems,
                           qx_arena *arena,
                           const char **trees,
                           const char **trees_digest);

/* The same as sentences in `arena`, for the findings. */
qx_status qx_changed_by_hand(qx_ctx *cx,
                             qx_trial_file *file,
                             const qx_protocol *protocol,
                             qx_arena *arena,
                             size_t *count,
                             const char *const **out);

#endif
