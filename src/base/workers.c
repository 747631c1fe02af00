/* base/workers.c - a team of threads that take the next task until there is none. */
#include "base/workers.h"

#include <limits.h>
#include <stdatomic.h>
#include <stdint.h>

#ifdef _OPENMP
#include <omp.h>
#endif

#define NO_TASK SIZE_MAX

/* What the workers of one run share. */
typedef struct team {
    qx_ctx *cx; /* of the caller */
    const char *what;
    size_t tasks;
    qx_task *run;
    void *shared;
    atomic_size_t next; /* task to be handed out */
    atomic_size_t done;
    atomic_bool stop; /* no new task begins */
} team;

/* One thread's own. */
typedef struct worker {
    qx_ctx *cx;
    size_t failed; /* the task that failed, or NO_TASK */
} worker;

static void tell(team *all)
{
    size_t done = atomic_load(&all->done);
    done = done > all->tasks ? all->tasks : done;
    qx_ctx_progress(all->cx, all->what, done, all->tasks);
}

/* One task; false: the worker ends. */
static bool one(team *all, worker *me, size_t task)
{
    qx_status status = QX_OK;
    QX_SCRATCH(me->cx, status, all->run(me->cx, all->shared, task));
    if (status != QX_OK) {
        /* A task that failed without saying why still has a status to hand on. */
        (void)qx_fail(me->cx, status, "task %zu failed", task);
        me->failed = task;
        atomic_store(&all->stop, true);
        return false;
    }
    qx_ctx_clear(me->cx);
    atomic_fetch_add(&all->done, 1);
    return true;
}

/* Takes tasks until there is none. Only the calling thread tells of progress. */
static void work(team *all, worker *me, bool calling)
{
    while (!atomic_load(&all->stop)) {
        if (qx_ctx_cancelled(all->cx)) {
            atomic_store(&all->stop, true);
            return;
        }
        const size_t task = atomic_fetch_add(&all->next, 1);
        if (task >= all->tasks || !one(all, me, task)) {
            return;
        }
        if (calling) {
            tell(all);
        }
    }
}

size_t qx_workers_threads(size_t threads, size_t tasks)
{
    size_t most = 1;
#ifdef _OPENMP
    if (!omp_in_parallel()) {
        const int cores = omp_get_num_procs();
        most = threads > 0 ? threads : (size_t)(cores > 0 ? cores : 1);
    }
#else
    (void)threads;
#endif
    most = most > tasks ? tasks : most;
    most = most > INT_MAX ? INT_MAX : most;
    return most > 0 ? most : 1;
}

static void run_team(team *all, worker workers[], size_t threads)
{
#ifdef _OPENMP
    if (threads > 1) {
        /* The team may turn out smaller than asked for: its own contexts then idle. */
#pragma omp parallel num_threads((int)threads) default(none) shared(all, workers)
        {
            const size_t me = (size_t)omp_get_thread_num();
            work(all, &workers[me], me == 0);
        }
        return;
    }
#else
    (void)threads;
#endif
    work(all, &workers[0], true);
}

static void free_worker(void *cx)
{
    qx_ctx_free(cx);
}

static qx_status hire(qx_ctx *cx, worker workers[], size_t threads)
{
    for (size_t i = 0; i < threads; i++) {
        workers[i].failed = NO_TASK;
        workers[i].cx = qx_ctx_new_worker(cx);
        if (workers[i].cx == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for worker %zu", i);
        }
        if (qx_arena_defer(qx_ctx_scratch(cx), free_worker, workers[i].cx) != QX_OK) {
            qx_ctx_free(workers[i].cx);
            return qx_fail(cx, QX_E_NOMEM, "no memory for worker %zu", i);
        }
    }
    return QX_OK;
}

/* The failure of the lowest task goes to the caller's context. */
static qx_status outcome(team *all, const worker workers[], size_t threads)
{
    const worker *first = &workers[0];
    for (size_t i = 1; i < threads; i++) {
        if (workers[i].failed < first->failed) {
            first = &workers[i];
        }
    }
    if (first->failed != NO_TASK) {
        return qx_ctx_fail(all->cx,
                           qx_ctx_status(first->cx),
                           qx_ctx_file(first->cx),
                           qx_ctx_line(first->cx),
                           "%s",
                           qx_ctx_message(first->cx));
    }
    if (atomic_load(&all->done) < all->tasks) {
        return qx_fail(all->cx, QX_E_CANCELLED, "stopped on request");
    }
    tell(all);
    return QX_OK;
}

static qx_status run_tasks(qx_ctx *cx, team *all, size_t threads)
{
    worker *workers = NULL;
    QX_NEW(cx, workers, threads);
    QX_TRY(hire(cx, workers, threads));
    run_team(all, workers, threads);
    return outcome(all, workers, threads);
}

qx_status qx_workers_run(qx_ctx *cx,
                         const qx_workers_options *options,
                         size_t tasks,
                         qx_task *run,
                         void *shared)
{
    if (run == NULL) {
        return qx_fail(cx, QX_E_ARG, "there is no task to run");
    }
    static const qx_workers_options defaults = QX_WORKERS_DEFAULTS;
    options = options == NULL ? &defaults : options;
    team all = {.cx = cx,
                .what = options->what == NULL ? "tasks" : options->what,
                .tasks = tasks,
                .run = run,
                .shared = shared};
    atomic_init(&all.next, 0);
    atomic_init(&all.done, 0);
    atomic_init(&all.stop, false);
    qx_status status = QX_OK;
    QX_SCRATCH(
        cx, status, run_tasks(cx, &all, qx_workers_threads(options->threads, tasks)));
    return status;
}
