/* base/workers.h - the same task many times, on all cores. Cover of OpenMP; without it the
 * tasks run one after the other on the calling thread.
 *
 * A task is told its number and nothing about threads: a random stream is numbered by the
 * task (numeric/rng.h) and each task writes to its own place in `shared`, so what comes
 * out does not depend on the number of threads. `shared` is read by all at once; what a
 * task writes elsewhere in it is a race.
 *
 * Each worker has a context of its own: scratch is rewound and notes are forgotten after
 * every task. Tasks are handed out in their order. After a failure no new task begins, and
 * the failure of the lowest task is the one that the caller's context gets, whatever
 * thread was first. Cancelling the caller's context stops all workers (QX_E_CANCELLED),
 * between tasks and wherever a task asks qx_ctx_cancelled. The listener for progress is
 * called from the calling thread only.
 *
 * A run inside a task uses the one thread that it is on. BLAS keeps to one thread by
 * itself (numeric/dense.c). */
#ifndef QX_BASE_WORKERS_H
#define QX_BASE_WORKERS_H

#include <stddef.h>

#include "base/ctx.h"

/* Task number `task` (0 ... tasks - 1); `shared` is what qx_workers_run was given. */
typedef qx_status qx_task(qx_ctx *cx, void *shared, size_t task);

typedef struct qx_workers_options {
    size_t threads;   /* how many at the most; 0: as many as there are cores */
    const char *what; /* what is counted, for the listener ("trials"); NULL: "tasks" */
} qx_workers_options;

#define QX_WORKERS_DEFAULTS                                                              \
    {                                                                                    \
        .threads = 0, .what = NULL                                                       \
    }

/* Runs the tasks 0 ... tasks - 1. `options` may be NULL. Errors: those of the tasks,
 * QX_E_CANCELLED, QX_E_NOMEM. */
QX_API qx_status qx_workers_run(qx_ctx *cx,
                                const qx_workers_options *options,
                                size_t tasks,
                                qx_task *run,
                                void *shared);

/* How many threads a run with `threads` of the options would use for that many tasks,
 * at least 1: for those who keep something for each. */
QX_API size_t qx_workers_threads(size_t threads, size_t tasks);

#endif
