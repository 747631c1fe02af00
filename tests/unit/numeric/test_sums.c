/* Sums that lose nothing: sums whose answers are known exactly. */
#include "test.h"

#include "numeric/sums.h"

static qx_decimal decimal(const char *text)
{
    qx_decimal exact;
    double value = 0.0;
    assert_true(qx_decimal_read(text, strlen(text), '.', &value, &exact));
    return exact;
}

/* The plain sum of these is 0. */
static void small_terms_survive_large_ones(void **state)
{
    const double x[] = {1.0, 1e100, 1.0, -1e100};
    (void)state;
    assert_true(qx_sum(4, x) == 2.0);
    assert_true(qx_sum(0, x) == 0.0);
    assert_true(qx_mean(4, x) == 0.5);
    assert_true(isnan(qx_mean(0, x)));
}

static void infinities_stay_infinite(void **state)
{
    const double x[] = {1.0, (double)INFINITY, 2.0};
    (void)state;
    assert_true(isinf(qx_sum(3, x)) && qx_sum(3, x) > 0.0);
}

/* 1, 2, 3, 4 about any whole mean: 5 exactly, as long as the data are whole doubles. */
static void squares_do_not_see_the_mean(void **state)
{
    (void)state;
    double shift = 0.0;
    for (size_t k = 0; k < 16; k++) {
        const double x[] = {shift + 1.0, shift + 2.0, shift + 3.0, shift + 4.0};
        if (x[3] - x[0] == 3.0 && x[1] - x[0] == 1.0) {
            assert_near(qx_sum_of_squares(4, x), 5.0, 1e-15);
        }
        shift = shift * 10.0 + 1.0;
    }
    const double one[] = {17.0};
    assert_true(qx_sum_of_squares(1, one) == 0.0);
    assert_true(qx_sum_of_squares(0, one) == 0.0);
}

/* Source: NIST StRD, SmLs07 and SmLs09 hold readings such as 1000000000000.4 and .2 (their
 * range is from memory): the difference of the doubles is not 0.2. */
static void decimals_are_shifted_exactly(void **state)
{
    const char *text[] = {"1000000000000.4", "1000000000000.2", "1000000000000.6"};
    qx_decimal exact[3];
    double value[3];
    double out[3];
    double shift = 0.0;
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        exact[i] = decimal(text[i]);
        value[i] = qx_decimal_value(exact[i]);
    }
    assert_true(value[1] - value[0] != -0.2);
    qx_shift_exactly(3, exact, value, out, &shift);
    assert_true(shift == 1000000000000.4);
    assert_true(out[0] == 0.0 && out[1] == -0.2 && out[2] == 0.2);
}

static void one_inexact_value_makes_all_of_them_doubles(void **state)
{
    qx_decimal exact[2] = {decimal("0.3"), {0, QX_DECIMAL_INEXACT}};
    const double value[2] = {0.3, 0.1};
    double out[2];
    double shift = 0.0;
    (void)state;
    qx_shift_exactly(2, exact, value, out, &shift);
    assert_true(shift == 0.3 && out[0] == 0.0 && out[1] == 0.1 - 0.3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(small_terms_survive_large_ones),
        cmocka_unit_test(infinities_stay_infinite),
        cmocka_unit_test(squares_do_not_see_the_mean),
        cmocka_unit_test(decimals_are_shifted_exactly),
        cmocka_unit_test(one_inexact_value_makes_all_of_them_doubles),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
