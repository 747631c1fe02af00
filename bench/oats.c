/* bench/oats.c - the C side of bench/run: the oats split plot, analysed again and again.
 *
 *     bench_oats PROTOCOL.yaml DATA.csv REPEATS
 *
 * `whole` is everything that `quincunx analyse` does between reading and printing: model from
 * the units, REML, Kenward-Roger tests, means, all pairs with Tukey and equivalence, simple
 * effects, contrasts, components with intervals and tests, checks, verdicts and replicates to
 * settle. `fit` is the REML fit alone. Prints `time WHAT SECONDS` (one line a repeat, the
 * first run left out), `value KEY NUMBER`, and `memory KIB` (the process's peak). */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>

#include "base/ctx.h"
#include "base/decimal.h"
#include "findings/analyse.h"
#include "findings/choose.h"
#include "findings/frame_of.h"
#include "model/lmm.h"
#include "trial/check.h"
#include "trial/read_yaml.h"

typedef struct bench {
    qx_ctx *cx;
    const qx_protocol *protocol;
    const qx_table *table;
    qx_variate_frame data;
    qx_choice choice;
} bench;

static void stop(const bench *b, const char *what)
{
    fprintf(stderr, "bench_oats: %s: %s\n", what, qx_ctx_message(b->cx));
    exit(1);
}

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void whole(bench *b)
{
    qx_findings *findings;
    if (qx_analyse(b->cx, b->protocol, b->table, NULL, &findings) != QX_OK) {
        stop(b, "analyse");
    }
    qx_findings_free(findings);
    qx_ctx_clear(b->cx);
}

static void fit(bench *b)
{
    qx_lmm *lmm;
    const qx_lmm_spec spec =
        qx_choice_spec(&b->choice, &b->data, b->protocol->analysis.level);
    if (qx_lmm_fit(b->cx, &spec, &lmm) != QX_OK) {
        stop(b, "fit");
    }
    qx_lmm_free(lmm);
    qx_ctx_clear(b->cx);
}

static void repeat(bench *b, const char *what, void (*work)(bench *), long repeats)
{
    work(b);
    for (long i = 0; i < repeats; i++) {
        const double start = now();
        work(b);
        printf("time %s %.9f\n", what, now() - start);
    }
}

static void print_value(const char *what, const char *name, double x)
{
    char number[QX_NUMBER_ROOM];
    printf("value %s.%s %s\n", what, name, qx_number_exact(x, number));
}

static void print_tests(const qx_result *r)
{
    for (size_t i = 0; i < r->test_count; i++) {
        const qx_test_line *t = &r->test[i];
        if (t->statistic != NULL) {
            print_value("F", t->term, t->value);
            print_value("df", t->term, t->den_df);
            print_value("p", t->term, t->p);
        }
    }
}

static void print_means(const qx_result *r)
{
    for (size_t i = 0; i < r->mean_count; i++) {
        const qx_mean *m = &r->mean[i];
        if (m->cell.count == 1) {
            print_value("mean", m->cell.level[0], m->estimate);
            print_value("mean_se", m->cell.level[0], m->se);
            print_value("mean_df", m->cell.level[0], m->df);
        }
    }
}

/* Both directions: R chooses its own. */
static void print_pairs(const qx_result *r)
{
    for (size_t i = 0; i < r->difference_count; i++) {
        const qx_difference *d = &r->difference[i];
        if (d->first.count != 1) {
            continue;
        }
        for (int turned = 0; turned < 2; turned++) {
            const char *a = turned ? d->second.level[0] : d->first.level[0];
            const char *c = turned ? d->first.level[0] : d->second.level[0];
            char pair[100];
            snprintf(pair, sizeof pair, "%s-%s", a, c);
            print_value("difference", pair, turned ? -d->estimate : d->estimate);
            print_value("p_adjusted", pair, d->p_adjusted);
        }
    }
}

static void print_values(bench *b)
{
    qx_findings *findings;
    if (qx_analyse(b->cx, b->protocol, b->table, NULL, &findings) != QX_OK) {
        stop(b, "analyse");
    }
    print_tests(&findings->result[0]);
    print_means(&findings->result[0]);
    print_pairs(&findings->result[0]);
    qx_findings_free(findings);
}

int main(int argc, char **argv)
{
    bench b = {.cx = qx_ctx_new()};
    qx_arena *arena = qx_arena_new();
    qx_protocol *protocol;
    qx_table *table;
    bool *bad;
    if (argc != 4 || b.cx == NULL || arena == NULL) {
        fprintf(stderr, "usage: bench_oats PROTOCOL.yaml DATA.csv REPEATS\n");
        return 2;
    }
    qx_problems *problems = qx_problems_new(arena);
    const long repeats = strtol(argv[3], NULL, 10);
    if (qx_protocol_read(b.cx, argv[1], problems, &protocol) != QX_OK) {
        stop(&b, argv[1]);
    }
    if (qx_data_read(b.cx, protocol, argv[2], false, problems, &table, &bad) != QX_OK) {
        stop(&b, argv[2]);
    }
    b.protocol = protocol;
    b.table = table;
    if (qx_frame_of(b.cx, arena, protocol, table, 0, &b.data) != QX_OK ||
        qx_choose(b.cx, arena, protocol, 0, &b.data, &b.choice) != QX_OK) {
        stop(&b, "model");
    }
    repeat(&b, "whole", whole, repeats);
    repeat(&b, "fit", fit, repeats);
    print_values(&b);
    struct rusage usage;
    getrusage(RUSAGE_SELF, &usage);
    printf("memory %ld\n", usage.ru_maxrss);
    qx_table_free(table);
    qx_protocol_free(protocol);
    qx_arena_free(arena);
    qx_ctx_free(b.cx);
    return 0;
}
