/* tasks/analyse_file.h - a trial as named on the command line to its findings. */
#ifndef QX_TASKS_ANALYSE_FILE_H
#define QX_TASKS_ANALYSE_FILE_H

#include "findings/findings.h"
#include "tasks/load.h"

typedef struct qx_analysed {
    qx_loaded loaded; /* what the findings were made from; they borrow from it */
    qx_findings *findings;
} qx_analysed;

/* Loads (tasks/load.h) and analyses, with the arithmetic that is asked for. The caller frees
 * *out with qx_analysed_free. */
qx_status qx_analyse_file(qx_ctx *cx,
                          const char *path,
                          const char *data,
                          qx_arithmetic arithmetic,
                          const char *by,
                          qx_problems *problems,
                          qx_analysed *out);

void qx_analysed_free(qx_analysed *analysed);

#endif
