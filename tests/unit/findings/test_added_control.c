/* Factorials that are not complete: an added control, and an interaction that empty cells
 * took whole.
 *
 * Values: by hand where said; else R 4.2.2, lme4 1.1.31 (restricted likelihood), pbkrtest
 * 0.5.2 (Kenward-Roger) and emmeans 1.8.4.1, contrasts of the means of a model with one
 * factor whose levels are the combinations that were tried. All data are invented. */
#include "trial.h"
#include <stdlib.h>

#include "support.h"

#define UNITS_OF_BLOCKS                                                                  \
    "quincunx: 1\n"                                                                      \
    "units:\n"                                                                           \
    "  block: {count: 4}\n"
#define CONTROL_AND_FOUR                                                                 \
    "  product: {levels: [none, x, y], on: tree, control: none}\n"                       \
    "  dose: {levels: [0, 1, 2], on: tree}\n"
#define MEASURE "measure:\n  y: {kind: continuous, on: tree, margin: 5}\n"

static const qx_mean *
mean_of(const qx_result *r, const char *term, const char *first, const char *second)
{
    for (size_t i = 0; i < r->mean_count; i++) {
        const qx_mean *m = &r->mean[i];
        if (strcmp(m->term, term) == 0 && strcmp(m->cell.level[0], first) == 0 &&
            (second == NULL || strcmp(m->cell.level[1], second) == 0)) {
            return m;
        }
    }
    fail_msg("no mean of %s for %s", term, first);
    abort(); /* not reached: the failed test is left */
}

static const qx_contrast_line *against_rest(const qx_result *r)
{
    for (size_t i = 0; i < r->contrast_count; i++) {
        if (strcmp(r->contrast[i].name, "control against the rest") == 0) {
            return &r->contrast[i];
        }
    }
    fail_msg("no contrast of the control");
    abort();
}

static const qx_difference *pair_of(size_t count,
                                    const qx_difference list[],
                                    const char *term,
                                    const char *within,
                                    const char *const level[4])
{
    for (size_t i = 0; i < count; i++) {
        const qx_difference *d = &list[i];
        if (strcmp(d->term, term) == 0 && strcmp(d->first.level[0], level[0]) == 0 &&
            strcmp(d->second.level[0], level[1]) == 0 &&
            (level[2] == NULL || (strcmp(d->first.level[1], level[2]) == 0 &&
                                  strcmp(d->second.level[1], level[3]) == 0)) &&
            (within == NULL || strcmp(d->within.level[0], within) == 0)) {
            return d;
        }
    }
    fail_msg("no such pair of %s", term);
    abort();
}

static void
check_mean(const qx_mean *m, const char *estimate, const char *se, const char *df)
{
    assert_digits(m->estimate, estimate, 6);
    assert_digits(m->se, se, 6);
    assert_digits(m->df, df, 6);
}

static void
check_test(const qx_result *r, const char *term, const char *f, const char *df)
{
    const qx_test_line t = find_test(r, term);
    assert_true(t.num_df == 1.0);
    assert_digits(t.value, f, 6);
    assert_digits(t.den_df, df, 6);
}

/* Ten trees, two a combination. Means 11 | 15 19 21 29, each on two trees that differ by 2,
 * so s2 = 10 / 5 = 2. By hand: x 17, y 25; doses 18, 24; the rest 21, so the control is 10
 * lower, with variance 2 (1/2 + 4/16/2) = 1.25. F: product 8^2 / 1, dose 6^2 / 1,
 * interaction 4^2 / 4. */
static void by_hand(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(
            &t,
            "quincunx: 1\nunits:\n  tree: {count: 10}\ntreatments:\n" CONTROL_AND_FOUR
                MEASURE,
            "tree,product,dose,y\n1,none,0,10\n2,none,0,12\n3,x,1,14\n"
            "4,x,1,16\n5,x,2,18\n6,x,2,20\n7,y,1,20\n8,y,1,22\n"
            "9,y,2,28\n10,y,2,30\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_near(mean_of(r, "product (factorial part)", "x", NULL)->estimate, 17.0, 1e-12);
    assert_near(mean_of(r, "product (factorial part)", "y", NULL)->estimate, 25.0, 1e-12);
    assert_near(mean_of(r, "dose (factorial part)", "1", NULL)->estimate, 18.0, 1e-12);
    assert_near(mean_of(r, "dose (factorial part)", "2", NULL)->estimate, 24.0, 1e-12);
    assert_near(mean_of(r, "dose (factorial part)", "2", NULL)->se, sqrt(0.5), 1e-12);
    assert_near(mean_of(r, "added control", "none", "0")->estimate, 11.0, 1e-12);
    assert_int_equal(mean_of(r, "added control", "none", "0")->n, 2);
    assert_near(against_rest(r)->estimate, -10.0, 1e-12);
    assert_near(against_rest(r)->se, sqrt(1.25), 1e-12);
    assert_true(against_rest(r)->df == 5.0);
    assert_string_equal(against_rest(r)->of, "product:dose");
    assert_near(find_test(r, "product (factorial part)").value, 64.0, 1e-12);
    assert_near(find_test(r, "dose (factorial part)").value, 36.0, 1e-12);
    assert_near(find_test(r, "product:dose (factorial part)").value, 4.0, 1e-12);
    assert_near(find_test(r, "product:dose").value, 4.0, 1e-12);
    /* over the whole grid there is nothing to test, and no mean */
    assert_true(isnan(find_test(r, "product").value));
    assert_true(isnan(mean_of(r, "dose", "1", NULL)->estimate));
    assert_true(has_note(r, "product none with dose 0 is an added control"));
    assert_int_equal(r->against_count, 1); /* with a verdict, by the margin of 5 */
    assert_near(r->against[0].estimate, -10.0, 1e-12);
    assert_int_equal(r->against[0].verdict, QX_LOWER_VERDICT);
    assert_true(r->against[0].beyond_margin);
    assert_int_equal(r->against[0].second.count, 0);
    trial_close(&t);
}

static const char blocks_data[] =
    "block,tree,product,dose,y\n1,1,none,0,43.8\n1,2,none,0,42.5\n1,4,x,2,50.5\n"
    "1,5,y,1,52.8\n1,6,y,2,54.6\n2,1,none,0,42.1\n2,2,none,0,44.6\n2,3,x,1,39.4\n"
    "2,4,x,2,46.2\n2,5,y,1,43.5\n2,6,y,2,52.5\n3,1,none,0,40\n3,2,none,0,34.1\n"
    "3,3,x,1,38.6\n3,4,x,2,52\n3,6,y,2,48.3\n4,1,none,0,40.8\n4,2,none,0,44.3\n"
    "4,3,x,1,50\n4,4,x,2,48.2\n4,5,y,1,45.6\n4,6,y,2,48.9\n";

/* Blocks are random, the control stands twice in each, two trees are lost. */
static void in_random_blocks(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(
            &t,
            UNITS_OF_BLOCKS
            "  tree: {within: block, count: 6}\ntreatments:\n" CONTROL_AND_FOUR MEASURE,
            blocks_data),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    static const char *const yx[] = {"y", "x", NULL, NULL};
    check_mean(
        mean_of(r, "added control", "none", "0"), "41.525", "1.5136839", "8.14352981");
    check_mean(mean_of(r, "product (factorial part)", "x", NULL),
               "46.1970278",
               "1.61801962",
               "9.40460688");
    check_mean(mean_of(r, "product (factorial part)", "y", NULL),
               "48.9455218",
               "1.61801962",
               "9.40460688");
    check_mean(mean_of(r, "dose (factorial part)", "1", NULL),
               "44.9925496",
               "1.70186782",
               "10.6203829");
    check_test(r, "product (factorial part)", "1.97122371", "14.503064");
    check_test(r, "dose (factorial part)", "7.12070817", "14.226294");
    check_test(r, "product:dose (factorial part)", "0.210657364", "14.503064");
    const qx_difference *d =
        pair_of(r->difference_count, r->difference, "product (factorial part)", NULL, yx);
    assert_digits(d->estimate, "2.74849393", 6);
    assert_digits(d->se, "1.95761293", 6);
    assert_digits(d->p_adjusted, "0.181368782", 6); /* two means: as it is */
    const qx_contrast_line *c = against_rest(r);
    assert_digits(c->estimate, "-6.04627478", 6);
    assert_digits(c->se, "1.58084022", 6);
    assert_digits(c->df, "14.0882517", 6);
    assert_digits(c->p, "0.00183848145", 6);
    trial_close(&t);
}

static const char plots_data[] =
    "block,plot,tree,cultivar,product,dose,y\n1,1,1,early,none,0,50.6\n"
    "1,1,2,early,x,1,49.7\n1,1,3,early,x,2,57.7\n1,1,5,early,y,2,54.7\n"
    "1,2,1,late,none,0,46.4\n1,2,2,late,x,1,51.2\n1,2,3,late,x,2,57.6\n"
    "1,2,4,late,y,1,59.3\n1,2,5,late,y,2,65.9\n2,1,1,early,none,0,37.8\n"
    "2,1,2,early,x,1,35\n2,1,3,early,x,2,45.7\n2,1,4,early,y,1,40\n"
    "2,1,5,early,y,2,48.4\n2,2,1,late,none,0,42.3\n2,2,3,late,x,2,48.1\n"
    "2,2,4,late,y,1,48.6\n2,2,5,late,y,2,59.6\n3,1,1,early,none,0,39.7\n"
    "3,1,2,early,x,1,43.2\n3,1,3,early,x,2,46.4\n3,1,4,early,y,1,43\n"
    "3,1,5,early,y,2,53.9\n3,2,1,late,none,0,35.9\n3,2,2,late,x,1,42.3\n"
    "3,2,3,late,x,2,47.4\n3,2,4,late,y,1,51.7\n3,2,5,late,y,2,53.9\n"
    "4,1,2,early,x,1,39.3\n4,1,3,early,x,2,45.6\n4,1,4,early,y,1,42.5\n"
    "4,1,5,early,y,2,53.9\n4,2,1,late,none,0,45.7\n4,2,2,late,x,1,48.4\n"
    "4,2,3,late,x,2,54.5\n4,2,4,late,y,1,53.5\n4,2,5,late,y,2,61.2\n";

/* Cultivars on plots, all with the control too: they are averaged over, tested in the part,
 * and the control's difference may change with them. Three trees are lost. */
static void crossed_with_a_third_treatment(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(
            &t,
            UNITS_OF_BLOCKS
            "  plot: {within: block, count: 2}\n"
            "  tree: {within: plot, count: 5}\n"
            "treatments:\n"
            "  cultivar: {levels: [early, late], on: plot}\n" CONTROL_AND_FOUR MEASURE,
            plots_data),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    check_mean(mean_of(r, "added control", "none", "0"),
               "42.4443067",
               "2.2740825",
               "3.84321787");
    check_mean(mean_of(r, "cultivar (factorial part)", "late", NULL),
               "52.952068",
               "2.31086721",
               "4.0153708");
    check_mean(mean_of(r, "product (factorial part)", "y", NULL),
               "52.5280618",
               "2.18221126",
               "3.27130881");
    check_mean(mean_of(r, "cultivar:product (factorial part)", "early", "x"),
               "45.325",
               "2.37019017",
               "4.44289359");
    check_test(r, "cultivar (factorial part)", "12.4770248", "3.26351721");
    check_test(r, "product (factorial part)", "40.4557227", "21.0801174");
    check_test(r, "dose (factorial part)", "71.881417", "21.1229428");
    check_test(r, "cultivar:product (factorial part)", "7.37875105", "21.1229428");
    check_test(r, "cultivar:dose (factorial part)", "1.12880572", "21.0801174");
    check_test(
        r, "cultivar:product:dose (factorial part)", "0.00589353669", "21.1229428");
    check_test(r, "control against the rest:cultivar", "9.21560321", "21.2202756");
    assert_digits(against_rest(r)->estimate, "-7.44888315", 6);
    assert_digits(against_rest(r)->se, "0.964443886", 6);
    assert_digits(against_rest(r)->df, "21.1966827", 6);
    assert_true(isnan(find_test(r, "cultivar").value));
    assert_true(has_note(r, "cultivar and product act together"));
    trial_close(&t);
}

#define PINCH_AND_ANGLE                                                                  \
    UNITS_OF_BLOCKS                                                                      \
    "  tree: {within: block, count: 3}\n"                                                \
    "treatments:\n"                                                                      \
    "  pinch: {levels: [none, early], on: tree}\n"                                       \
    "  angle: {levels: [30, 60], on: tree}\n"

/* early with 60 was never tried; one tree is lost. */
static const char three_cells[] =
    "block,tree,pinch,angle,y\n1,1,none,30,45.58\n1,2,none,60,48.90\n"
    "1,3,early,30,41.47\n2,1,none,30,44.06\n2,2,none,60,44.94\n2,3,early,30,43.60\n"
    "3,1,none,30,45.35\n3,2,none,60,46.84\n3,3,early,30,44.98\n4,1,none,30,46.22\n"
    "4,2,none,60,49.00\n";

/* No mean over both levels, for nobody said that the two do not interact: emmeans calls them
 * not estimable too. The three combinations are compared, as levels of one factor. */
static void one_of_four_cells_is_empty(void **state)
{
    (void)state;
    trial t;
    static const char *const cells[] = {"early", "none", "30", "60"};
    static const char *const inside[] = {"early", "none", NULL, NULL};
    assert_int_equal(trial_open(&t,
                                PINCH_AND_ANGLE "analysis: {df: kenward-roger}\n" MEASURE,
                                three_cells),
                     QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_true(isnan(find_test(r, "pinch").value));
    assert_true(isnan(find_test(r, "angle").value));
    assert_digits(mean_of(r, "pinch", "none", NULL)->estimate, "46.36125", 10);
    assert_digits(mean_of(r, "angle", "30", NULL)->estimate, "44.32625", 10);
    assert_true(isnan(mean_of(r, "pinch", "early", NULL)->estimate));
    assert_true(isnan(mean_of(r, "angle", "60", NULL)->estimate));
    assert_digits(mean_of(r, "pinch:angle", "early", "30")->estimate, "43.35", 10);
    assert_true(isnan(mean_of(r, "pinch:angle", "early", "60")->estimate));
    assert_null(mean_of(r, "pinch:angle", "early", "60")->letters);
    assert_true(has_note(r, "pinch: no mean for early,"));
    assert_true(has_note(r, "angle: no mean for 60,"));
    assert_true(has_note(r, "pinch:angle: no mean for early with 60, which has no data"));
    assert_true(
        has_note(r, "pinch:angle: the data show none of its 1 degrees of freedom"));
    const qx_difference *d =
        pair_of(r->difference_count, r->difference, "pinch:angle", NULL, cells);
    assert_digits(d->estimate, "-4.07", 10);
    assert_digits(d->se, "1.25255131", 6);
    assert_digits(d->df, "5.63449692", 6);
    assert_digits(d->p_adjusted, "0.0433226926", 6); /* of three means, not four */
    d = pair_of(r->simple_count, r->simple, "pinch", "30", inside);
    assert_digits(d->estimate, "-1.9525", 10);
    assert_digits(d->se, "1.25255131", 6);
    assert_true(
        isnan(pair_of(r->simple_count, r->simple, "pinch", "60", inside)->estimate));
    trial_close(&t);
}

/* Whoever says that they do not interact gets the means. */
static void without_interactions_the_means_are_there(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(
            &t, PINCH_AND_ANGLE "analysis: {interactions: none}\n" MEASURE, three_cells),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_true(isfinite(mean_of(r, "pinch", "early", NULL)->estimate));
    assert_true(isfinite(mean_of(r, "angle", "60", NULL)->estimate));
    assert_true(find_test(r, "pinch").num_df == 1.0);
    assert_false(has_note(r, "added control"));
    trial_close(&t);
}

/* A count with an empty cell: the pair that cannot be estimated has no standard error. */
static void no_standard_error_of_nothing(void **state)
{
    (void)state;
    trial t;
    static const char *const pair[] = {"early", "none", NULL, NULL};
    assert_int_equal(trial_open(&t,
                                PINCH_AND_ANGLE
                                "measure:\n  y: {kind: count, on: tree}\n",
                                "block,tree,pinch,angle,y\n1,1,none,30,4\n1,2,none,60,7\n"
                                "1,3,early,30,3\n2,1,none,30,5\n2,2,none,60,9\n"
                                "2,3,early,30,2\n3,1,none,30,6\n3,2,none,60,6\n"
                                "3,3,early,30,4\n4,1,none,30,3\n4,2,none,60,8\n"),
                     QX_OK);
    const qx_result *r = &t.findings->result[0];
    const qx_difference *d =
        pair_of(r->difference_count, r->difference, "pinch", NULL, pair);
    assert_true(isnan(d->estimate));
    assert_true(isnan(d->se));
    assert_true(isnan(d->df_small_sample));
    trial_close(&t);
}

/* "none" with dose 1 was tried too: no added control, and nothing is named so. */
static void a_crossed_level_is_no_added_control(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(
            &t,
            "quincunx: 1\nunits:\n  tree: {count: 10}\ntreatments:\n" CONTROL_AND_FOUR
                MEASURE,
            "tree,product,dose,y\n1,none,0,10\n2,none,1,12\n3,x,1,14\n"
            "4,x,1,16\n5,x,2,18\n6,x,2,20\n7,y,1,20\n8,y,1,22\n"
            "9,y,2,28\n10,y,2,30\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_int_equal(r->contrast_count, 0);
    assert_false(has_note(r, "added control"));
    for (size_t i = 0; i < r->test_count; i++) {
        assert_null(strstr(r->test[i].term, "factorial part"));
    }
    trial_close(&t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(by_hand),
        cmocka_unit_test(in_random_blocks),
        cmocka_unit_test(crossed_with_a_third_treatment),
        cmocka_unit_test(one_of_four_cells_is_empty),
        cmocka_unit_test(without_interactions_the_means_are_there),
        cmocka_unit_test(no_standard_error_of_nothing),
        cmocka_unit_test(a_crossed_level_is_no_added_control),
    };
    return cmocka_run_group_tests_name("findings/added_control", tests, NULL, NULL);
}
