/* What findings say of counts with many zeros, and of grades and classes that the treatments
 * tell apart completely. Invented data. */
#include "trial.h"

static const qx_check_line *check_of(const qx_result *r, const char *name)
{
    for (size_t i = 0; i < r->check_count; i++) {
        if (strcmp(r->check[i].check, name) == 0) {
            return &r->check[i];
        }
    }
    return NULL;
}

/* The counts of tests/unit/model/test_zero_inflation.c: p = 3.7e-10 there, by R. */
static void many_zeros_are_told(void **state)
{
    static const char head[] =
        "quincunx: 1\ntitle: Shoots\nunits:\n  limb: {count: 20}\n"
        "treatments:\n  notch: {levels: ['no', 'yes'], on: limb}\n"
        "measure:\n  shoots: {kind: count, on: limb, extra_variation: none}\n";
    static const int many[20] = {0, 0, 0, 3, 2, 0, 0, 5, 1, 4,
                                 0, 0, 2, 6, 7, 0, 3, 0, 8, 4};
    static const int few[20] = {1, 2, 1, 3, 2, 1, 0, 3, 1, 2,
                                3, 4, 2, 5, 3, 4, 3, 2, 4, 3};
    (void)state;
    for (int k = 0; k < 2; k++) {
        char data[1000] = "limb,notch,shoots\n";
        trial t;
        for (int i = 0; i < 20; i++) {
            const size_t length = strlen(data);
            snprintf(data + length,
                     sizeof data - length,
                     "%d,%s,%d\n",
                     i + 1,
                     i < 10 ? "no" : "yes",
                     k == 0 ? many[i] : few[i]);
        }
        assert_int_equal(trial_open(&t, head, data), QX_OK);
        const qx_check_line *zeros = check_of(&t.findings->result[0], "extra zeros");
        assert_non_null(zeros);
        if (k == 0) {
            assert_true(fabs(zeros->p - 3.7213400775e-10) < 1e-15);
            assert_non_null(strstr(zeros->advice, "9 of 20 counts are zero"));
        } else {
            assert_true(zeros->p > 0.05);
            assert_null(zeros->advice);
        }
        trial_close(&t);
    }
}

/* Every tree of one treatment has one class: finite numbers, and a sentence. */
static void separated_classes_are_told(void **state)
{
    static const char *const kind[] = {"ordinal", "nominal"};
    (void)state;
    for (int k = 0; k < 2; k++) {
        char head[400];
        trial t;
        snprintf(
            head,
            sizeof head,
            "quincunx: 1\ntitle: Vigour\nunits:\n  tree: {count: 12}\n"
            "treatments:\n  prune: {levels: [none, soft, hard], on: tree}\n"
            "measure:\n  vigour: {kind: %s, levels: [low, medium, high], on: tree}\n",
            kind[k]);
        assert_int_equal(trial_open(&t,
                                    head,
                                    "tree,prune,vigour\n1,none,low\n2,none,low\n"
                                    "3,none,low\n4,none,low\n5,soft,low\n6,soft,medium\n"
                                    "7,soft,medium\n8,soft,high\n9,hard,high\n"
                                    "10,hard,high\n11,hard,high\n12,hard,high\n"),
                         QX_OK);
        const qx_result *r = &t.findings->result[0];
        assert_true(has_note(r, "prune=none (all 4 low), prune=hard (all 4 high)"));
        assert_true(r->coefficient_count > 0);
        for (size_t i = 0; i < r->coefficient_count; i++) {
            assert_true(fabs(r->coefficient[i].estimate) < 20.0);
            assert_true(r->coefficient[i].se < 20.0);
        }
        assert_string_equal(r->test[0].method, "penalised likelihood ratio");
        assert_true(r->test[0].p < 0.05);
        for (size_t i = 0; i < r->mean_count; i++) {
            assert_true(r->mean[i].estimate > 0.0 && r->mean[i].estimate < 1.0);
        }
        trial_close(&t);
    }
}

/* One class only, and a class that nobody saw: told, nothing lost. */
static void classes_that_are_not_there(void **state)
{
    static const char head[] =
        "quincunx: 1\ntitle: Vigour\nunits:\n  tree: {count: 4}\n"
        "treatments:\n  prune: {levels: [none, hard], on: tree}\n"
        "measure:\n  vigour: {kind: ordinal, levels: [low, medium, high], on: tree}\n";
    trial t;
    (void)state;
    assert_int_equal(trial_open(&t,
                                head,
                                "tree,prune,vigour\n1,none,low\n2,none,low\n3,hard,low\n"
                                "4,hard,low\n"),
                     QX_OK);
    assert_true(has_note(&t.findings->result[0], "one class only"));
    trial_close(&t);
    assert_int_equal(trial_open(&t,
                                head,
                                "tree,prune,vigour\n1,none,low\n2,none,high\n3,hard,low\n"
                                "4,hard,high\n"),
                     QX_OK);
    assert_true(has_note(&t.findings->result[0], "medium was never seen"));
    trial_close(&t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(many_zeros_are_told),
        cmocka_unit_test(separated_classes_are_told),
        cmocka_unit_test(classes_that_are_not_there),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
