/* What a trial's report tells beside its differences: where means hold, planned contrasts,
 * the scale of contrasts. Data are invented. */
#include "trial.h"

#include "base/text.h"
#include "report/render_text.h"

/* The report for a terminal, on one line: a sentence may be broken anywhere. */
static const char *told(trial *t)
{
    qx_text *out = qx_text_new(t->arena);
    assert_int_equal(qx_render_text(t->cx, t->findings, out), QX_OK);
    char *line = qx_arena_copy(t->arena, qx_text_get(out));
    size_t n = 0;
    for (size_t i = 0; line[i] != '\0'; i++) {
        if (line[i] == '\n') {
            line[i] = ' ';
        }
        const char c = line[i];
        if (c != ' ' || n == 0 || line[n - 1] != ' ') {
            line[n++] = c;
        }
    }
    line[n] = '\0';
    return line;
}

static void expect(const char *text, const char *part)
{
    if (strstr(text, part) == NULL) {
        fail_msg("\"%s\" is not in: %s", part, text);
    }
}

static const char girths[] = "tree,cut,girth,mass\n1,none,3,7.1\n2,none,5,8.4\n"
                             "3,none,6,8.2\n4,none,8,10.1\n5,none,9,10.9\n"
                             "6,none,12,12.6\n7,short,2,9.2\n8,short,4,9.1\n"
                             "9,short,7,9.9\n10,short,8,10.4\n11,short,11,10.3\n"
                             "12,short,13,11.2\n";

static void differences_say_where_they_hold(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Girth\nunits:\n  tree: {count: 12}\n"
                   "treatments:\n  cut: {levels: [none, short], on: tree}\n"
                   "covariates:\n  girth: {on: tree, unit: cm, slopes: [cut]}\n"
                   "measure:\n  mass: {kind: continuous, on: tree, unit: kg}\n",
                   girths),
        QX_OK);
    const char *text = told(&t);
    expect(text, "those at girth 7.33 cm, the mean of the data");
    expect(text, "the slopes differ");
    expect(text,
           "Mass at girth 3.10 cm (a tenth of the data lie below): short minus none");
    expect(text, "Mass at girth 11.9 cm (a tenth of the data lie above): short minus");
    expect(text, "slope with girth");
    expect(text, "differences at low and high values of girth");
    trial_close(&t);
}

static void planned_contrasts_are_answered(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Cuts\nunits:\n  tree: {count: 12}\n"
                   "treatments:\n  cut: {levels: [none, short], on: tree}\n"
                   "measure:\n"
                   "  mass: {kind: continuous, on: tree, unit: kg, margin: 9}\n"
                   "contrasts:\n  asked: {of: cut, weights: {short: 1, none: -1}}\n",
                   girths),
        QX_OK);
    expect(told(&t),
           "asked (planned): Mass was alike with cut short and with none, as far as it "
           "matters");
    trial_close(&t);
}

static void contrasts_of_shares_name_their_scale(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Buds\nunits:\n  tree: {count: 8}\n"
                   "treatments:\n  cut: {levels: [none, short], on: tree}\n"
                   "measure:\n  broke: {kind: proportion, of: buds, on: tree, "
                   "extra_variation: none}\n"
                   "contrasts:\n  asked: {of: cut, weights: {short: 1, none: -1}}\n",
                   "tree,cut,broke,buds\n1,none,10,40\n2,none,9,40\n3,none,12,40\n"
                   "4,none,9,40\n5,short,20,40\n6,short,18,40\n7,short,22,40\n"
                   "8,short,20,40\n"),
        QX_OK);
    const char *text = told(&t);
    expect(text, "Estimate (logit)");
    /* 40 of 160 against 80 of 160: odds 1/3 against 1. */
    expect(text, "as a ratio of odds 3.00 times");
    trial_close(&t);
}

static void expect_not(const char *text, const char *part)
{
    if (strstr(text, part) != NULL) {
        fail_msg("\"%s\" is in: %s", part, text);
    }
}

/* Opposite effects whose average is small; and many pairs inside levels. */
static void averages_of_opposites_are_no_likeness(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Cross\nunits:\n  tree: {count: 12}\n"
                   "treatments:\n  cut: {levels: [none, short], on: tree}\n"
                   "  feed: {levels: [low, high], on: tree}\n"
                   "measure:\n  mass: {kind: continuous, on: tree, margin: 1.5}\n",
                   "tree,cut,feed,mass\n1,none,low,5.1\n2,none,low,5.0\n"
                   "3,none,low,4.9\n4,none,high,7.0\n5,none,high,7.1\n"
                   "6,none,high,6.9\n7,short,low,7.0\n8,short,low,6.9\n"
                   "9,short,low,7.1\n10,short,high,5.1\n11,short,high,4.9\n"
                   "12,short,high,5.0\n"),
        QX_OK);
    const char *text = told(&t);
    expect(text, "Averages of cut that came out alike are not told here");
    expect_not(text, "Mass was alike");
    trial_close(&t);
}

static void tests_by_ranks_are_set_against_f(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Ranks\nunits:\n  tree: {count: 12}\n"
                   "treatments:\n  cut: {levels: [none, short], on: tree}\n"
                   "measure:\n  mass: {kind: continuous, on: tree, unit: kg}\n",
                   girths),
        QX_OK);
    expect(told(&t), "says the same as the F test");
    trial_close(&t);
}

/* Counts whose ratio is asked for stand in the table, too. */
static void ratios_stand_in_the_table(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Shoots\nunits:\n  tree: {count: 8}\n"
                   "treatments:\n  cut: {levels: [none, short], on: tree}\n"
                   "measure:\n  shoots: {kind: count, on: tree, compare_as: ratio, "
                   "extra_variation: none}\n",
                   "tree,cut,shoots\n1,none,10\n2,none,9\n3,none,12\n4,none,9\n"
                   "5,short,20\n6,short,18\n7,short,22\n8,short,20\n"),
        QX_OK);
    const char *text = told(&t);
    expect_not(text, "Degrees of freedom: "); /* asked of continuous values alone */
    expect_not(text, "Kenward");
    expect(text, "Ratio (95\xc2\xa0% interval)");
    expect(text, "2.00 (");
    trial_close(&t);
}

/* What moves the error rate of the verdicts stands before them. */
static void looks_are_told_at_the_verdicts(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   "quincunx: 1\ntitle: Looks\nunits:\n  tree: {count: 12}\n"
                   "treatments:\n  cut: {levels: [none, short], on: tree}\n"
                   "measure:\n  mass: {kind: continuous, on: tree, unit: kg}\n",
                   girths),
        QX_OK);
    qx_result seen = t.findings->result[0];
    t.findings->result = &seen;
    expect_not(told(&t), "not declared");
    seen.look.error = 0.092;
    const char *text = told(&t);
    const char *warning = strstr(text, "about 9.2 are called different here, not 5.");
    assert_non_null(warning);
    assert_true(warning < strstr(text, "Effect of cut"));
    seen.look = (qx_result_look){.early = true, .unit = "tree", .share = 0.5};
    expect(told(&t), "of the planned tree values of Mass are in");
    trial_close(&t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(differences_say_where_they_hold),
        cmocka_unit_test(planned_contrasts_are_answered),
        cmocka_unit_test(contrasts_of_shares_name_their_scale),
        cmocka_unit_test(averages_of_opposites_are_no_likeness),
        cmocka_unit_test(tests_by_ranks_are_set_against_f),
        cmocka_unit_test(ratios_stand_in_the_table),
        cmocka_unit_test(looks_are_told_at_the_verdicts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
