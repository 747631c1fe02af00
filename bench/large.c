/* bench/large.c - the C side of bench/run-large: 200 sites x 50 treatments, trees in each,
 * branches on trees.
 *
 *     bench_large ROWS crossed|fixed [REPEATS]
 *
 * The data are those of large.R, bit for bit: numbers of Park and Miller's generator with
 * multiplier 48271 (Park, Miller & Stockmeyer 1993, Comm ACM 36(7):105-110), one to each
 * normal by inversion; sites (sd 3), treatments (2), site x treatment (1), trees (1.5),
 * residuals (4), in this order. `crossed` is site + treatment + tree, all random; `fixed`
 * is treatment, and site + site x treatment + tree random.
 *
 * Prints `sum Y`, `criterion C`, `time read SECONDS` (the least of reading every column
 * once: y and the codes, summed), `time fit SECONDS` (one line a repeat: the whole of
 * qx_lmm_fit, with Kenward-Roger, fitted values and residuals), `memory data KIB` before the
 * first fit and `memory peak KIB` at the end. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>

#include "base/decimal.h"
#include "model/lmm.h"

#include "park_miller.h"

#define SITES      200
#define TREATMENTS 50

typedef struct large {
    size_t n, trees, branches;
    double *y;
    uint32_t *site, *treatment, *cell, *tree;
} large;

static void stop(const char *what)
{
    fprintf(stderr, "bench_large: %s\n", what);
    exit(1);
}

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static long peak_kib(void)
{
    struct rusage usage;
    getrusage(RUSAGE_SELF, &usage);
    return usage.ru_maxrss;
}

static void *room(size_t count, size_t size)
{
    void *p = calloc(count, size);
    if (p == NULL) {
        stop("no memory");
    }
    return p;
}

static double *normals(uint64_t *x, size_t n, double sd)
{
    double *out = room(n, sizeof *out);
    for (size_t i = 0; i < n; i++) {
        out[i] = sd * park_miller_normal(x);
    }
    return out;
}

static large make(size_t rows)
{
    const size_t per = rows / (SITES * TREATMENTS);
    large d = {.n = rows, .trees = per == 10 ? 5 : 10};
    uint64_t x = 20260101;
    d.branches = per / d.trees;
    if (per * SITES * TREATMENTS != rows || d.branches * d.trees != per || per == 0) {
        stop("rows must be 100000 or a multiple of it");
    }
    double *site = normals(&x, SITES, 3.0);
    double *treatment = normals(&x, TREATMENTS, 2.0);
    double *cell = normals(&x, SITES * TREATMENTS, 1.0);
    double *tree = normals(&x, SITES * TREATMENTS * d.trees, 1.5);
    d.y = room(rows, sizeof *d.y);
    d.site = room(rows, sizeof *d.site);
    d.treatment = room(rows, sizeof *d.treatment);
    d.cell = room(rows, sizeof *d.cell);
    d.tree = room(rows, sizeof *d.tree);
    for (size_t i = 0; i < rows; i++) {
        const size_t c = i / per;
        d.site[i] = (uint32_t)(c / TREATMENTS);
        d.treatment[i] = (uint32_t)(c % TREATMENTS);
        d.cell[i] = (uint32_t)c;
        d.tree[i] = (uint32_t)(i / d.branches);
        d.y[i] = 100.0 + site[d.site[i]] + treatment[d.treatment[i]] + cell[c] +
                 tree[d.tree[i]] + 4.0 * park_miller_normal(&x);
    }
    free(site);
    free(treatment);
    free(cell);
    free(tree);
    return d;
}

/* What the smallest conceivable pass over the data takes. */
static double read_once(const large *d)
{
    double best = 1e9;
    for (int k = 0; k < 5; k++) {
        const double start = now();
        volatile double sum = 0.0;
        double s = 0.0;
        for (size_t i = 0; i < d->n; i++) {
            s += d->y[i] + d->site[i] + d->treatment[i] + d->cell[i] + d->tree[i];
        }
        sum = s;
        (void)sum;
        best = now() - start < best ? now() - start : best;
    }
    return best;
}

int main(int argc, char **argv)
{
    qx_ctx *cx = qx_ctx_new();
    if (argc < 3 || cx == NULL) {
        fprintf(stderr, "usage: bench_large ROWS crossed|fixed [REPEATS]\n");
        return 2;
    }
    large d = make((size_t)strtoul(argv[1], NULL, 10));
    const bool fixed = strcmp(argv[2], "fixed") == 0;
    const long repeats = argc > 3 ? strtol(argv[3], NULL, 10) : 1;
    const qx_factor factor[] = {
        {.name = "site", .level_count = SITES, .code = d.site},
        {.name = "treatment", .level_count = TREATMENTS, .code = d.treatment},
        {.name = "site:treatment", .level_count = SITES * TREATMENTS, .code = d.cell},
        {.name = "site:treatment:tree",
         .level_count = SITES * TREATMENTS * d.trees,
         .code = d.tree}};
    const qx_frame frame = {.n = d.n, .factor_count = 4, .factor = factor};
    const qx_term term[] = {{"treatment", 1, {1}, QX_NO_COLUMN}};
    const qx_random_term random[] = {
        {"site", 0}, {fixed ? "cell" : "treatment", fixed ? 2 : 1}, {"tree", 3}};
    const qx_lmm_spec spec = {.frame = &frame,
                              .y = d.y,
                              .term_count = fixed ? 1 : 0,
                              .term = term,
                              .random_count = 3,
                              .random = random,
                              .df = QX_KENWARD_ROGER,
                              .level = 0.95};
    char number[QX_NUMBER_ROOM];
    double sum = 0.0;
    for (size_t i = 0; i < d.n; i++) {
        sum += d.y[i];
    }
    printf("sum %s\n", qx_number_exact(sum, number));
    printf("time read %.9f\n", read_once(&d));
    printf("memory data %ld\n", peak_kib());
    for (long k = 0; k < repeats; k++) {
        qx_lmm *fit;
        const double start = now();
        if (qx_lmm_fit(cx, &spec, &fit) != QX_OK) {
            stop(qx_ctx_message(cx));
        }
        printf("time fit %.9f\n", now() - start);
        if (k == 0) {
            printf("criterion %s\n", qx_number_exact(fit->reml_criterion, number));
            printf("steps %zu\n", fit->iterations);
            for (size_t i = 0; i < fit->component_count; i++) {
                printf("variance %s %s\n",
                       fit->component[i].name,
                       qx_number_exact(fit->component[i].variance, number));
            }
        }
        qx_lmm_free(fit);
    }
    printf("memory peak %ld\n", peak_kib());
    qx_ctx_free(cx);
    return 0;
}
