/* store/layout_change.h - what was done otherwise than chance had drawn: a tree that got
 * another treatment by mistake, or for a good reason. The drawn layout stays as it is; the
 * change is added, with who, when and why, and from then on analyses go by what was done. */
#ifndef QX_STORE_LAYOUT_CHANGE_H
#define QX_STORE_LAYOUT_CHANGE_H

#include "store/trial_file.h"

typedef struct qx_layout_change {
    size_t placed, treatment, level; /* numbers in layout and protocol */
    size_t drawn;                    /* what it had been given; QX_NONE: nothing */
    const char *changed_at, *changed_by, *reason; /* read only */
} qx_layout_change;

/* Adds changes in one transaction; the file is open to record. `reason` must say something
 * (QX_E_ARG). QX_E_INPUT: a thing that does not carry the treatment. */
qx_status qx_layout_changes_add(qx_ctx *cx,
                                qx_trial_file *file,
                                const qx_protocol *protocol,
                                size_t count,
                                const qx_layout_change change[],
                                const char *by,
                                const char *reason);

/* All of them, in their order, in `arena`. */
qx_status qx_layout_changes_read(qx_ctx *cx,
                                 qx_trial_file *file,
                                 const qx_protocol *protocol,
                                 qx_arena *arena,
                                 size_t *count,
                                 const qx_layout_change **out);

#endif
