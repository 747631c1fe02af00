/* A scenario of the trade, common practice and without a source: with five buds a section,
 * scoring above the bud alone breaks about 40 % of the buds, scoring with a cytokinin spray
 * about 80 %, and where nothing is done about none break (so that maximum likelihood has no
 * finite estimate there). Ten trees a treatment must be enough to say so. The data are
 * simulated with that truth (findings/redraw.h) and trees that differ from each other. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "findings/analyse.h"
#include "findings/redraw.h"
#include "trial/read_yaml.h"
#include "trial/structure.h"

#define SEEDS       100
#define RIGHT_LEAST 95

static const char trees_alone[] =
    "quincunx: 1\n"
    "title: Scoring above the bud\n"
    "units:\n"
    "  tree: {count: 30}\n"
    "treatments:\n"
    "  score: {levels: [none, cut, cut and spray], on: tree, control: none}\n"
    "measure:\n"
    "  broke: {kind: proportion, of: buds, on: tree, better: more, margin: 0.10}\n";

/* Two sections in each tree: they are not replicates of what is done to the tree. */
static const char sections_in_trees[] =
    "quincunx: 1\n"
    "title: Scoring above the bud\n"
    "units:\n"
    "  tree: {count: 30}\n"
    "  section: {within: tree, count: 2}\n"
    "treatments:\n"
    "  score: {levels: [none, cut, cut and spray], on: tree, control: none}\n"
    "measure:\n"
    "  broke: {kind: proportion, of: buds, on: section, better: more, margin: 0.10}\n";

static const double share[] = {0.002, 0.40, 0.80}; /* about none, 40 %, 80 % */

static const qx_truth_mean assumed[] = {
    {.count = 1, .factor = {"score"}, .level = {"none"}, .mean = 0.002},
    {.count = 1, .factor = {"score"}, .level = {"cut"}, .mean = 0.40},
    {.count = 1, .factor = {"score"}, .level = {"cut and spray"}, .mean = 0.80}};
static const qx_truth_spread spread[] = {{"tree", 0.2, 0.0}};
static const qx_truth truth = {.variate = "broke",
                               .size = 5.0,
                               .spread_count = 1,
                               .spread = spread,
                               .assumed_count = 3,
                               .assumed = assumed};

typedef struct scenario {
    qx_ctx *cx;
    qx_arena *arena;
    qx_protocol *protocol;
    qx_layout *layout;
    qx_variate_frame frame;
    const qx_redraw *redraw;
} scenario;

static void open_scenario(scenario *s, const char *text)
{
    qx_layout_spec spec;
    s->cx = qx_ctx_new();
    s->arena = qx_arena_new();
    qx_problems *problems = qx_problems_new(s->arena);
    assert_int_equal(
        qx_protocol_parse(s->cx, "p.yaml", text, strlen(text), problems, &s->protocol),
        QX_OK);
    assert_int_equal(qx_structure_of(s->cx, s->arena, s->protocol, &spec), QX_OK);
    assert_int_equal(qx_layout_make(s->cx, &spec, 11, &s->layout), QX_OK);
    assert_int_equal(
        qx_redraw_frame(s->cx, s->arena, s->protocol, s->layout, 0, 1, &s->frame), QX_OK);
    assert_int_equal(
        qx_redraw_new(s->cx, s->arena, s->protocol, 0, &s->frame, &truth, &s->redraw),
        QX_OK);
    s->frame.size = qx_redraw_size(s->redraw);
}

static void close_scenario(scenario *s)
{
    qx_layout_free(s->layout);
    qx_protocol_free(s->protocol);
    qx_arena_free(s->arena);
    qx_ctx_free(s->cx);
}

static size_t level_of(const char *level)
{
    return strcmp(level, "none") == 0 ? 0 : strcmp(level, "cut") == 0 ? 1 : 2;
}

/* Each treatment breaks more than the one before it. */
static bool verdicts_right(const qx_result *r)
{
    bool right = r->difference_count == 3;
    for (size_t i = 0; i < r->difference_count; i++) {
        const qx_difference *d = &r->difference[i];
        const bool up = level_of(d->first.level[0]) > level_of(d->second.level[0]);
        right = right && d->verdict == (up ? QX_HIGHER : QX_LOWER_VERDICT);
    }
    return right;
}

/* Inside the scale, on the side of the estimate, not so wide as to say nothing; and the
 * buds that nobody touched are told as few. */
static bool intervals_sensible(const qx_result *r)
{
    bool good = r->mean_count == 3;
    for (size_t i = 0; i < r->difference_count; i++) {
        const qx_difference *d = &r->difference[i];
        good = good && isfinite(d->lower) && isfinite(d->upper) && d->lower >= -1.0 &&
               d->upper <= 1.0 && d->lower < d->estimate && d->estimate < d->upper &&
               d->upper - d->lower < 0.65;
    }
    for (size_t i = 0; i < r->mean_count; i++) {
        const qx_mean *m = &r->mean[i];
        good = good && m->lower >= 0.0 && m->upper <= 1.0 && m->lower < m->estimate &&
               m->estimate < m->upper && m->upper - m->lower < 0.5;
    }
    return good && r->mean[0].estimate < 0.06 && r->mean[0].upper < 0.25;
}

static size_t true_inside(const qx_result *r)
{
    size_t inside = 0;
    for (size_t i = 0; i < r->difference_count; i++) {
        const qx_difference *d = &r->difference[i];
        const double true_d =
            share[level_of(d->first.level[0])] - share[level_of(d->second.level[0])];
        inside += d->lower <= true_d && true_d <= d->upper ? 1 : 0;
    }
    return inside;
}

static void run(const char *text)
{
    scenario s;
    size_t right = 0, sensible = 0, inside = 0;
    open_scenario(&s, text);
    for (size_t seed = 0; seed < SEEDS; seed++) {
        qx_arena *arena = qx_arena_new();
        double *y = qx_arena_alloc(arena, s.frame.n, sizeof *y);
        qx_result r;
        assert_non_null(y);
        assert_int_equal(qx_redraw_values(s.cx, s.redraw, seed, 0, y), QX_OK);
        assert_int_equal(qx_analyse_again(s.cx, arena, s.protocol, 0, &s.frame, y, &r),
                         QX_OK);
        right += verdicts_right(&r) ? 1 : 0;
        sensible += intervals_sensible(&r) ? 1 : 0;
        inside += true_inside(&r);
        qx_arena_free(arena);
    }
    print_message("right %zu, sensible %zu, %zu of 300 intervals hold the truth\n",
                  right,
                  sensible,
                  inside);
    assert_true(right >= RIGHT_LEAST);
    assert_true(sensible >= RIGHT_LEAST);
    assert_true(inside >= 3 * RIGHT_LEAST); /* simultaneous: 95 % and more of each */
    close_scenario(&s);
}

static void ten_trees_a_treatment_say_so(void **state)
{
    (void)state;
    run(trees_alone);
}

static void sections_inside_the_trees_say_so(void **state)
{
    (void)state;
    run(sections_in_trees);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ten_trees_a_treatment_say_so),
        cmocka_unit_test(sections_inside_the_trees_say_so),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
