/* bench/calibration/main.c - runs the layouts and writes the table.
 *
 *     bench_calibration [--trials N] [--threads N] [--layout KEY] [--df METHOD] [--check]
 *                       [--continuous]
 *     bench_calibration --list
 *
 * METHOD: default (as the program analyses when the protocol says nothing), kenward-roger
 * (components held at zero), satterthwaite, containment. Writes Markdown to standard
 * output; it depends on seed, number of trials and version only. --check: exit status 1
 * when a rate lies outside its band by more than chance explains (four standard errors) and
 * the layout does not say why. --continuous: only layouts of continuous variates.
 * --layout: the section of one layout alone, for bench/calibrate, which puts them together;
 * --list: their keys; --trials N --layout head (or responses): the text before the sections
 * of continuous variates (or of the others). */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/workers.h"
#include "calibration.h"
#include "continuous.h"
#include "numeric/dist.h"

#define SEED          20261125U
#define CHANCE_ERRORS 4.0

typedef struct run {
    size_t trials;
    size_t threads;
    const char *only;
    bool check;
    bool list;
    bool continuous; /* only these, which are quick */
    calibration_options options;
} run;

typedef struct job {
    const calibration_layout *layout;
    const void *state;
    size_t measures;
    unsigned char *outcome; /* trials x measures */
} job;

static qx_status one(qx_ctx *cx, void *shared, size_t task)
{
    const job *j = shared;
    calibration_outcome outcome[CALIBRATION_MEASURES] = {CALIBRATION_NO};
    QX_TRY(j->layout->trial(cx, j->state, task, outcome));
    for (size_t i = 0; i < j->measures; i++) {
        j->outcome[task * j->measures + i] = (unsigned char)outcome[i];
    }
    return QX_OK;
}

/* Band of a rate that is as it should be. */
static void band(calibration_kind kind, double *low, double *high)
{
    *low = 0.0;
    *high = 1.0;
    switch (kind) {
    case CALIBRATION_ERROR:
        *low = 0.045;
        *high = 0.055;
        break;
    case CALIBRATION_COVERAGE:
        *low = 0.945;
        *high = 0.955;
        break;
    case CALIBRATION_AT_MOST:
        *high = 0.055;
        break;
    case CALIBRATION_AT_LEAST:
        *low = 0.945;
        break;
    case CALIBRATION_INFORMATIVE:
        break;
    }
}

static const char *target(calibration_kind kind)
{
    static const char *const text[] = {[CALIBRATION_ERROR] = "5",
                                       [CALIBRATION_COVERAGE] = "95",
                                       [CALIBRATION_AT_MOST] = "at most 5",
                                       [CALIBRATION_AT_LEAST] = "at least 95",
                                       [CALIBRATION_INFORMATIVE] = ""};
    return text[kind];
}

/* Wilson's interval (1927, J Am Stat Assoc 22:209-212). */
static void wilson(double hits, double n, double z, double *low, double *high)
{
    const double p = hits / n;
    const double middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    const double half =
        z / (1.0 + z * z / n) * sqrt(p * (1.0 - p) / n + z * z / (4.0 * n * n));
    *low = middle - half;
    *high = middle + half;
}

typedef struct tally {
    size_t off;       /* rates outside their band */
    size_t explained; /* of these, where the layout says why */
    size_t far_;      /* of the others, further than chance explains */
} tally;

static void
row(const run *r, const calibration_measure *m, double hits, double made, tally *sum)
{
    double low, high, chance_low, chance_high, from, to;
    band(m->kind, &low, &high);
    wilson(hits, made, qx_normal_q(0.025, QX_UPPER), &from, &to);
    wilson(hits, made, CHANCE_ERRORS, &chance_low, &chance_high);
    const double rate = hits / made;
    const bool off = rate < low || rate > high;
    sum->off += off ? 1 : 0;
    sum->explained += off && m->note != NULL ? 1 : 0;
    sum->far_ += m->note == NULL && (chance_high < low || chance_low > high) ? 1 : 0;
    printf("| %s | %s | %.2f | %.2f to %.2f | %s%s%s |",
           m->name,
           target(m->kind),
           100.0 * rate,
           100.0 * from,
           100.0 * to,
           off ? "off" : "",
           off && m->note != NULL ? ": " : "",
           off && m->note != NULL ? m->note : "");
    if (made < (double)r->trials) {
        printf(" not given in %.0f trials", (double)r->trials - made);
    }
    printf("\n");
}

static void
table(const run *r, const job *j, const calibration_measure measure[], tally *sum)
{
    printf("\n## %s\n\n%s.\n\n", j->layout->key, j->layout->title);
    printf("| measure | should be | %% | Monte Carlo 95 %% | |\n");
    printf("| --- | --- | ---: | --- | --- |\n");
    for (size_t i = 0; i < j->measures; i++) {
        size_t hits = 0, made = 0;
        for (size_t t = 0; t < r->trials; t++) {
            const unsigned char o = j->outcome[t * j->measures + i];
            hits += o == CALIBRATION_YES ? 1 : 0;
            made += o != CALIBRATION_NONE ? 1 : 0;
        }
        row(r, &measure[i], (double)hits, (double)made, sum);
    }
}

static qx_status layout(qx_ctx *cx, const run *r, const calibration_layout *l, tally *sum)
{
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(cx));
    const calibration_measure *measure;
    const qx_workers_options workers = {.threads = r->threads, .what = l->key};
    void *state = NULL;
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a layout");
    }
    QX_TRY(l->open(cx, arena, l, &r->options, &state));
    job j = {.layout = l, .state = state, .measures = l->measures(state, &measure)};
    QX_NEW_IN(cx, arena, j.outcome, r->trials * j.measures);
    const qx_status status = qx_workers_run(cx, &workers, r->trials, one, &j);
    if (status == QX_OK) {
        table(r, &j, measure, sum);
        (void)fflush(stdout);
    }
    l->close(state);
    return status;
}

static void head(const run *r, const char *df)
{
    printf(
        "<!-- written by bench/calibration; see bench/README.md -->\n\n"
        "# Calibration\n\n"
        "Tests at 5 %% and intervals of 95 %% over %zu simulated trials of each layout, "
        "seed %u, version %s, degrees of freedom: %s. No treatment has any effect, so "
        "that every rejection is an error; for equivalence the truth lies exactly at the "
        "margin. The last columns give the rate, its Monte Carlo interval (Wilson), and "
        "`off` where the rate lies outside 4.5 to 5.5 %% (errors) or 94.5 to 95.5 %% "
        "(coverage).\n",
        r->trials,
        SEED,
        QX_VERSION,
        df);
}

static void head_responses(void)
{
    printf(
        "\n# Counts, shares, grades and classes\n\n"
        "Layouts of the same program (`bench/calibration/responses_layouts.c`), each "
        "trial drawn twice: with no effect of the treatment (tests) and with one whose "
        "first two levels differ by just the margin (intervals, equivalence). *As "
        "told*: allowing for few units ([how](methods/few-units.md)); *chi-squared* "
        "and *normal*: as for endless data. Differences are judged all at once "
        "(Tukey), so that 95 %% is the least; classes without order class by class, here "
        "the first.\n");
}

static qx_status run_layouts(qx_ctx *cx, const run *r, tally *sum)
{
    bool begun = r->only != NULL;
    for (size_t i = 0; i < calibration_layout_count; i++) {
        const calibration_layout *l = calibration_layouts[i];
        qx_status status;
        if (!begun && !r->continuous && l->open != continuous_open) {
            head_responses();
            begun = true;
        }
        if ((r->only != NULL && strcmp(r->only, l->key) != 0) ||
            (r->continuous && l->open != continuous_open)) {
            continue;
        }
        QX_SCRATCH(cx, status, layout(cx, r, l, sum));
        QX_TRY(status);
    }
    return QX_OK;
}

/* Texts that are asked for instead of a run. */
static bool text_alone(const run *r, const char *df)
{
    if (r->list) {
        for (size_t i = 0; i < calibration_layout_count; i++) {
            printf("%s %s\n",
                   calibration_layouts[i]->open == continuous_open ? "continuous"
                                                                   : "responses",
                   calibration_layouts[i]->key);
        }
        return true;
    }
    if (r->only != NULL && strcmp(r->only, "head") == 0) {
        head(r, df);
        return true;
    }
    if (r->only != NULL && strcmp(r->only, "responses") == 0) {
        head_responses();
        return true;
    }
    return false;
}

static bool read_df(run *r, const char *word)
{
    static const char *const words[] = {"kenward-roger", "satterthwaite", "containment"};
    static const qx_df_method method[] = {
        QX_KENWARD_ROGER, QX_SATTERTHWAITE, QX_CONTAINMENT};
    r->options.unconstrained = strcmp(word, "default") == 0;
    r->options.df = QX_KENWARD_ROGER;
    for (size_t i = 0; i < QX_COUNT(words); i++) {
        if (strcmp(word, words[i]) == 0) {
            r->options.df = method[i];
            return true;
        }
    }
    return r->options.unconstrained;
}

static bool read_arguments(int argc, char **argv, run *r, const char **df)
{
    for (int i = 1; i < argc; i++) {
        if (strcmp(argv[i], "--check") == 0) {
            r->check = true;
            continue;
        }
        if (strcmp(argv[i], "--list") == 0) {
            r->list = true;
            continue;
        }
        if (strcmp(argv[i], "--continuous") == 0) {
            r->continuous = true;
            continue;
        }
        if (i + 1 == argc) {
            return false;
        }
        const char *value = argv[++i];
        if (strcmp(argv[i - 1], "--trials") == 0) {
            r->trials = strtoul(value, NULL, 10);
        } else if (strcmp(argv[i - 1], "--threads") == 0) {
            r->threads = strtoul(value, NULL, 10);
        } else if (strcmp(argv[i - 1], "--layout") == 0) {
            r->only = value;
        } else if (strcmp(argv[i - 1], "--df") == 0) {
            *df = value;
        } else {
            return false;
        }
    }
    return r->trials > 0 && read_df(r, *df);
}

int main(int argc, char **argv)
{
    run r = {.trials = 10000, .options = {.seed = SEED}};
    tally sum = {0, 0, 0};
    const char *df = "default";
    if (!read_arguments(argc, argv, &r, &df)) {
        fprintf(stderr,
                "usage: bench_calibration [--trials N] [--threads N] [--layout KEY] "
                "[--df METHOD] [--check] [--continuous] [--list]\n");
        return 2;
    }
    if (text_alone(&r, df)) {
        return 0;
    }
    qx_ctx *cx = qx_ctx_new();
    if (cx == NULL) {
        return 3;
    }
    if (r.only == NULL) {
        head(&r, df);
    }
    const qx_status status = run_layouts(cx, &r, &sum);
    if (status != QX_OK) {
        fprintf(stderr, "bench_calibration: %s\n", qx_ctx_message(cx));
        qx_ctx_free(cx);
        return 3;
    }
    fprintf(stderr,
            "%zu rates lie outside their bands, %zu of them where it is said why; of the "
            "others %zu by more than chance explains.\n",
            sum.off,
            sum.explained,
            sum.far_);
    qx_ctx_free(cx);
    return r.check && sum.far_ > 0 ? 1 : 0;
}
