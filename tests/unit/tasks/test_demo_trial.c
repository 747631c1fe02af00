/* The demonstration: its protocol and data are without problems, and the findings of many
 * such trials hold the truth (tasks/demo_trial.h) as often as their level says. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "findings/analyse.h"
#include "support.h"
#include "tasks/demo_trial.h"
#include "trial/check.h"
#include "trial/read_yaml.h"
#include "trial/structure.h"

#define TRIALS 60

typedef struct trial {
    qx_ctx *cx;
    qx_arena *arena;
    qx_problems *problems;
    qx_protocol *protocol;
    qx_layout *layout;
    qx_table *table;
    qx_findings *findings;
} trial;

/* The truth of tasks/demo_trial.h, written down a second time. */
static const struct {
    const char *variate, *factor, *level;
    double effect;
} truth[] = {{"length", "pinch", "early", -1.0},
             {"length", "angle", "60", -9.0},
             {"length", "angle", "90", -20.0},
             {"length", "season", "2025", 4.0},
             {"girth", "angle", "60", -0.05},
             {"girth", "angle", "90", -0.3},
             {"girth", "season", "2025", 0.2},
             {"trunk", "pinch", "early", -0.6},
             {"trunk", "season", "2025", 2.0}};

static double effect_of(const char *variate, const char *factor, const char *level)
{
    for (size_t i = 0; i < sizeof truth / sizeof truth[0]; i++) {
        if (strcmp(truth[i].variate, variate) == 0 &&
            strcmp(truth[i].factor, factor) == 0 && strcmp(truth[i].level, level) == 0) {
            return truth[i].effect;
        }
    }
    return 0.0;
}

static void draw_trial(trial *t, uint64_t seed)
{
    bool *bad = NULL;
    *t = (trial){.cx = qx_ctx_new(), .arena = qx_arena_new()};
    t->problems = qx_problems_new(t->arena);
    const char *text = qx_demo_protocol();
    assert_int_equal(
        qx_protocol_parse(
            t->cx, "protocol.yaml", text, strlen(text), t->problems, &t->protocol),
        QX_OK);
    qx_layout_spec spec;
    assert_int_equal(qx_structure_of(t->cx, t->arena, t->protocol, &spec), QX_OK);
    assert_int_equal(qx_layout_make(t->cx, &spec, seed, &t->layout), QX_OK);
    qx_text *csv = qx_text_new(t->arena);
    assert_int_equal(qx_demo_data(t->cx, t->protocol, t->layout, csv), QX_OK);
    assert_int_equal(qx_data_parse(t->cx,
                                   t->protocol,
                                   "data.csv",
                                   qx_text_get(csv),
                                   qx_text_length(csv),
                                   false,
                                   t->problems,
                                   &t->table,
                                   &bad),
                     QX_OK);
    assert_int_equal(qx_analyse(t->cx, t->protocol, t->table, t->layout, &t->findings),
                     QX_OK);
}

static void drop_trial(trial *t)
{
    qx_findings_free(t->findings);
    qx_table_free(t->table);
    qx_layout_free(t->layout);
    qx_protocol_free(t->protocol);
    qx_arena_free(t->arena);
    qx_ctx_free(t->cx);
}

static void protocol_and_data_have_no_problems(void **state)
{
    (void)state;
    trial t;
    draw_trial(&t, qx_demo_seed());
    assert_int_equal(qx_problems_count(t.problems), 0);
    assert_int_equal(t.findings->result_count, 3);
    /* seasons x (trees + limbs + shoots) */
    assert_int_equal(t.table->rows, 2 * (12 + 36 + 144));
    /* a row about a limb is not a shoot whose length is missing */
    assert_true(t.findings->result[0].used + t.findings->result[0].missing ==
                (size_t)2 * 144);
    assert_int_equal(t.findings->result[1].missing, 2);
    assert_int_equal(t.findings->result[1].used, 2 * 36 - 2);
    assert_int_equal(t.findings->result[2].missing, 0);
    assert_int_equal(t.findings->result[2].used, 2 * 12);
    drop_trial(&t);
}

static void everything_says_that_it_is_invented(void **state)
{
    (void)state;
    trial t;
    draw_trial(&t, qx_demo_seed());
    assert_non_null(strstr(t.protocol->title, "invented"));
    assert_non_null(strstr(t.protocol->question, "invented"));
    assert_non_null(strstr(t.protocol->institution, "invented"));
    for (size_t i = 0; i < t.protocol->person_count; i++) {
        assert_non_null(strstr(t.protocol->person[i].name, "invented"));
    }
    assert_non_null(strstr(qx_demo_readme(), "INVENTED"));
    drop_trial(&t);
}

/* Differences of one factor against the truth: how many 90 % intervals, which are not
 * adjusted for the number of pairs, hold it. */
static void count_coverage(const trial *t, size_t *held, size_t *all)
{
    for (size_t v = 0; v < t->findings->result_count; v++) {
        const qx_result *r = &t->findings->result[v];
        for (size_t i = 0; i < r->difference_count; i++) {
            const qx_difference *d = &r->difference[i];
            if (d->first.count != 1) {
                continue;
            }
            const double want =
                effect_of(r->variate, d->first.factor[0], d->first.level[0]) -
                effect_of(r->variate, d->second.factor[0], d->second.level[0]);
            *held += d->lower_equivalence <= want && want <= d->upper_equivalence ? 1 : 0;
            (*all)++;
        }
    }
}

/* 60 trials of 12 intervals. Intervals of one trial depend on each other; even if only four
 * of twelve were independent, three standard errors of the share would be 0.058. */
static void intervals_hold_the_truth_as_often_as_they_say(void **state)
{
    (void)state;
    size_t held = 0, all = 0;
    for (uint64_t seed = 1; seed <= TRIALS; seed++) {
        trial t;
        draw_trial(&t, seed);
        count_coverage(&t, &held, &all);
        drop_trial(&t);
    }
    const double share = (double)held / (double)all;
    print_message("%zu of %zu 90 %% intervals hold the truth\n", held, all);
    assert_int_equal(all, TRIALS * 12);
    assert_true(share > 0.90 - 0.058 && share < 0.90 + 0.058);
}

/* What the seed was chosen for: no interaction seems to be there (none is), and no check of
 * the observations stands out. Of the many checks of whole units some do, by chance. */
static void assert_nothing_misleads(const qx_result *r)
{
    for (size_t i = 0; i < r->test_count; i++) {
        const qx_test_line *test = &r->test[i];
        if (test->statistic != NULL && strchr(test->term, ':') != NULL) {
            assert_true(test->p > 0.05);
        }
    }
    for (size_t i = 0; i < r->check_count; i++) {
        assert_true(r->check[i].advice == NULL || r->check[i].stratum != NULL);
    }
}

/* The trial that everybody sees: each kind of verdict occurs, and none is wrong. */
static void verdicts_of_the_demonstration_are_true(void **state)
{
    (void)state;
    trial t;
    size_t seen[QX_UNSETTLED + 1] = {0};
    draw_trial(&t, qx_demo_seed());
    for (size_t v = 0; v < t.findings->result_count; v++) {
        const qx_result *r = &t.findings->result[v];
        assert_nothing_misleads(r);
        for (size_t i = 0; i < r->difference_count; i++) {
            const qx_difference *d = &r->difference[i];
            if (d->first.count != 1) {
                continue;
            }
            const double want =
                effect_of(r->variate, d->first.factor[0], d->first.level[0]) -
                effect_of(r->variate, d->second.factor[0], d->second.level[0]);
            const bool small = fabs(want) < d->margin;
            seen[d->verdict]++;
            assert_true(d->lower <= want && want <= d->upper);
            assert_true(d->verdict != QX_HIGHER || want > 0.0);
            assert_true(d->verdict != QX_LOWER_VERDICT || want < 0.0);
            assert_true((d->verdict != QX_EQUIVALENT && d->verdict != QX_TRIVIAL) ||
                        small);
            assert_true(!d->beyond_margin || !small);
        }
    }
    assert_true(seen[QX_HIGHER] + seen[QX_LOWER_VERDICT] > 0);
    assert_true(seen[QX_TRIVIAL] > 0);
    assert_true(seen[QX_EQUIVALENT] > 0);
    assert_true(seen[QX_UNSETTLED] > 0);
    drop_trial(&t);
}

/* The demonstration's shoot lengths by R 4.2.2: lme4 1.1-31 (REML, optimum polished by Newton
 * steps), tests by pbkrtest 0.5.2 through lmerTest 3.1-3. Unbalanced, six random terms, two of
 * them at zero. Six digits: the contrasts of lmerTest carry rounding of 1e-6. */
static const struct {
    const char *term;
    double den_df, f;
} by_r[] = {{"season", 4.98732337, 4.84798616},
            {"pinch", 5.00063936, 0.231333427},
            {"angle", 19.7686539, 73.4496964},
            {"season:pinch", 4.96986738, 0.604584539},
            {"season:angle", 19.3753466, 0.0334692672},
            {"pinch:angle", 19.7462721, 1.76308943},
            {"season:pinch:angle", 19.3603239, 0.930819856}};

static void lengths_agree_with_another_program(void **state)
{
    (void)state;
    trial t;
    draw_trial(&t, qx_demo_seed());
    const qx_result *r = &t.findings->result[0];
    size_t found = 0;
    for (size_t i = 0; i < r->test_count; i++) {
        for (size_t k = 0; k < sizeof by_r / sizeof by_r[0]; k++) {
            if (strcmp(r->test[i].term, by_r[k].term) == 0) {
                assert_near(r->test[i].value, by_r[k].f, 5e-6);
                assert_near(r->test[i].den_df, by_r[k].den_df, 5e-6);
                found++;
            }
        }
    }
    assert_int_equal(found, sizeof by_r / sizeof by_r[0]);
    drop_trial(&t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(protocol_and_data_have_no_problems),
        cmocka_unit_test(everything_says_that_it_is_invented),
        cmocka_unit_test(intervals_hold_the_truth_as_often_as_they_say),
        cmocka_unit_test(verdicts_of_the_demonstration_are_true),
        cmocka_unit_test(lengths_agree_with_another_program)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
