/* bench/shares.c - the C side of bench/run-shares: binomial models with random trees.
 *
 *     bench_shares fit REPEATS
 *     bench_shares trials REPLICATES REPEATS CHECKED [THREADS]
 *     bench_shares bootstrap REPLICATES REPEATS
 *
 * fit        8 treatments, 10 trees each, 6 branches, 20 buds: k of n ~ treatment + tree,
 *            Laplace, standard errors from the joint Hessian.
 * trials     8 blocks of 4 treatments (a tree each), 6 branches, 20 buds. Each replicate: its
 *            data, the model with treatment and that without, the likelihood ratio.
 * bootstrap  one such trial (seed 2001), drawn again from the fit without treatment, both
 *            models fitted to each draw.
 *
 * Data from the stream of bench/park_miller.h. Prints `time WHAT SECONDS` (one line a repeat,
 * the first left out), `value KEY NUMBER`, and of the first CHECKED trials `lrt REPLICATE
 * NUMBER` and `y REPLICATE.ROW VALUE`. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/workers.h"
#include "model/glmm_bootstrap.h"
#include "park_miller.h"

#define SIZE       20
#define BRANCHES   6
#define TREATMENTS 4
#define BLOCKS     8
#define TREES      (BLOCKS * TREATMENTS)
#define ROWS       (TREES * BRANCHES)
#define CRD_LEVELS 8
#define CRD_EACH   10
#define CRD_TREES  (CRD_LEVELS * CRD_EACH)
#define CRD_ROWS   (CRD_TREES * BRANCHES)

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Smallest k with P(K <= k) >= u: sums of probabilities, and next to a tie the distribution
 * itself, so that the data are those of qbinom. */
static double binomial_quantile(double u, double eta)
{
    const double odds = exp(eta), p = odds / (1 + odds);
    double k = 0, term = pow(1 / (1 + odds), SIZE), sum = term;
    while (k < SIZE) {
        const bool tie = fabs(sum - u) < 1e-12;
        if (tie ? qx_binomial_p(k, SIZE, p, QX_LOWER) >= u : sum >= u) {
            break;
        }
        term *= (SIZE - k) / (k + 1) * odds;
        sum += term;
        k += 1;
    }
    return k;
}

static void draw_crd(double k[CRD_ROWS])
{
    uint64_t x = 20250101;
    double tree[CRD_TREES];
    for (size_t i = 0; i < CRD_TREES; i++) {
        tree[i] = 0.5 * park_miller_normal(&x);
    }
    for (size_t i = 0; i < CRD_ROWS; i++) {
        const size_t t = i / BRANCHES;
        const double level = (double)(t / CRD_EACH);
        k[i] = binomial_quantile(park_miller_uniform(&x), -1 + level * 0.2 + tree[t]);
    }
}

static void draw(uint64_t seed, double k[ROWS])
{
    static const double mean[TREATMENTS] = {-0.5, -0.5, -0.5, 0.2};
    uint64_t x = seed;
    double block[BLOCKS], tree[TREES];
    for (size_t i = 0; i < BLOCKS; i++) {
        block[i] = 0.3 * park_miller_normal(&x);
    }
    for (size_t i = 0; i < TREES; i++) {
        tree[i] = 0.4 * park_miller_normal(&x);
    }
    for (size_t i = 0; i < ROWS; i++) {
        const size_t t = i / BRANCHES;
        k[i] = binomial_quantile(park_miller_uniform(&x),
                                 mean[t % TREATMENTS] + block[t / TREATMENTS] + tree[t]);
    }
}

/* ---- the two layouts ------------------------------------------------------------------- */

typedef struct layout {
    qx_factor factor[3];
    qx_frame frame;
    qx_term term;
    qx_random_term random[2];
    uint32_t treatment[CRD_ROWS], block[CRD_ROWS], tree[CRD_ROWS];
    double size[CRD_ROWS];
    qx_glmm_spec spec;
} layout;

static void lay_out(layout *l, bool blocks)
{
    static const char *const level[] = {"1", "2", "3", "4", "5", "6", "7", "8"};
    const size_t rows = blocks ? ROWS : CRD_ROWS;
    for (size_t i = 0; i < rows; i++) {
        const uint32_t tree = (uint32_t)(i / BRANCHES);
        l->tree[i] = tree;
        l->block[i] = tree / TREATMENTS;
        l->treatment[i] = blocks ? tree % TREATMENTS : tree / CRD_EACH;
        l->size[i] = SIZE;
    }
    l->factor[0] = (qx_factor){.name = "treatment",
                               .level_count = blocks ? TREATMENTS : CRD_LEVELS,
                               .level = level,
                               .code = l->treatment};
    l->factor[1] = (qx_factor){
        .name = "tree", .level_count = blocks ? TREES : CRD_TREES, .code = l->tree};
    l->factor[2] = (qx_factor){.name = "block", .level_count = BLOCKS, .code = l->block};
    l->frame = (qx_frame){.n = rows, .factor_count = 3, .factor = l->factor};
    l->term = (qx_term){.name = "treatment", .factor_count = 1, .number = QX_NO_COLUMN};
    l->random[0] = (qx_random_term){blocks ? "block" : "tree", blocks ? 2 : 1};
    l->random[1] = (qx_random_term){"block:tree", 1};
    l->spec = (qx_glmm_spec){.frame = &l->frame,
                             .size = l->size,
                             .term_count = 1,
                             .term = &l->term,
                             .random_count = blocks ? 2 : 1,
                             .random = l->random,
                             .family = qx_family_find("binomial"),
                             .link = QX_LINK_LOGIT,
                             .level = 0.95};
}

/* ---- workloads ------------------------------------------------------------------------- */

static qx_status time_fit(qx_ctx *cx, size_t repeats)
{
    static layout l;
    static double k[CRD_ROWS];
    double sum = 0;
    lay_out(&l, false);
    draw_crd(k);
    l.spec.k = k;
    for (size_t i = 0; i <= repeats; i++) {
        qx_glmm *fit;
        const double start = now();
        QX_TRY(qx_glmm_fit(cx, &l.spec, &fit));
        if (i > 0) {
            printf("time fit %.9f\n", now() - start);
        }
        if (i == repeats) {
            for (size_t j = 0; j < CRD_ROWS; j++) {
                sum += k[j];
            }
            printf("value sum %.17g\nvalue log_likelihood %.17g\nvalue sd %.17g\n",
                   sum,
                   fit->log_likelihood,
                   fit->sd[0]);
            for (size_t j = 0; j < fit->p; j++) {
                printf("value beta%zu %.17g\nvalue se%zu %.17g\n",
                       j,
                       fit->beta[j],
                       j,
                       sqrt(QX_AT(fit->covariance, j, j)));
            }
        }
        qx_glmm_free(fit);
    }
    return QX_OK;
}

typedef struct trials {
    qx_glmm *whole, *null;
    double *lrt;
} trials;

static qx_status one(qx_ctx *cx, void *shared, size_t task)
{
    trials *all = shared;
    double k[ROWS];
    qx_glmm_quick a = {0}, b = {0};
    draw(park_miller_seed(task + 1), k);
    QX_TRY(qx_glmm_refit(cx, all->whole, k, false, &a));
    QX_TRY(qx_glmm_refit(cx, all->null, k, false, &b));
    all->lrt[task] = a.converged && b.converged
                         ? 2 * (a.log_likelihood - b.log_likelihood)
                         : (double)NAN;
    return QX_OK;
}

/* Both models to one trial; what stays the same is made here. */
static qx_status prepare(qx_ctx *cx, layout *l, double k[ROWS], trials *all, qx_mat *L)
{
    lay_out(l, true);
    l->spec.k = k;
    QX_TRY(qx_glmm_fit(cx, &l->spec, &all->whole));
    QX_TRY(qx_design_marginal(cx, all->whole->arena, &all->whole->design, 0, L));
    return qx_glmm_restrict(cx, all->whole, *L, &all->null);
}

static void print_trials(const trials *all, size_t checked)
{
    for (size_t r = 0; r < checked; r++) {
        double k[ROWS];
        draw(park_miller_seed(r + 1), k);
        for (size_t i = 0; i < ROWS; i++) {
            printf("y %zu.%zu %.17g\n", r + 1, i + 1, k[i]);
        }
        printf("lrt %zu %.17g\n", r + 1, all->lrt[r]);
    }
}

static qx_status
time_trials(qx_ctx *cx, size_t count, size_t repeats, size_t checked, size_t threads)
{
    static layout l;
    double k[ROWS];
    const qx_workers_options options = {.threads = threads, .what = "trials"};
    trials all = {.lrt = qx_arena_alloc(qx_ctx_scratch(cx), count, sizeof(double))};
    qx_mat L;
    draw(park_miller_seed(1), k);
    QX_TRY(all.lrt == NULL ? QX_E_NOMEM : prepare(cx, &l, k, &all, &L));
    for (size_t i = 0; i <= repeats; i++) {
        const double start = now();
        QX_TRY(qx_workers_run(cx, &options, count, one, &all));
        if (i > 0) {
            printf("time trials %.9f\n", now() - start);
        }
    }
    print_trials(&all, checked < count ? checked : count);
    qx_glmm_free(all.null);
    qx_glmm_free(all.whole);
    return QX_OK;
}

static qx_status time_bootstrap(qx_ctx *cx, size_t count, size_t repeats)
{
    static layout l;
    double k[ROWS];
    trials all = {0};
    qx_glmm_bootstrap found = {0};
    qx_mat L;
    draw(2001, k);
    QX_TRY(prepare(cx, &l, k, &all, &L));
    for (size_t i = 0; i <= repeats; i++) {
        const double start = now();
        QX_TRY(qx_glmm_bootstrap_rows(cx, all.whole, L, count, 1, NULL, &found));
        if (i > 0) {
            printf("time bootstrap %.9f\n", now() - start);
        }
    }
    printf("value lrt %.17g\nvalue p %.17g\nvalue failed %zu\n",
           found.observed,
           found.p,
           found.failed);
    qx_glmm_free(all.null);
    qx_glmm_free(all.whole);
    return QX_OK;
}

static size_t number(int argc, char **argv, int i)
{
    return i < argc ? strtoul(argv[i], NULL, 10) : 0;
}

int main(int argc, char **argv)
{
    qx_ctx *cx = qx_ctx_new();
    qx_status status = QX_E_USAGE;
    if (argc < 3 || cx == NULL) {
        fprintf(stderr, "usage: bench_shares fit|trials|bootstrap COUNT ...\n");
        return 2;
    }
    if (strcmp(argv[1], "fit") == 0) {
        status = time_fit(cx, number(argc, argv, 2));
    } else if (strcmp(argv[1], "trials") == 0) {
        status = time_trials(cx,
                             number(argc, argv, 2),
                             number(argc, argv, 3),
                             number(argc, argv, 4),
                             number(argc, argv, 5));
    } else if (strcmp(argv[1], "bootstrap") == 0) {
        status = time_bootstrap(cx, number(argc, argv, 2), number(argc, argv, 3));
    }
    if (status != QX_OK) {
        fprintf(stderr, "bench_shares: %s\n", qx_ctx_message(cx));
        return 1;
    }
    qx_ctx_free(cx);
    return 0;
}
