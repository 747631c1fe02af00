/* tasks/changes_told.h - hand changes of a layout as sentences: who did what otherwise, when
 * and why. */
#ifndef QX_TASKS_CHANGES_TOLD_H
#define QX_TASKS_CHANGES_TOLD_H

#include "store/layout_change.h"

/* In `arena`, in the order of the changes. QX_E_INPUT: a change names a thing that is not
 * in the layout. */
qx_status qx_changes_told(qx_ctx *cx,
                          qx_trial_file *file,
                          const qx_protocol *protocol,
                          const qx_layout *layout,
                          qx_arena *arena,
                          size_t *count,
                          const char *const **out);

#endif
