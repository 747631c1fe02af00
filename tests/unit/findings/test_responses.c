/* Counts, shares, grades and classes from a known truth: what is drawn has the means that were
 * assumed, what is analysed finds them, and few data are told and not lost. */
#include "trial.h"

#include "findings/limits.h"
#include "findings/linearised.h"
#include "findings/redraw.h"
#include "numeric/dist.h"
#include "trial/structure.h"

static const char orchard[] =
    "quincunx: 1\n"
    "title: Invented\n"
    "units:\n"
    "  block: {count: 4}\n"
    "  tree: {within: block, count: 2}\n"
    "  limb: {within: tree, count: 5}\n"
    "treatments:\n"
    "  cut: {levels: [none, short], on: tree, control: none}\n"
    "measure:\n"
    "  shoots: {kind: count, on: limb, compare_as: ratio}\n"
    "  broke: {kind: proportion, of: buds, on: limb, margin: 0.1}\n"
    "  vigour: {kind: ordinal, levels: [low, fair, high], on: limb, margin: 0.2}\n"
    "  side: {kind: nominal, levels: [upper, flank, under], on: limb}\n";

static const qx_truth_spread spread[] = {{"tree", 0.5, 0.0}, {"block", 0.3, 0.0}};
static const double low[] = {0.5, 0.3, 0.2}, high[] = {0.2, 0.3, 0.5};

#define CELL(level_) .count = 1, .factor = {"cut"}, .level = {level_}
static const qx_truth_mean counts[] = {{CELL("none"), .mean = 2.0},
                                       {CELL("short"), .mean = 6.0}};
static const qx_truth_mean shares[] = {{CELL("none"), .mean = 0.25},
                                       {CELL("short"), .mean = 0.70}};
static const qx_truth_mean grades[] = {{CELL("none"), .share = low},
                                       {CELL("short"), .share = high}};

#define TRUTH(name_, assumed_)                                                           \
    {                                                                                    \
        .variate = (name_), .spread_count = 2, .spread = spread, .size = 8.0,            \
        .assumed_count = 2, .assumed = (assumed_)                                        \
    }
static const qx_truth truth[] = {TRUTH("shoots", counts),
                                 TRUTH("broke", shares),
                                 TRUTH("vigour", grades),
                                 TRUTH("side", grades)};

typedef struct drawn {
    qx_ctx *cx;
    qx_arena *arena;
    qx_protocol *protocol;
    qx_layout *layout;
    qx_variate_frame frame;
    const qx_redraw *redraw;
} drawn;

static void open_drawn(drawn *d, size_t v)
{
    qx_layout_spec spec;
    d->cx = qx_ctx_new();
    d->arena = qx_arena_new();
    qx_problems *problems = qx_problems_new(d->arena);
    assert_int_equal(
        qx_protocol_parse(
            d->cx, "p.yaml", orchard, strlen(orchard), problems, &d->protocol),
        QX_OK);
    assert_int_equal(qx_structure_of(d->cx, d->arena, d->protocol, &spec), QX_OK);
    assert_int_equal(qx_layout_make(d->cx, &spec, 3, &d->layout), QX_OK);
    assert_int_equal(
        qx_redraw_frame(d->cx, d->arena, d->protocol, d->layout, v, 1, &d->frame), QX_OK);
    assert_int_equal(
        qx_redraw_new(d->cx, d->arena, d->protocol, v, &d->frame, &truth[v], &d->redraw),
        QX_OK);
    if (d->frame.size != NULL) {
        d->frame.size = qx_redraw_size(d->redraw);
    }
}

static void close_drawn(drawn *d)
{
    qx_layout_free(d->layout);
    qx_protocol_free(d->protocol);
    qx_arena_free(d->arena);
    qx_ctx_free(d->cx);
}

/* Averages of `value` over the rows of each level of the treatment in many trials. */
static void averages(drawn *d, double (*value)(double y), double out[2])
{
    const size_t trials = 4000, n = d->frame.n;
    const uint32_t *code = d->frame.frame.factor[d->frame.treatment[0]].code;
    double *y = qx_arena_alloc(d->arena, n, sizeof *y);
    out[0] = out[1] = 0.0;
    for (size_t t = 0; t < trials; t++) {
        assert_int_equal(qx_redraw_values(d->cx, d->redraw, 5, t, y), QX_OK);
        for (size_t i = 0; i < n; i++) {
            out[code[i]] += value(y[i]) / (0.5 * (double)(trials * n));
        }
    }
}

static double itself(double y)
{
    return y;
}
static double of_eight(double y)
{
    return y / 8.0;
}
static double is_last(double y)
{
    return y == 2.0 ? 1.0 : 0.0;
}

/* Four standard errors of these means, units in them, are below 2 per cent of a share and 3
 * per cent of a count. */
static void assumed_means_are_seen_over_many_units(void **state)
{
    (void)state;
    double mean[2];
    drawn d;
    open_drawn(&d, 0);
    averages(&d, itself, mean);
    assert_true(fabs(mean[0] - 2.0) < 0.06 && fabs(mean[1] - 6.0) < 0.18);
    close_drawn(&d);
    open_drawn(&d, 1);
    averages(&d, of_eight, mean);
    assert_true(fabs(mean[0] - 0.25) < 0.01 && fabs(mean[1] - 0.70) < 0.01);
    close_drawn(&d);
    open_drawn(&d, 2);
    averages(&d, is_last, mean);
    assert_true(fabs(mean[0] - 0.2) < 0.01 && fabs(mean[1] - 0.5) < 0.01);
    close_drawn(&d);
}

/* A trial is told by its number and seed; nothing else moves it. */
static void a_trial_is_drawn_again_as_it_was(void **state)
{
    (void)state;
    drawn d;
    double a[40], b[40], other[40];
    open_drawn(&d, 3);
    assert_int_equal(d.frame.n, 40);
    assert_int_equal(qx_redraw_values(d.cx, d.redraw, 1, 7, a), QX_OK);
    assert_int_equal(qx_redraw_values(d.cx, d.redraw, 1, 8, other), QX_OK);
    assert_int_equal(qx_redraw_values(d.cx, d.redraw, 1, 7, b), QX_OK);
    assert_memory_equal(a, b, sizeof a);
    assert_memory_not_equal(a, other, sizeof a);
    close_drawn(&d);
}

/* The file holds what the reader takes: whole counts, k of n, the classes by name. */
static void a_simulated_file_is_read_and_analysed(void **state)
{
    (void)state;
    drawn d;
    trial t;
    open_drawn(&d, 0);
    const qx_simulation s = {.seed = 2, .samples = 1, .truth_count = 4, .truth = truth};
    qx_arena *own = qx_arena_new();
    qx_text *csv = qx_text_new(own);
    assert_int_equal(qx_simulate_csv(d.cx, d.protocol, d.layout, &s, csv), QX_OK);
    assert_int_equal(trial_open(&t, orchard, qx_text_get(csv)), QX_OK);
    assert_int_equal(t.findings->result_count, 4);
    for (size_t v = 0; v < 4; v++) {
        const qx_result *r = &t.findings->result[v];
        assert_int_equal(r->used, 40);
        assert_true(r->converged);
        assert_int_equal(r->mean_count, v < 2 ? 2 : 6);
        assert_int_equal(r->difference_count, v < 2 ? 1 : 3);
        assert_true(r->test[0].p_small_sample >= r->test[0].p * 0.99);
    }
    const qx_result *broke = &t.findings->result[1];
    assert_true(broke->mean[0].averaged);
    assert_true(broke->mean[1].estimate > broke->mean[0].estimate);
    assert_true(broke->difference[0].lower > -1.0 && broke->difference[0].upper < 1.0);
    assert_true(t.findings->result[0].difference[0].ratio.estimate > 1.0);
    for (size_t i = 0; i < 6; i += 3) { /* shares of a level make a whole */
        const qx_mean *m = &t.findings->result[2].mean[i];
        assert_true(fabs(m[0].estimate + m[1].estimate + m[2].estimate - 1.0) < 1e-9);
    }
    trial_close(&t);
    qx_arena_free(own);
    close_drawn(&d);
}

static void one_class_only_is_told(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Grades\nunits:\n  tree: {count: 4}\n"
                   "treatments:\n  cut: {levels: [none, short], on: tree}\n"
                   "measure:\n  vigour: {kind: ordinal, levels: [low, high], on: tree}\n",
                   "tree,cut,vigour\n1,none,low\n2,none,low\n3,short,low\n4,short,low\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    bool told = false;
    for (size_t i = 0; i < r->note_count; i++) {
        told = told || strstr(r->note[i], "one class only") != NULL;
    }
    assert_int_equal(r->used, 4);
    assert_int_equal(r->mean_count, 0);
    assert_true(told);
    trial_close(&t);
}

/* ---- limits ----------------------------------------------------------------------------- */

static double same(const qx_estimator *e, double x, double *slope)
{
    (void)e;
    *slope = 1.0;
    return x;
}

static double back(const qx_estimator *e, double x)
{
    (void)e;
    return x;
}

/* On a scale that is not bent the limits are d -+ c se, se of correlated means (algebra), and
 * the one-sided tests are those of model/equivalence.h. */
static void straight_limits_are_the_usual_ones(void **state)
{
    (void)state;
    const qx_estimator_kind kind = {.to = same, .from = back};
    const qx_estimator e = {.kind = &kind};
    const qx_response mean[2] = {{5.0, 0.6}, {4.2, 0.8}};
    const double r = 0.3, se = sqrt(0.36 + 0.64 - 2.0 * r * 0.6 * 0.8);
    const double upper = qx_limit_difference(&e, mean[0], mean[1], r, 2.1);
    const double lower = qx_limit_difference(&e, mean[0], mean[1], r, -2.1);
    assert_true(fabs(upper - (0.8 + 2.1 * se)) < 1e-12);
    assert_true(fabs(lower - (0.8 - 2.1 * se)) < 1e-12);
    const qx_equivalence got = qx_limit_equivalence(&e, mean, r, 9.0, 2.0, 0.05);
    const qx_equivalence want = qx_equivalence_test(0.8, se, 9.0, 2.0, 0.05);
    assert_true(fabs(got.p_lower - want.p_lower) < 1e-9);
    assert_true(fabs(got.p_upper - want.p_upper) < 1e-9);
    assert_true(fabs(got.lower - want.lower) < 1e-9);
    assert_true(fabs(got.upper - want.upper) < 1e-9);
}

/* On a scale that is not bent the limits of a ratio are those of Fieller 1954, J R Stat Soc B
 * 16:175-185, as Donner & Zou 2012 show. */
static void straight_ratios_are_fieller_s(void **state)
{
    (void)state;
    const qx_estimator_kind kind = {.to = same, .from = back};
    const qx_estimator e = {.kind = &kind};
    const qx_response a = {5.0, 0.6}, b = {4.2, 0.8};
    const double c = 2.1, r = 0.3, ratio = 5.0 / 4.2;
    const double v11 = 0.36, v12 = r * 0.6 * 0.8, v22 = 0.64;
    const double g = c * c * v22 / (4.2 * 4.2);
    const double root =
        c / 4.2 *
        sqrt(v11 - 2.0 * ratio * v12 + ratio * ratio * v22 - g * (v11 - v12 * v12 / v22));
    double limit[2];
    assert_true(qx_limit_ratio(&e, a, b, r, c, limit));
    assert_true(fabs(limit[0] - (ratio - g * v12 / v22 - root) / (1.0 - g)) < 1e-12);
    assert_true(fabs(limit[1] - (ratio - g * v12 / v22 + root) / (1.0 - g)) < 1e-12);
    assert_false(qx_limit_ratio(&e, (qx_response){0.0, 0.1}, b, r, c, limit));
}

static double logarithm(const qx_estimator *e, double x, double *slope)
{
    (void)e;
    *slope = 1.0 / x;
    return log(x);
}

static double exponential(const qx_estimator *e, double x)
{
    (void)e;
    return exp(x);
}

/* A ratio's interval ends where first - R second has a limit of nought (R second has R times
 * the mean and the standard error); so ratio and difference never contradict each other. */
static void ratios_and_differences_agree(void **state)
{
    (void)state;
    const qx_estimator_kind kind = {.to = logarithm, .from = exponential};
    const qx_estimator e = {.kind = &kind};
    for (int k = 0; k < 40; k++) {
        const qx_response a = {2.0 + 0.1 * k, 0.7}, b = {3.0, 0.5 + 0.02 * k};
        const double r = -0.5 + 0.03 * k, c = 2.2;
        double limit[2];
        assert_true(qx_limit_ratio(&e, a, b, r, c, limit));
        for (int side = 0; side < 2; side++) {
            const qx_response times = {limit[side] * b.value, limit[side] * b.se};
            const double nought =
                qx_limit_difference(&e, a, times, r, side == 0 ? -c : c);
            assert_true(fabs(nought) < 1e-10 * (1.0 + times.value));
        }
        const double lower = qx_limit_difference(&e, a, b, r, -c);
        const double upper = qx_limit_difference(&e, a, b, r, c);
        assert_true((lower > 0.0) == (limit[0] > 1.0));
        assert_true((upper < 0.0) == (limit[1] < 1.0));
    }
}

/* ---- few units ------------------------------------------------------------------------- */

#define BLOCKS 6U
#define SPRAYS 4U
#define ROWS   ((size_t)BLOCKS * SPRAYS)
#define KNOWN  0.5 /* variance of a row that is known */

/* Sums of squares of complete blocks: between blocks, and what is left. */
typedef struct squares {
    double blocks, left;
} squares;

/* log L = -1/2 (18 log a + left / a + 6 log b + blocks / b), a = KNOWN + tau, b = a + 4 theta. */
static qx_status
score_of_blocks(qx_ctx *cx, const void *fit, const double variance[], double score[])
{
    const squares *s = fit;
    const double a = KNOWN + variance[1], b = a + SPRAYS * variance[0];
    const double by_a = -0.5 * (18.0 / a - s->left / (a * a));
    const double by_b = -0.5 * (6.0 / b - s->blocks / (b * b));
    (void)cx;
    score[0] = SPRAYS * by_b;
    score[1] = by_a + by_b;
    return QX_OK;
}

static const qx_linearised *linear_of(qx_ctx *cx, const squares *s, const double start[2])
{
    static uint32_t block[ROWS];
    static double v[ROWS], slope[ROWS], x[ROWS * SPRAYS];
    const qx_linearised *l = NULL;
    memset(x, 0, sizeof x);
    for (size_t i = 0; i < ROWS; i++) {
        block[i] = (uint32_t)(i / SPRAYS);
        slope[i] = 1.0;
        v[i] = KNOWN + start[1];
        x[i + ROWS * (i % SPRAYS)] = 1.0;
    }
    const qx_linearised_part part[2] = {
        {.variance = start[0], .code = block, .count = BLOCKS, .known = 1.0},
        {.variance = start[1], .slope = slope, .known = 1.0}};
    const qx_linearised_rows rows = {.X = qx_mat_of(x, ROWS, SPRAYS), .v = v};
    assert_int_equal(qx_linearised_make(cx,
                                        qx_arena_inside(qx_ctx_scratch(cx)),
                                        &rows,
                                        2,
                                        part,
                                        score_of_blocks,
                                        s,
                                        &l),
                     QX_OK);
    assert_non_null(l);
    return l;
}

/* Complete blocks: the restricted estimates are those of the analysis of variance (blocks 40 / 5,
 * left 30 / 15), and a difference of treatments has its 15 degrees of freedom. */
static void restricted_as_analysis_of_variance(void **state)
{
    (void)state;
    qx_ctx *cx = qx_ctx_new();
    const squares s = {.blocks = 40.0, .left = 30.0};
    double row[SPRAYS] = {1.0, -1.0};
    const qx_linearised *l = linear_of(cx, &s, (double[2]){0.3, 0.4});
    qx_allowance a;
    assert_int_equal(qx_linearised_joint(cx, l, qx_mat_of(row, 1, SPRAYS), &a), QX_OK);
    assert_true(fabs(KNOWN + l->variance[1] - 2.0) < 1e-3);
    assert_true(fabs(l->variance[0] - (8.0 - 2.0) / SPRAYS) < 1e-2);
    assert_true(fabs(a.df - 15.0) < 1e-6);
    assert_true(fabs(a.share - 1.0) < 1e-9);
    /* The variances that were told are nil: 2 against KNOWN, and no more than 4. */
    assert_true(fabs(a.factor - 4.0) < 0.01);
    qx_ctx_free(cx);
}

/* Rows that differ less than is known of them: the spread ends at nil, and without that bound the
 * variance would be the mean square, 0.3. */
static void less_than_nil_is_counted(void **state)
{
    (void)state;
    qx_ctx *cx = qx_ctx_new();
    const squares s = {.blocks = 40.0, .left = 4.5};
    double rows[3 * SPRAYS] = {
        1.0, 1.0, 1.0, -1.0, 0.0, 0.0, 0.0, -1.0, 0.0, 0.0, 0.0, -1.0};
    const qx_linearised *l = linear_of(cx, &s, (double[2]){0.3, 0.4});
    qx_allowance a;
    assert_int_equal(qx_linearised_joint(cx, l, qx_mat_of(rows, 3, SPRAYS), &a), QX_OK);
    assert_true(l->variance[1] == 0.0 && l->variance[0] > 1.0);
    assert_true(fabs(a.share - 0.3 / KNOWN) < 1e-3);
    assert_true(fabs(a.df - 15.0) < 1e-6);
    assert_true(fabs(a.factor - 1.0) < 1e-9);
    qx_ctx_free(cx);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(assumed_means_are_seen_over_many_units),
        cmocka_unit_test(a_trial_is_drawn_again_as_it_was),
        cmocka_unit_test(a_simulated_file_is_read_and_analysed),
        cmocka_unit_test(one_class_only_is_told),
        cmocka_unit_test(straight_ratios_are_fieller_s),
        cmocka_unit_test(ratios_and_differences_agree),
        cmocka_unit_test(straight_limits_are_the_usual_ones),
        cmocka_unit_test(restricted_as_analysis_of_variance),
        cmocka_unit_test(less_than_nil_is_counted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
