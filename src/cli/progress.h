/* cli/progress.h - a bar on standard error for work that lasts over a second, on a terminal
 * only. */
#ifndef QX_CLI_PROGRESS_H
#define QX_CLI_PROGRESS_H

#include "base/ctx.h"

typedef struct qx_bar {
    double begun; /* seconds */
    double drawn; /* when it was drawn last; 0: not yet */
} qx_bar;

/* Listens to `cx` if standard error is a terminal. `bar` must outlive the work. */
void qx_bar_begin(qx_bar *bar, qx_ctx *cx);

/* Wipes the bar away. */
void qx_bar_end(qx_bar *bar, qx_ctx *cx);

#endif
