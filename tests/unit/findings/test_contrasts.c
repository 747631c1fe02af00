/* Planned contrasts: trends over seasons, weights with a margin and a verdict. */
#include "trial.h"

/* Invented: two blocks of two trees in three seasons that are not evenly apart. */
static const double grown[3][4] = {
    {4.1, 5.0, 4.4, 5.2}, {4.9, 5.3, 4.6, 5.9}, {6.2, 6.0, 6.8, 7.1}};
static const char *const year[3] = {"2023", "2024", "2026"};

static void open_seasons(trial *t, const char *contrasts)
{
    static char protocol[700], data[900];
    size_t n = 0;
    snprintf(protocol,
             sizeof protocol,
             "quincunx: 1\ntitle: Seasons\nseasons: [2023, 2024, 2026]\n"
             "units:\n  block: {count: 2}\n  tree: {within: block, count: 2}\n"
             "treatments:\n  cut: {levels: [none, short], on: tree}\n"
             "measure:\n  grown: {kind: continuous, on: tree, margin: 0.4}\n"
             "contrasts:\n%s",
             contrasts);
    n += (size_t)snprintf(data, sizeof data, "block,tree,cut,season,grown\n");
    for (size_t s = 0; s < 3; s++) {
        for (size_t i = 0; i < 4; i++) {
            n += (size_t)snprintf(data + n,
                                  sizeof data - n,
                                  "%zu,%zu,%s,%s,%g\n",
                                  1 + i / 2,
                                  1 + i % 2,
                                  i % 2 == 0 ? "none" : "short",
                                  year[s],
                                  grown[s][i]);
        }
    }
    assert_int_equal(trial_open(t, protocol, data), QX_OK);
}

static double mean_of(size_t season)
{
    return (grown[season][0] + grown[season][1] + grown[season][2] + grown[season][3]) /
           4.0;
}

/* Over 2023, 2024, 2026: years less their mean, to unit length; every season has all trees,
 * so that its mean is the plain one. */
static void seasons_carry_trends(void **state)
{
    (void)state;
    trial t;
    open_seasons(&t, "  over_years: {of: season, trend: linear}\n");
    const qx_result *r = &t.findings->result[0];
    static const double from[3] = {-4.0 / 3.0, -1.0 / 3.0, 5.0 / 3.0};
    double want = 0.0;
    for (size_t s = 0; s < 3; s++) {
        want += from[s] / sqrt(42.0 / 9.0) * mean_of(s);
    }
    assert_int_equal(r->contrast_count, 1);
    assert_string_equal(r->contrast[0].of, "season");
    assert_true(fabs(r->contrast[0].estimate - want) < 1e-12);
    assert_false(has_note(r, "needs"));
    trial_close(&t);
}

/* A mean against a mean carries the margin; a sum of other weights does not. */
static void weights_are_judged_as_differences_are(void **state)
{
    (void)state;
    trial t;
    open_seasons(&t,
                 "  late: {of: season, weights: {2026: 1, 2023: -0.5, 2024: -0.5}}\n"
                 "  same: {of: season, weights: {2023: -1, 2026: 1}}\n"
                 "  bend: {of: season, weights: {2023: 1, 2024: -2, 2026: 1}}\n");
    const qx_result *r = &t.findings->result[0];
    const qx_contrast_line *late = &r->contrast[0], *same = &r->contrast[1];
    assert_int_equal(r->contrast_count, 3);
    assert_true(late->compares && same->compares && !r->contrast[2].compares);
    assert_true(fabs(late->estimate - mean_of(2) + 0.5 * (mean_of(0) + mean_of(1))) <
                1e-12);
    assert_true(late->margin == 0.4 && isnan(r->contrast[2].margin));
    assert_int_equal(late->verdict, QX_HIGHER);
    for (size_t i = 0; i < r->difference_count; i++) { /* the same pair, not adjusted */
        const qx_difference *d = &r->difference[i];
        if (strcmp(d->term, "season") == 0 && strcmp(d->first.level[0], "2026") == 0 &&
            strcmp(d->second.level[0], "2023") == 0) {
            assert_true(fabs(d->estimate - same->estimate) < 1e-12);
            assert_true(fabs(d->p - same->p) < 1e-12);
            assert_true(fabs(d->upper_equivalence - same->upper_equivalence) < 1e-9);
            assert_true(same->lower > d->lower);
            trial_close(&t);
            return;
        }
    }
    fail_msg("the pair is not there");
}

/* Counts on limbs of trees, invented: a planned contrast of the one pair there is goes by the
 * degrees of freedom of that pair, and its limits and P say the same. */
static void counts_allow_for_few_units(void **state)
{
    (void)state;
    static const int shoots[8][3] = {{4, 6, 5},
                                     {8, 9, 7},
                                     {2, 3, 3},
                                     {6, 5, 9},
                                     {7, 5, 6},
                                     {9, 12, 8},
                                     {3, 5, 2},
                                     {3, 4, 6}};
    static char data[600];
    size_t n = (size_t)snprintf(data, sizeof data, "block,tree,cut,limb,shoots\n");
    for (size_t i = 0; i < 24; i++) {
        n += (size_t)snprintf(data + n,
                              sizeof data - n,
                              "%zu,%zu,%s,%zu,%d\n",
                              1 + i / 6,
                              1 + i / 3 % 2,
                              i / 3 % 2 == 0 ? "none" : "short",
                              1 + i % 3,
                              shoots[i / 3][i % 3]);
    }
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Shoots\n"
                   "units:\n  block: {count: 4}\n  tree: {within: block, count: 2}\n"
                   "  limb: {within: tree, count: 3}\n"
                   "treatments:\n  cut: {levels: [none, short], on: tree}\n"
                   "measure:\n  shoots: {kind: count, on: limb}\n"
                   "contrasts:\n  one: {of: cut, weights: {short: 1, none: -1}}\n",
                   data),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    const qx_contrast_line *c = &r->contrast[0];
    assert_int_equal(r->contrast_count, 1);
    assert_int_equal(r->difference_count, 1);
    assert_true(c->df_small_sample > 1.0 && c->df_small_sample < 8.0);
    assert_true(fabs(c->df_small_sample - r->difference[0].df_small_sample) < 1e-9);
    assert_true(c->p_small_sample > c->p);
    assert_true((c->p_small_sample < 0.05) == (c->lower > 0.0 || c->upper < 0.0));
    assert_true(fabs(0.5 * (c->lower + c->upper) - c->estimate) < 1e-12);
    trial_close(&t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(seasons_carry_trends),
        cmocka_unit_test(weights_are_judged_as_differences_are),
        cmocka_unit_test(counts_allow_for_few_units),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
