/* bench/trials.c - the C side of bench/run-trials: simulated trials, fitted again and again.
 *
 *     bench_trials REPLICATES REPEATS CHECKED [THREADS]
 *
 * 6 blocks of 4 treatments, one tree each with 5 branches: 120 rows; means 30, 30, 30 and
 * 33, standard deviations 2 (block), 2 (tree) and 4 (branch). Each replicate: its data from
 * the stream of bench/park_miller.h, REML with blocks and trees, Kenward-Roger F test of
 * treatment. Prints `time trials SECONDS` (one line a repeat, the first left out), and of
 * the first CHECKED `p REPLICATE NUMBER` and `y REPLICATE.ROW VALUE`. */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "base/workers.h"
#include "model/refit.h"
#include "park_miller.h"

#define BLOCKS     6
#define TREATMENTS 4
#define BRANCHES   5
#define TREES      (BLOCKS * TREATMENTS)
#define ROWS       (TREES * BRANCHES)

typedef struct trials {
    qx_lmm_plan *plan;
    qx_mat treatment; /* 3 x p: rows of the hypothesis */
    double *p;        /* of each replicate */
} trials;

static void draw(size_t replicate, double y[ROWS])
{
    static const double mean[TREATMENTS] = {30, 30, 30, 33};
    uint64_t x = park_miller_seed(replicate);
    double block[BLOCKS];
    double tree[TREES];
    for (size_t i = 0; i < BLOCKS; i++) {
        block[i] = 2 * park_miller_normal(&x);
    }
    for (size_t i = 0; i < TREES; i++) {
        tree[i] = 2 * park_miller_normal(&x);
    }
    for (size_t i = 0; i < ROWS; i++) {
        const size_t t = i / BRANCHES;
        y[i] = mean[t % TREATMENTS] + block[t / TREATMENTS] + tree[t] +
               4 * park_miller_normal(&x);
    }
}

static qx_status one(qx_ctx *cx, void *shared, size_t task)
{
    trials *all = shared;
    double y[ROWS];
    qx_lmm *fit;
    qx_joint_test test;
    draw(task + 1, y);
    QX_TRY(qx_lmm_refit(cx, all->plan, y, 0.0, &fit));
    const qx_status status = qx_lmm_test(cx, fit, all->treatment, &test);
    qx_lmm_free(fit);
    QX_TRY(status);
    all->p[task] = test.p;
    return QX_OK;
}

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* The layout and what all replicates share. */
static qx_status prepare(qx_ctx *cx, qx_arena *arena, trials *all)
{
    static uint32_t block[ROWS], tree[ROWS], treatment[ROWS];
    static const char *const level[TREATMENTS] = {"1", "2", "3", "4"};
    static const qx_factor factor[] = {
        {.name = "treatment",
         .level_count = TREATMENTS,
         .level = level,
         .code = treatment},
        {.name = "block", .level_count = BLOCKS, .code = block},
        {.name = "block:tree", .level_count = TREES, .code = tree}};
    static const qx_frame frame = {.n = ROWS, .factor_count = 3, .factor = factor};
    static const qx_term term = {
        .name = "treatment", .factor_count = 1, .number = QX_NO_COLUMN};
    static const qx_random_term random[] = {{"block", 1}, {"block:tree", 2}};
    const qx_lmm_spec spec = {.frame = &frame,
                              .term_count = 1,
                              .term = &term,
                              .random_count = 2,
                              .random = random,
                              .df = QX_KENWARD_ROGER,
                              .level = 0.95};
    for (size_t i = 0; i < ROWS; i++) {
        tree[i] = (uint32_t)(i / BRANCHES);
        block[i] = tree[i] / TREATMENTS;
        treatment[i] = tree[i] % TREATMENTS;
    }
    qx_design design;
    QX_TRY(qx_design_make(cx, arena, &frame, 1, &term, &design));
    QX_TRY(qx_design_marginal(cx, arena, &design, 0, &all->treatment));
    return qx_lmm_plan_new(cx, &spec, &all->plan);
}

static void print(const trials *all, size_t checked)
{
    for (size_t i = 0; i < checked; i++) {
        double y[ROWS];
        draw(i + 1, y);
        for (size_t row = 0; row < ROWS; row++) {
            printf("y %zu.%zu %.17g\n", i + 1, row + 1, y[row]);
        }
        printf("p %zu %.17g\n", i + 1, all->p[i]);
    }
}

int main(int argc, char **argv)
{
    qx_ctx *cx = qx_ctx_new();
    qx_arena *arena = qx_arena_new();
    if (argc < 4 || cx == NULL || arena == NULL) {
        fprintf(stderr, "usage: bench_trials REPLICATES REPEATS CHECKED [THREADS]\n");
        return 2;
    }
    const size_t replicates = strtoul(argv[1], NULL, 10);
    const size_t repeats = strtoul(argv[2], NULL, 10);
    const size_t checked = strtoul(argv[3], NULL, 10);
    const qx_workers_options options = {
        .threads = argc > 4 ? strtoul(argv[4], NULL, 10) : 0, .what = "trials"};
    trials all = {.p = qx_arena_alloc(arena, replicates, sizeof(double))};
    qx_status status = all.p == NULL ? QX_E_NOMEM : prepare(cx, arena, &all);
    for (size_t i = 0; i <= repeats && status == QX_OK; i++) {
        const double start = now();
        status = qx_workers_run(cx, &options, replicates, one, &all);
        if (i > 0) {
            printf("time trials %.9f\n", now() - start);
        }
    }
    if (status != QX_OK) {
        fprintf(stderr, "bench_trials: %s\n", qx_ctx_message(cx));
        return 1;
    }
    print(&all, checked < replicates ? checked : replicates);
    qx_lmm_plan_free(all.plan);
    qx_arena_free(arena);
    qx_ctx_free(cx);
    return 0;
}
