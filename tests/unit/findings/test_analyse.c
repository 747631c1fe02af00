/* From a protocol and data to findings: the model follows from the units, smaller units
 * never become replicates, and data that say nothing give notes and no numbers. */
#include "trial.h"

/* Six trees in three blocks, pinched or not; four limbs a tree. The limbs of one tree
 * scatter so widely that the tree component is estimated at zero. */
static const char limbs_protocol[] =
    "quincunx: 1\n"
    "title: Limbs are not trees\n"
    "units:\n"
    "  block: {count: 3}\n"
    "  tree: {within: block, count: 2}\n"
    "  limb: {within: tree, count: 4}\n"
    "treatments:\n"
    "  pinch: {levels: [none, early], on: tree}\n"
    "measure:\n"
    "  length: {kind: continuous, on: limb, margin: 8}\n";

static const char limbs_data[] =
    "block,tree,limb,pinch,length\n"
    "1,1,1,none,10\n1,1,2,none,50\n1,1,3,none,31\n1,1,4,none,29\n"
    "1,2,1,early,12\n1,2,2,early,48\n1,2,3,early,33\n1,2,4,early,31\n"
    "2,1,1,none,11\n2,1,2,none,49\n2,1,3,none,30\n2,1,4,none,30\n"
    "2,2,1,early,13\n2,2,2,early,52\n2,2,3,early,30\n2,2,4,early,28\n"
    "3,1,1,none,9\n3,1,2,none,51\n3,1,3,none,32\n3,1,4,none,28\n"
    "3,2,1,early,14\n3,2,2,early,47\n3,2,3,early,32\n3,2,4,early,32\n";

static void limbs_never_become_replicates_of_trees(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(trial_open(&t, limbs_protocol, limbs_data), QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_int_equal(r->random_count, 2);
    assert_string_equal(r->random[0], "block");
    assert_string_equal(r->random[1], "block:tree");
    assert_true(r->variance[0].at_zero && r->variance[1].at_zero);
    /* Six trees, three blocks, two levels: never more than 4 df (blocks at zero too); with
     * limbs as replicates it would be 22. */
    assert_true(find_test(r, "pinch").den_df < 4.5);
    assert_true(r->difference[0].df < 4.5);
    assert_true(has_note(r, "one tree and another"));
    trial_close(&t);
}

/* An error below what the limbs allow, from few trees: said in words, once. Not where the
 * bound at zero is kept, nor where the trees do differ. */
static void a_small_error_is_told_once(void **state)
{
    (void)state;
    trial t;
    size_t told = 0;
    char named[sizeof limbs_protocol + 64];
    assert_int_equal(trial_open(&t, limbs_protocol, limbs_data), QX_OK);
    const qx_result *r = &t.findings->result[0];
    for (size_t i = 0; i < r->note_count; i++) {
        told += strstr(r->note[i], "Read the verdicts on pinch with caution") != NULL;
    }
    assert_int_equal(told, 1);
    assert_true(has_note(r, "smaller than the variation inside each tree allows"));
    trial_close(&t);
    (void)snprintf(
        named, sizeof named, "%sanalysis: {df: kenward-roger}\n", limbs_protocol);
    assert_int_equal(trial_open(&t, named, limbs_data), QX_OK);
    assert_false(has_note(&t.findings->result[0], "with caution"));
    trial_close(&t);
    assert_int_equal(trial_open(&t,
                                limbs_protocol,
                                "block,tree,limb,pinch,length\n"
                                "1,1,1,none,30\n1,1,2,none,31\n1,2,1,early,42\n"
                                "1,2,2,early,43\n2,1,1,none,21\n2,1,2,none,23\n"
                                "2,2,1,early,45\n2,2,2,early,44\n3,1,1,none,39\n"
                                "3,1,2,none,38\n3,2,1,early,34\n3,2,2,early,36\n"),
                     QX_OK);
    assert_false(has_note(&t.findings->result[0], "with caution"));
    trial_close(&t);
}

static void unsettled_pairs_say_what_would_settle_them(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(trial_open(&t, limbs_protocol, limbs_data), QX_OK);
    const qx_difference *d = &t.findings->result[0].difference[0];
    assert_int_equal(t.findings->result[0].difference_count, 1);
    assert_string_equal(d->first.level[0], "early");
    assert_string_equal(d->second.level[0], "none");
    if (d->verdict == QX_UNSETTLED) {
        assert_true(d->replicates_to_settle > 3.0);
    } else {
        assert_true(d->verdict == QX_EQUIVALENT || d->verdict == QX_TRIVIAL);
        assert_true(isnan(d->replicates_to_settle));
    }
    trial_close(&t);
}

/* One limb a tree: the tree's variation is the residual's. */
static void units_that_cannot_be_told_apart_are_merged(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   limbs_protocol,
                   "block,tree,limb,pinch,length\n"
                   "1,1,1,none,10\n1,2,1,early,12\n2,1,1,none,11\n2,2,1,early,16\n"
                   "3,1,1,none,9\n3,2,1,early,14\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_int_equal(r->random_count, 1);
    assert_string_equal(r->random[0], "block");
    assert_true(has_note(r, "block:tree"));
    assert_true(fabs(find_test(r, "pinch").den_df - 2.0) < 1e-6);
    trial_close(&t);
}

static void blocks_may_be_fixed(void **state)
{
    (void)state;
    char protocol[1000];
    trial t;
    snprintf(protocol, sizeof protocol, "%sanalysis: {blocks: fixed}\n", limbs_protocol);
    assert_int_equal(trial_open(&t, protocol, limbs_data), QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_int_equal(r->random_count, 1);
    assert_string_equal(r->random[0], "block:tree");
    assert_string_equal(r->fixed[0], "block");
    assert_string_equal(r->fixed[1], "pinch");
    trial_close(&t);
}

static void two_seasons_cross_the_trees(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Two seasons\nseasons: [2024, 2025]\n"
                   "units:\n  block: {count: 4}\n  tree: {within: block, count: 2}\n"
                   "treatments:\n  pinch: {levels: [none, early], on: tree}\n"
                   "measure:\n  girth: {kind: continuous, on: tree}\n",
                   "season,block,tree,pinch,girth\n"
                   "2024,1,1,none,10.1\n2024,1,2,early,12.3\n2024,2,1,none,11.2\n"
                   "2024,2,2,early,13.9\n2024,3,1,none,9.7\n2024,3,2,early,11.0\n"
                   "2024,4,1,none,10.4\n2024,4,2,early,12.8\n"
                   "2025,1,1,none,13.5\n2025,1,2,early,15.2\n2025,2,1,none,14.9\n"
                   "2025,2,2,early,17.1\n2025,3,1,none,12.2\n2025,3,2,early,14.6\n"
                   "2025,4,1,none,13.0\n2025,4,2,early,16.3\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_int_equal(r->random_count, 3);
    assert_string_equal(r->random[0], "block");
    assert_string_equal(r->random[1], "block:season");
    assert_string_equal(r->random[2], "block:tree");
    assert_true(find_test(r, "season").value > 0.0);
    assert_true(find_test(r, "season:pinch").num_df > 0.0);
    trial_close(&t);
}

/* Nothing in these results may be a number that could not be computed. */
static void expect_silence(const char *data, const char *note)
{
    trial t;
    assert_int_equal(trial_open(&t, limbs_protocol, data), QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_int_equal(r->mean_count, 0);
    assert_int_equal(r->difference_count, 0);
    assert_int_equal(r->test_count, 0);
    assert_true(isnan(r->log_likelihood));
    if (!has_note(r, note)) {
        for (size_t i = 0; i < r->note_count; i++) {
            print_error("note: %s\n", r->note[i]);
        }
        fail_msg("no note with \"%s\"", note);
    }
    trial_close(&t);
}

static void data_that_say_nothing_give_notes(void **state)
{
    (void)state;
    expect_silence("block,tree,limb,pinch,length\n1,1,1,none,\n1,2,1,early,NA\n",
                   "no complete observation");
    expect_silence("block,tree,limb,pinch,length\n"
                   "1,1,1,none,7\n1,2,1,early,7\n2,1,1,none,7\n2,2,1,early,7\n",
                   "same value");
    expect_silence("block,tree,limb,pinch,length\n1,1,1,none,7\n1,2,1,early,8\n",
                   "could not be analysed");
}

static void one_level_is_told(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   limbs_protocol,
                   "block,tree,limb,pinch,length\n"
                   "1,1,1,none,7\n1,1,2,none,8\n2,1,1,none,9\n2,1,2,none,6\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_true(has_note(r, "one level"));
    assert_int_equal(r->fixed_count, 0);
    assert_int_equal(r->coefficient_count, 1);
    trial_close(&t);
}

static void means_come_back_from_the_scale(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Logs\nunits:\n  tree: {count: 6}\n"
                   "treatments:\n  pinch: {levels: [none, early], on: tree}\n"
                   "measure:\n"
                   "  girth: {kind: continuous, on: tree, transform: log, margin: 2}\n",
                   "tree,pinch,girth\n1,none,2\n2,none,8\n3,none,4\n"
                   "4,early,4\n5,early,16\n6,early,8\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_true(fabs(r->mean[0].back.estimate - 4.0) < 1e-12); /* geometric mean */
    assert_true(fabs(r->mean[1].back.estimate - 8.0) < 1e-12);
    assert_true(r->mean[0].back.lower > 0.0);
    /* Margin 2 around the geometric mean sqrt(32): the step up is the smaller one. */
    assert_true(fabs(r->difference[0].margin - log((sqrt(32.0) + 2.0) / sqrt(32.0))) <
                1e-12);
    assert_true(has_note(r, "margin"));
    trial_close(&t);
}

/* Counts without a transform have a family of their own; their means are means of counts. */
static void counts_are_analysed_as_counts(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Counts\nunits:\n  tree: {count: 4}\n"
                   "treatments:\n  pinch: {levels: [none, early], on: tree}\n"
                   "measure:\n  shoots: {kind: count, on: tree, extra_variation: none}\n",
                   "tree,pinch,shoots\n1,none,3\n2,none,0\n3,early,4\n"
                   "4,early,5\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_string_equal(r->family, "poisson");
    assert_string_equal(r->link, "log");
    assert_int_equal(r->mean_count, 2);
    assert_true(fabs(r->mean[0].estimate - 1.5) < 1e-8); /* 8 digits are owed */
    assert_true(fabs(r->mean[1].estimate - 4.5) < 1e-8);
    assert_true(fabs(r->difference[0].link_estimate - log(3.0)) < 1e-8);
    trial_close(&t);
}

static void dunnett_needs_a_control(void **state)
{
    (void)state;
    static const char data[] = "tree,rate,girth\n1,0,3\n2,0,2\n3,0,4\n4,10,4\n5,10,5\n"
                               "6,10,6\n7,20,8\n8,20,7\n9,20,9\n";
    static const char head[] = "quincunx: 1\ntitle: Rates\nunits:\n  tree: {count: 9}\n"
                               "measure:\n  girth: {kind: continuous, on: tree}\n"
                               "analysis: {compare: dunnett}\ntreatments:\n";
    char protocol[1000];
    trial t;
    snprintf(
        protocol, sizeof protocol, "%s  rate: {levels: [0, 10, 20], on: tree}\n", head);
    assert_int_equal(trial_open(&t, protocol, data), QX_OK);
    assert_int_equal(t.findings->result[0].difference_count, 3);
    assert_string_equal(t.findings->result[0].difference[0].adjust, "tukey");
    assert_true(has_note(&t.findings->result[0], "no control"));
    trial_close(&t);
    snprintf(protocol,
             sizeof protocol,
             "%s  rate: {levels: [0, 10, 20], on: tree, control: 20}\n",
             head);
    assert_int_equal(trial_open(&t, protocol, data), QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_int_equal(r->difference_count, 2);
    assert_string_equal(r->difference[0].adjust, "dunnett");
    assert_string_equal(r->difference[0].second.level[0], "20");
    assert_true(fabs(r->difference[0].estimate - -5.0) < 1e-12);
    assert_null(r->mean[0].letters);
    trial_close(&t);
}

static double coefficient(const qx_result *r, const char *term)
{
    for (size_t i = 0; i < r->coefficient_count; i++) {
        if (strcmp(r->coefficient[i].term, term) == 0) {
            return r->coefficient[i].estimate;
        }
    }
    fail_msg("no coefficient of %s", term);
    return NAN;
}

/* Fixed blocks: coefficients are named by label, the lowest number is the reference, in
 * whatever order the rows come. Block means by hand: 1 in block 9, 5 in 10, 12 in B. */
static void fixed_blocks_are_told_by_label(void **state)
{
    (void)state;
    static const char *const data[] = {
        "block,tree,rate,mass\nB,1,0,11\nB,2,5,13\n10,1,0,4\n10,2,5,6\n9,1,0,0\n9,2,5,"
        "2\n",
        "block,tree,rate,mass\n9,2,5,2\n10,1,0,4\nB,2,5,13\n9,1,0,0\nB,1,0,11\n10,2,5,"
        "6\n",
    };
    for (size_t k = 0; k < 2; k++) {
        trial t;
        assert_int_equal(
            trial_open(&t,
                       "quincunx: 1\ntitle: Labels\n"
                       "units:\n  block: {count: 3}\n  tree: {within: block, count: 2}\n"
                       "treatments:\n  rate: {levels: [0, 5], on: tree}\n"
                       "measure:\n  mass: {kind: continuous, on: tree}\n"
                       "analysis: {blocks: fixed}\n",
                       data[k]),
            QX_OK);
        const qx_result *r = &t.findings->result[0];
        assert_true(fabs(coefficient(r, "intercept") - 0.0) < 1e-12);
        assert_true(fabs(coefficient(r, "block=10") - 4.0) < 1e-12);
        assert_true(fabs(coefficient(r, "block=B") - 11.0) < 1e-12);
        trial_close(&t);
    }
}

/* The same nine trees with girth measured from 0, and from a place 10^9 below in an odd
 * unit. */
static const char *girth_data(bool moved)
{
    return moved ? "tree,rate,girth,mass\n"
                   "1,0,1000000000.0007,10\n2,0,1000000000.0009,12\n"
                   "3,0,1000000000.0004,9\n4,10,1000000000.0008,16\n"
                   "5,10,1000000000.0005,14\n6,10,1000000000.0006,15\n"
                   "7,20,1000000000.0003,15\n8,20,1000000000.0009,23\n"
                   "9,20,1000000000.0008,21\n"
                 : "tree,rate,girth,mass\n"
                   "1,0,7,10\n2,0,9,12\n3,0,4,9\n4,10,8,16\n5,10,5,14\n6,10,6,15\n"
                   "7,20,3,15\n8,20,9,23\n9,20,8,21\n";
}

static bool alike(double a, double b)
{
    return fabs(a - b) <= 1e-9 * fabs(b);
}

/* A covariate is told on the scale that it was measured on, whatever its mean and unit. */
static void covariates_may_lie_anywhere(void **state)
{
    (void)state;
    trial near, far;
    static const char protocol[] =
        "quincunx: 1\ntitle: Girth\nunits:\n  tree: {count: 9}\n"
        "treatments:\n  rate: {levels: [0, 10, 20], on: tree}\n"
        "covariates:\n  girth: {on: tree, slopes: [rate]}\n"
        "measure:\n  mass: {kind: continuous, on: tree}\n";
    assert_int_equal(trial_open(&near, protocol, girth_data(false)), QX_OK);
    assert_int_equal(trial_open(&far, protocol, girth_data(true)), QX_OK);
    const qx_result *a = &near.findings->result[0];
    const qx_result *b = &far.findings->result[0];
    static const char *const order[] = {"girth", "rate", "rate:girth"};
    for (size_t i = 0; i < 3; i++) {
        assert_string_equal(a->fixed[i], order[i]);
        assert_true(alike(b->test[i].value, a->test[i].value));
        assert_true(alike(b->mean[i].estimate, a->mean[i].estimate));
        assert_true(alike(b->mean[i].se, a->mean[i].se));
    }
    const double slope = coefficient(a, "girth");
    const double steeper = coefficient(a, "rate=20:girth");
    /* By hand: under 0 Sxy / Sxx = (22/3) / (38/3); under 20 (80/3) / (62/3). */
    assert_true(alike(slope, 22.0 / 38.0));
    assert_true(alike(slope + steeper, 80.0 / 62.0));
    assert_true(alike(coefficient(a, "intercept"), 31.0 / 3.0 - slope * 20.0 / 3.0));
    assert_true(alike(coefficient(b, "girth"), slope * 1e4));
    assert_true(alike(coefficient(b, "rate=20"),
                      coefficient(a, "rate=20") - steeper * 1e4 * 1e9));
    trial_close(&near);
    trial_close(&far);
}

/* `times`: a row stands for alike things, as if it were written as often; a million
 * millions are refused, not left out. */
static void rows_stand_for_alike_things(void **state)
{
    (void)state;
    static const char protocol[] =
        "quincunx: 1\ntitle: Times\nunits:\n  tree: {count: 6}\n"
        "treatments:\n  rate: {levels: [0, 5], on: tree}\n"
        "measure:\n  mass: {kind: continuous, on: tree, times: number}\n";
    trial t;
    assert_int_equal(
        trial_open(&t, protocol, "rate,mass,number\n0,1,2\n0,4,1\n5,6,2\n5,9,1\n"),
        QX_OK);
    assert_int_equal(t.findings->result[0].used, 6);
    assert_true(alike(t.findings->result[0].mean[0].estimate, 2.0));
    assert_true(alike(find_test(&t.findings->result[0], "rate").value, 12.5));
    trial_close(&t);
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Times\nunits:\n  tree: {sample: true}\n"
                   "treatments:\n  rate: {levels: [0, 5], on: tree}\n"
                   "measure:\n  mass: {kind: continuous, on: tree, times: number}\n",
                   "rate,mass,number\n0,1,2\n0,4,1000000000000\n5,6,2\n5,9,1\n"),
        QX_E_INPUT);
    assert_non_null(strstr(qx_ctx_message(t.cx), "number adds up to"));
    trial_close(&t);
}

/* One tree for each treatment, four limbs each: the limbs are no replicates of it. */
static void one_unit_a_treatment_is_not_tested(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: One tree each\n"
                   "units:\n  tree: {count: 3}\n  limb: {within: tree, count: 4}\n"
                   "treatments:\n  rate: {levels: [0, 10, 20], on: tree}\n"
                   "measure:\n  length: {kind: continuous, on: limb}\n",
                   "tree,limb,rate,length\n"
                   "1,1,0,10\n1,2,0,11\n1,3,0,12\n1,4,0,13\n"
                   "2,1,10,20\n2,2,10,22\n2,3,10,21\n2,4,10,25\n"
                   "3,1,20,30\n3,2,20,33\n3,3,20,31\n3,4,20,36\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_true(isnan(find_test(r, "rate").p));
    assert_true(fabs(r->mean[1].estimate - 22.0) < 1e-12);
    assert_true(isnan(r->mean[1].se));
    assert_int_equal(r->difference_count, 3);
    assert_int_equal(r->difference[0].verdict, QX_CANNOT_TELL);
    assert_non_null(strstr(r->difference[0].why_not, "no tree is a replicate"));
    assert_non_null(strstr(r->difference[0].mend, "one more tree"));
    assert_true(has_note(r, "No tree is a replicate"));
    trial_close(&t);
}

/* A covariate that is the same under each treatment has no slopes of its own to test; what
 * the trial of them notes is about a model that nobody asked for. */
static void the_trial_of_slopes_leaves_no_notes(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(trial_open(&t,
                                "quincunx: 1\ntitle: Girth\n"
                                "units:\n  tree: {count: 9}\n"
                                "treatments:\n  rate: {levels: [0, 10, 20], on: tree}\n"
                                "covariates:\n  girth: {on: tree}\n"
                                "measure:\n  mass: {kind: continuous, on: tree}\n",
                                "tree,rate,girth,mass\n"
                                "1,0,7,10\n2,0,8,12\n3,0,7,11\n4,10,8,16\n5,10,8,14\n"
                                "6,10,8,15\n7,20,7,19\n8,20,7,21\n9,20,8,20\n"),
                     QX_OK);
    assert_false(has_note(&t.findings->result[0], "slopes"));
    trial_close(&t);
}

/* What is confounded is named, with what can be told nevertheless. */
static void covariates_that_go_with_the_treatment_are_named(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Girth\n"
                   "units:\n  tree: {count: 6}\n"
                   "treatments:\n  spray: {levels: [no, yes, twice], on: tree}\n"
                   "covariates:\n  girth: {on: tree}\n"
                   "measure:\n  mass: {kind: continuous, on: tree}\n",
                   "tree,spray,girth,mass\n"
                   "1,no,7,10\n2,no,7,12\n3,yes,9,11\n4,yes,9,16\n"
                   "5,twice,8,14\n6,twice,8,15\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_true(has_note(r,
                         "spray and girth cannot be told apart: girth has one value for "
                         "each level of spray"));
    assert_false(has_note(r, "no data"));
    assert_false(has_note(r, "have no data"));
    for (size_t i = 0; i < r->difference_count; i++) {
        assert_int_equal(r->difference[i].verdict, QX_CANNOT_TELL);
        assert_non_null(strstr(r->difference[i].why_not, "girth has one value"));
        assert_non_null(strstr(r->difference[i].mend, "without girth in the protocol"));
    }
    trial_close(&t);
}

/* Fixed blocks inside sites are named "site:block", and are no treatments for it. */
static void blocks_are_no_treatments(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Sites\n"
                   "units:\n  site: {count: 2}\n  block: {within: site, count: 2}\n"
                   "  tree: {within: block, count: 2}\n"
                   "treatments:\n  spray: {levels: [no, yes], on: tree}\n"
                   "measure:\n  mass: {kind: continuous, on: tree}\n"
                   "analysis: {blocks: fixed}\n",
                   "site,block,tree,spray,mass\n"
                   "n,1,1,no,10.0\nn,1,2,yes,12.1\nn,2,1,no,30.2\nn,2,2,yes,31.9\n"
                   "s,1,1,no,10.1\ns,1,2,yes,11.9\ns,2,1,no,50.0\ns,2,2,yes,52.2\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_true(find_test(r, "site:block").p < 0.001);
    assert_false(has_note(r, "act together"));
    trial_close(&t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(covariates_that_go_with_the_treatment_are_named),
        cmocka_unit_test(blocks_are_no_treatments),
        cmocka_unit_test(limbs_never_become_replicates_of_trees),
        cmocka_unit_test(a_small_error_is_told_once),
        cmocka_unit_test(unsettled_pairs_say_what_would_settle_them),
        cmocka_unit_test(units_that_cannot_be_told_apart_are_merged),
        cmocka_unit_test(blocks_may_be_fixed),
        cmocka_unit_test(two_seasons_cross_the_trees),
        cmocka_unit_test(data_that_say_nothing_give_notes),
        cmocka_unit_test(one_level_is_told),
        cmocka_unit_test(means_come_back_from_the_scale),
        cmocka_unit_test(counts_are_analysed_as_counts),
        cmocka_unit_test(dunnett_needs_a_control),
        cmocka_unit_test(one_unit_a_treatment_is_not_tested),
        cmocka_unit_test(fixed_blocks_are_told_by_label),
        cmocka_unit_test(rows_stand_for_alike_things),
        cmocka_unit_test(covariates_may_lie_anywhere),
        cmocka_unit_test(the_trial_of_slopes_leaves_no_notes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
