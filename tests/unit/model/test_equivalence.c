#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>

#include "model/equivalence.h"
#include "reference_case.h"
#include "support.h"

static double part(const reference_case *c, const char *section, const char *what)
{
    char name[100];
    (void)snprintf(name, sizeof name, "tost.%s.%s", section, what);
    return reference_value(c, name);
}

static void
hold(const reference_case *c, const char *section, const char *what, double got)
{
    char name[100];
    (void)snprintf(name, sizeof name, "tost.%s.%s", section, what);
    reference_assert(c, name, got);
}

/* tests/reference/equivalence-sleep: Student 1908, paired and pooled, four margins. */
static void sleep_under_two_drugs(void **state)
{
    static const char *const sections[] = {
        "paired.margin1", "paired.margin2.5", "paired.margin3", "pooled.margin3"};
    const reference_case *c = reference_open(*state, "equivalence-sleep");
    for (size_t i = 0; i < QX_COUNT(sections); i++) {
        const qx_equivalence e = qx_equivalence_test(part(c, sections[i], "estimate"),
                                                     part(c, sections[i], "se"),
                                                     part(c, sections[i], "df"),
                                                     part(c, sections[i], "margin"),
                                                     0.05);
        hold(c, sections[i], "lower_p", e.p_lower);
        hold(c, sections[i], "upper_p", e.p_upper);
        hold(c, sections[i], "p_equivalence", e.p);
        hold(c, sections[i], "lower90", e.lower);
        hold(c, sections[i], "upper90", e.upper);
    }
}

/* The definition: p < alpha exactly when the 1 - 2 alpha interval lies inside the margin. */
static void agrees_with_the_interval(void **state)
{
    (void)state;
    for (int i = 1; i < 60; i++) {
        const double margin = 0.1 * i;
        const qx_equivalence e = qx_equivalence_test(1.3, 0.7, 11.0, margin, 0.05);
        const bool inside = e.lower > -margin && e.upper < margin;
        assert_int_equal(e.p < 0.05, inside);
    }
}

/* With infinite df it is the normal distribution: estimate 0, margin = 1.6448536 se gives
 * exactly 5 % on both sides (normal quantile, any table). */
static void infinite_df_is_normal(void **state)
{
    (void)state;
    const qx_equivalence e =
        qx_equivalence_test(0.0, 1.0, INFINITY, 1.6448536269514722, 0.05);
    assert_digits(e.p_lower, "0.05", 12);
    assert_digits(e.p_upper, "0.05", 12);
    assert_digits(e.upper, "1.6448536269514722", 12);
}

static void nothing_that_cannot_be_computed(void **state)
{
    (void)state;
    const qx_equivalence no_margin = qx_equivalence_test(1.0, 1.0, 9.0, NAN, 0.05);
    assert_true(isnan(no_margin.p) && isnan(no_margin.p_lower) &&
                isnan(no_margin.p_upper));
    assert_true(no_margin.lower < 1.0 && no_margin.upper > 1.0);
    const qx_equivalence no_se = qx_equivalence_test(1.0, 0.0, 9.0, 2.0, 0.05);
    assert_true(isnan(no_se.p) && isnan(no_se.lower) && isnan(no_se.upper));
    assert_true(isnan(qx_equivalence_test(1.0, 1.0, NAN, 2.0, 0.05).p));
    assert_true(isnan(qx_equivalence_test(NAN, 1.0, 9.0, 2.0, 0.05).p));
    assert_true(isnan(qx_equivalence_test(1.0, 1.0, 9.0, 2.0, 0.5).p));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            sleep_under_two_drugs, support_ctx_new, support_ctx_free),
        cmocka_unit_test(agrees_with_the_interval),
        cmocka_unit_test(infinite_df_is_normal),
        cmocka_unit_test(nothing_that_cannot_be_computed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
