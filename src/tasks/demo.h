/* tasks/demo.h - the demonstration trial, from protocol to report, in a folder of its own.
 * What is in it: tasks/demo_trial.h. Everything is invented and says so. */
#ifndef QX_TASKS_DEMO_H
#define QX_TASKS_DEMO_H

#include "base/ctx.h"
#include "base/problems.h"

/* Told before each step, in words: "drawing the layout". */
typedef void qx_demo_step(void *listener, const char *step);

/* Runs all steps; files of an earlier demonstration are replaced, another trial's are not
 * (QX_E_EXISTS). *report is the path of the report; *answer holds the question and the
 * findings in sentences. Both in `arena`. */
qx_status qx_demo(qx_ctx *cx,
                  const char *folder,
                  qx_demo_step *step,
                  void *listener,
                  qx_problems *problems,
                  qx_arena *arena,
                  const char **report,
                  const char **answer);

#endif
