/* tasks/change_layout.h - what was done otherwise than chance had drawn, into the trial
 * file: a list of things with the treatments that they really got. */
#ifndef QX_TASKS_CHANGE_LAYOUT_H
#define QX_TASKS_CHANGE_LAYOUT_H

#include "base/ctx.h"
#include "base/problems.h"

typedef struct qx_change_wish {
    const char *trial;  /* FILE.qx */
    const char *done;   /* CSV: columns of units (labels) and of treatments (levels) */
    const char *by;     /* who */
    const char *reason; /* why; needed */
} qx_change_wish;

/* Each row names one thing by the labels of its units; each treatment column that is not
 * empty says what it got; one must be. Two rows that say different things of one are a problem. Only what differs from the layout is kept. All rows in one
 * transaction: QX_E_INPUT when `problems` grew, and nothing is stored. *changes: how many. */
qx_status qx_change_layout(qx_ctx *cx,
                           const qx_change_wish *wish,
                           qx_problems *problems,
                           size_t *changes);

#endif
