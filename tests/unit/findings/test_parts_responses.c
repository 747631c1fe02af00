/* Factorials that are not complete, measured as counts, shares, grades and classes: an added
 * control, and one replicate.
 *
 * Values: R 4.2.2, one factor whose levels are the combinations that were tried, coded so that
 * the factorial part is product, dose and their interaction: glm with epsilon 1e-15 (counts, shares), MASS::polr
 * (grades), nnet::multinom (classes); likelihood ratios from fits without a column. polr and
 * multinom stop at some six digits. All data are invented. */
#include "trial.h"
#include <stdlib.h>

#include "support.h"

static const char tried[] =
    "tree,product,dose,shoots,buds,broken,vigour\n"
    "1,none,0,3,20,2,low\n2,none,0,5,20,4,low\n3,none,0,2,20,1,mid\n4,none,0,4,20,3,low\n"
    "5,none,0,6,20,2,high\n6,none,0,3,20,5,mid\n7,x,1,6,20,6,mid\n8,x,1,8,20,5,low\n"
    "9,x,1,5,20,8,mid\n10,x,1,9,20,4,high\n11,x,1,7,20,7,mid\n12,x,1,4,20,6,low\n"
    "13,x,2,12,20,9,high\n14,x,2,9,20,12,high\n15,x,2,14,20,10,mid\n16,x,2,8,20,8,high\n"
    "17,x,2,11,20,11,high\n18,x,2,10,20,13,low\n19,y,1,5,20,5,high\n20,y,1,7,20,7,mid\n"
    "21,y,1,6,20,4,mid\n22,y,1,10,20,6,high\n23,y,1,8,20,8,low\n24,y,1,9,20,3,mid\n"
    "25,y,2,9,20,7,mid\n26,y,2,13,20,9,high\n27,y,2,10,20,6,high\n28,y,2,7,20,10,mid\n"
    "29,y,2,12,20,8,low\n30,y,2,8,20,5,high\n";

#define TRIED_PROTOCOL                                                                   \
    "quincunx: 1\nunits:\n  tree: {count: 30}\ntreatments:\n"                            \
    "  product: {levels: [none, x, y], on: tree, control: none}\n"                       \
    "  dose: {levels: [0, 1, 2], on: tree}\nmeasure:\n"

static const qx_mean *
mean_of(const qx_result *r, const char *term, const char *level, const char *class_)
{
    for (size_t i = 0; i < r->mean_count; i++) {
        const qx_mean *m = &r->mean[i];
        if (strcmp(m->term, term) == 0 && strcmp(m->cell.level[0], level) == 0 &&
            (class_ == NULL || strcmp(m->class_, class_) == 0)) {
            return m;
        }
    }
    fail_msg("no mean of %s for %s", term, level);
    abort(); /* not reached: the failed test is left */
}

static void check_mean(const qx_mean *m, const char *estimate, const char *se)
{
    assert_digits(m->estimate, estimate, 8);
    assert_digits(m->se, se, 7);
}

/* Counts of single trees: the mean of a combination is the average, and the factorial part
 * the geometric mean of two, exp((log 6.5 + log 64/6) / 2). */
static void counts(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(trial_open(&t,
                                TRIED_PROTOCOL
                                "  shoots: {kind: count, on: tree, margin: 2, "
                                "extra_variation: none}\n",
                                tried),
                     QX_OK);
    const qx_result *r = &t.findings->result[0];
    check_mean(
        mean_of(r, "product (factorial part)", "x", NULL), "8.326663998", "0.845740964");
    check_mean(
        mean_of(r, "dose (factorial part)", "2", NULL), "10.24152766", "0.924211376");
    check_mean(mean_of(r, "added control", "none", NULL), "3.833333333", "0.799305254");
    assert_near(mean_of(r, "product (factorial part)", "x", NULL)->estimate,
                sqrt(6.5 * 64.0 / 6.0),
                1e-8);
    assert_digits(find_test(r, "product (factorial part)").value, "0.0474281675", 6);
    assert_digits(find_test(r, "dose (factorial part)").value, "7.43452320", 7);
    assert_digits(find_test(r, "product:dose (factorial part)").value, "0.627413716", 6);
    assert_int_equal(r->contrast_count, 1);
    assert_digits(r->contrast[0].estimate, "-0.791166950", 7);
    assert_digits(r->contrast[0].se, "0.220239866", 7);
    /* in shoots: 3.8333 less 8.4562 */
    assert_int_equal(r->against_count, 1);
    assert_near(r->against[0].estimate, 3.833333333 - 8.456215191, 1e-7);
    assert_int_equal(r->against[0].verdict, QX_LOWER_VERDICT);
    trial_close(&t);
}

static void shares(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(trial_open(&t,
                                TRIED_PROTOCOL
                                "  broken: {kind: proportion, of: buds, on: "
                                "tree, extra_variation: none}\n",
                                tried),
                     QX_OK);
    const qx_result *r = &t.findings->result[0];
    check_mean(mean_of(r, "product (factorial part)", "x", NULL),
               "0.4076696831",
               "0.0326436966");
    check_mean(mean_of(r, "added control", "none", NULL), "0.1416666667", "0.0318325334");
    assert_digits(find_test(r, "product (factorial part)").value, "3.58474053", 7);
    assert_digits(find_test(r, "dose (factorial part)").value, "13.3708855", 7);
    assert_digits(find_test(r, "product:dose (factorial part)").value, "1.58915403", 7);
    assert_digits(r->contrast[0].estimate, "-1.24465550", 7);
    assert_digits(r->contrast[0].se, "0.279169363", 7);
    assert_near(r->against[0].estimate, 0.1416666667 - 0.3642742722, 1e-8);
    trial_close(&t);
}

static void grades(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   TRIED_PROTOCOL
                   "  vigour: {kind: ordinal, levels: [low, mid, high], on: tree}\n",
                   tried),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    const char *part = "product (factorial part)";
    assert_digits(mean_of(r, part, "x", "low")->estimate, "0.192982", 5);
    assert_digits(mean_of(r, part, "x", "high")->estimate, "0.410256", 5);
    assert_digits(mean_of(r, "added control", "none", "low")->estimate, "0.488889", 5);
    assert_digits(find_test(r, part).value, "0.0113235", 5);
    assert_digits(find_test(r, "dose (factorial part)").value, "2.15921716", 6);
    assert_digits(find_test(r, "product:dose (factorial part)").value, "0.757460927", 6);
    assert_digits(r->contrast[0].estimate, "-1.428020", 6);
    assert_digits(r->contrast[0].se, "0.900680", 5);
    assert_int_equal(r->against_count, 3);
    assert_near(r->against[0].estimate, 0.488888890 - 0.186567161, 1e-6);
    trial_close(&t);
}

static void classes_without_order(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(&t,
                   TRIED_PROTOCOL
                   "  vigour: {kind: nominal, levels: [low, mid, high], on: tree}\n",
                   tried),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_digits(
        mean_of(r, "product (factorial part)", "x", "low")->estimate, "0.274804", 5);
    assert_digits(find_test(r, "product (factorial part)").value, "0.360425", 5);
    assert_digits(find_test(r, "dose (factorial part)").value, "3.000702", 6);
    assert_digits(find_test(r, "product:dose (factorial part)").value, "0.849195", 5);
    assert_digits(find_test(r, "control against the rest").value, "2.049791", 6);
    assert_true(find_test(r, "control against the rest").num_df == 2.0);
    assert_int_equal(r->contrast_count, 0);
    assert_int_equal(r->against_count, 3);
    trial_close(&t);
}

/* Two combinations of four with one empty: averages (by hand) of what was tried alone. */
static void observed_cells_of_counts(void **state)
{
    (void)state;
    trial t;
    assert_int_equal(
        trial_open(
            &t,
            "quincunx: 1\nunits:\n  tree: {count: 9}\ntreatments:\n"
            "  pinch: {levels: [none, early], on: tree}\n"
            "  angle: {levels: [flat, steep], on: tree}\nmeasure:\n"
            "  shoots: {kind: count, on: tree, extra_variation: none}\n",
            "tree,pinch,angle,shoots\n1,none,flat,4\n2,none,flat,6\n3,none,flat,5\n"
            "4,none,steep,10\n5,none,steep,12\n6,none,steep,8\n7,early,flat,2\n"
            "8,early,flat,3\n9,early,flat,1\n"),
        QX_OK);
    const qx_result *r = &t.findings->result[0];
    assert_near(mean_of(r, "pinch:angle", "none", NULL)->estimate, 5.0, 1e-8);
    assert_near(mean_of(r, "pinch:angle", "early", NULL)->estimate, 2.0, 1e-8);
    assert_near(mean_of(r, "pinch:angle", "none", NULL)->se, sqrt(5.0 / 3.0), 1e-7);
    bool flat = false;
    for (size_t i = 0; i < r->simple_count; i++) {
        const qx_difference *d = &r->simple[i];
        if (strcmp(d->term, "pinch") == 0 && strcmp(d->within.level[0], "flat") == 0) {
            assert_near(d->estimate, -3.0, 1e-8);
            flat = true;
        } else if (strcmp(d->term, "pinch") == 0) {
            assert_int_equal(d->verdict, QX_CANNOT_TELL);
            assert_string_equal(d->why_not, "pinch early with angle steep has no data");
        }
    }
    assert_true(flat);
    trial_close(&t);
}

/* Six limbs on each of three trees, one tree a treatment: the limbs are no replicates of it,
 * whatever is measured on them. */
static void one_tree_a_treatment(void **state)
{
    (void)state;
    static const char *const measure[] = {
        "  y: {kind: count, on: limb}\n",
        "  y: {kind: proportion, of: buds, on: limb}\n",
        "  y: {kind: ordinal, levels: [1, 2, 3, 4, 5, 6, 7, 8, 9], on: limb}\n",
        "  y: {kind: nominal, levels: [1, 2, 3, 4, 5, 6, 7, 8, 9], on: limb}\n"};
    for (size_t k = 0; k < 4; k++) {
        char protocol[512];
        trial t;
        (void)snprintf(protocol,
                       sizeof protocol,
                       "quincunx: 1\nunits:\n  tree: {count: 3}\n"
                       "  limb: {within: tree, count: 6}\ntreatments:\n"
                       "  pinch: {levels: [no, early, late], on: tree}\nmeasure:\n%s",
                       measure[k]);
        assert_int_equal(
            trial_open(&t,
                       protocol,
                       "tree,limb,pinch,buds,y\n1,1,no,20,1\n1,2,no,20,2\n1,3,no,20,3\n"
                       "1,4,no,20,2\n1,5,no,20,1\n1,6,no,20,4\n2,1,early,20,6\n"
                       "2,2,early,20,5\n2,3,early,20,7\n2,4,early,20,4\n2,5,early,20,8\n"
                       "2,6,early,20,6\n3,1,late,20,9\n3,2,late,20,8\n3,3,late,20,9\n"
                       "3,4,late,20,7\n3,5,late,20,6\n3,6,late,20,9\n"),
            QX_OK);
        const qx_result *r = &t.findings->result[0];
        const qx_test_line test = find_test(r, "pinch");
        assert_true(isnan(test.p) && isnan(test.value));
        assert_true(r->difference_count >= 3);
        for (size_t i = 0; i < r->difference_count; i++) {
            const qx_difference *d = &r->difference[i];
            assert_int_equal(d->verdict, QX_CANNOT_TELL);
            assert_true(isfinite(d->estimate));
            assert_true(isnan(d->se) && isnan(d->p) && isnan(d->lower) &&
                        isnan(d->upper));
            assert_non_null(strstr(d->why_not, "no tree is a replicate"));
        }
        assert_true(isfinite(r->mean[0].estimate));
        assert_true(isnan(r->mean[0].se) && isnan(r->mean[0].lower));
        assert_true(has_note(r, "No tree is a replicate of another"));
        assert_false(has_note(r, "estimated at zero"));
        trial_close(&t);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(counts),
        cmocka_unit_test(shares),
        cmocka_unit_test(grades),
        cmocka_unit_test(classes_without_order),
        cmocka_unit_test(observed_cells_of_counts),
        cmocka_unit_test(one_tree_a_treatment),
    };
    return cmocka_run_group_tests_name("findings/parts_responses", tests, NULL, NULL);
}
