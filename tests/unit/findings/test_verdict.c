/* Verdicts of contract section 3, on the five cases of the handbook table of verdicts
 * (shared trade notes, report conventions section 2: differences, standard errors and
 * intervals computed there; margin 10, alpha 0.05). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "findings/transform.h"
#include "findings/verdict.h"
#include "model/equivalence.h"
#include "numeric/dist.h"

static qx_difference difference(double estimate, double se, double df, double margin)
{
    const qx_equivalence e = qx_equivalence_test(estimate, se, df, margin, 0.05);
    const double half = se * qx_t_q(0.025, df, QX_UPPER);
    qx_difference d = {.estimate = estimate,
                       .p_adjusted = qx_t_two_sided(estimate / se, df),
                       .lower = estimate - half,
                       .upper = estimate + half,
                       .margin = margin,
                       .p_equivalence = e.p};
    qx_verdict_give(&d, 0.05);
    return d;
}

static void verdicts_of_the_table(void **state)
{
    (void)state;
    assert_int_equal(difference(4, 3, 15, 10).verdict, QX_EQUIVALENT);
    assert_int_equal(difference(-6, 2.5, 15, 10).verdict, QX_LOWER_VERDICT);
    assert_int_equal(difference(12, 4, 15, 10).verdict, QX_HIGHER);
    assert_int_equal(difference(9, 8, 15, 10).verdict, QX_UNSETTLED);
    assert_int_equal(difference(5, 2, 30, 10).verdict, QX_TRIVIAL);
}

static void beyond_the_margin_needs_the_whole_interval(void **state)
{
    (void)state;
    assert_false(difference(12, 4, 15, 10).beyond_margin);
    assert_true(difference(20, 4, 15, 10).beyond_margin);
    assert_true(difference(-20, 4, 15, 10).beyond_margin);
    assert_false(difference(5, 2, 30, 10).beyond_margin);
}

static void without_a_margin_nothing_is_equivalent(void **state)
{
    (void)state;
    assert_int_equal(difference(0.001, 3, 15, (double)NAN).verdict, QX_UNSETTLED);
    assert_int_equal(difference(12, 4, 15, (double)NAN).verdict, QX_HIGHER);
    assert_false(difference(200, 4, 15, (double)NAN).beyond_margin);
    assert_int_equal(difference((double)NAN, (double)NAN, 15, 10).verdict,
                     QX_CANNOT_TELL);
    assert_null(qx_verdict_word(QX_CANNOT_TELL)); /* null in JSON */
}

static void transforms_come_back(void **state)
{
    (void)state;
    for (int t = QX_TRANSFORM_NONE; t <= QX_TRANSFORM_ARCSINE; t++) {
        for (double x = 0.05; x < 1.0; x += 0.05) {
            const double z = qx_transform_apply((qx_transform)t, x);
            assert_true(fabs(qx_transform_back((qx_transform)t, z) - x) < 1e-14);
        }
    }
    assert_true(isnan(qx_transform_apply(QX_TRANSFORM_LOG, 0.0)));
    assert_true(isnan(qx_transform_apply(QX_TRANSFORM_SQRT, -1.0)));
    assert_true(isnan(qx_transform_apply(QX_TRANSFORM_ARCSINE, 1.01)));
    assert_true(qx_transform_back(QX_TRANSFORM_SQRT, -0.5) == 0.0);
    assert_true(isnan(qx_transform_back(QX_TRANSFORM_SQRT, (double)NAN)));
}

static void a_margin_never_grows_on_its_way(void **state)
{
    (void)state;
    const double z = sqrt(42.0);
    const double m = qx_transform_margin(QX_TRANSFORM_SQRT, 8.0, z);
    assert_true(fabs(m - (sqrt(50.0) - sqrt(42.0))) < 1e-14); /* the step up is smaller */
    assert_true(fabs(qx_transform_margin(QX_TRANSFORM_LOG, 8.0, log(5.0)) -
                     (log(13.0) - log(5.0))) < 1e-14); /* 5 - 8 is off the scale */
    assert_true(qx_transform_margin(QX_TRANSFORM_NONE, 8.0, 1.0) == 8.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(verdicts_of_the_table),
        cmocka_unit_test(beyond_the_margin_needs_the_whole_interval),
        cmocka_unit_test(without_a_margin_nothing_is_equivalent),
        cmocka_unit_test(transforms_come_back),
        cmocka_unit_test(a_margin_never_grows_on_its_way),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
