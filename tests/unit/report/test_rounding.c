/* Decimals by the rule of journals: the standard error keeps two significant digits
 * (trade notes on journal tables), what belongs to it stops at the same place. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "report/axis.h"
#include "report/rounding.h"
#include "report/scale.h"

static int setup(void **state)
{
    *state = qx_arena_new();
    return *state == NULL ? -1 : 0;
}

static int teardown(void **state)
{
    qx_arena_free(*state);
    return 0;
}

static void decimals_leave_two_digits(void **state)
{
    (void)state;
    static const struct {
        double se;
        int decimals;
    } cases[] = {{2.34, 1},
                 {23.4, 0},
                 {234, 0},
                 {1234, -2}, /* to hundreds */
                 {2.34e9, -8},
                 {1e30, -12},
                 {0.234, 2},
                 {0.0998, 2}, /* becomes 0.10 */
                 {9.96, 0},   /* becomes 10 */
                 {0.994, 2},
                 {1e-30, 12},
                 {0, 3},
                 {NAN, 3},
                 {INFINITY, 3}};
    for (size_t i = 0; i < QX_COUNT(cases); i++) {
        assert_int_equal(qx_decimals_for(cases[i].se), cases[i].decimals);
    }
}

static void numbers_read_well(void **state)
{
    qx_arena *a = *state;
    assert_string_equal(qx_rounded(a, -2.345, 1),
                        "\xe2\x88\x92"
                        "2.3");
    assert_string_equal(qx_rounded(a, -0.001, 1), "0.0");
    assert_string_equal(qx_rounded(a, NAN, 1), "\xe2\x80\x93");
    assert_string_equal(qx_rounded(a, 1e300, 0), qx_short_number(a, 1e300, 6));
    assert_string_equal(qx_rounded(a, 123456.0, -2), "123500");
    assert_string_equal(qx_rounded(a, -49.0, -2), "0");
    assert_string_equal(qx_short_number(a, 0.00000048, 2), "0.00000048");
    assert_string_equal(qx_range(a, 2.14, 8.26, 1), "2.1 to 8.3");
    assert_string_equal(qx_range(a, 2.14, NAN, 1), "at least 2.1");
    assert_string_equal(qx_range(a, NAN, NAN, 1), "\xe2\x80\x93");
    assert_string_equal(qx_plain_number(a, 0.1), "0.1");
    assert_string_equal(qx_p_value(a, 0.0004), "< 0.001");
    assert_string_equal(qx_p_value(a, 0.0494), "0.049");
    assert_string_equal(qx_p_value(a, NAN), "\xe2\x80\x93");
    assert_string_equal(qx_df_value(a, 10.0000001), "10");
    assert_string_equal(qx_df_value(a, 8.44), "8.4");
    assert_string_equal(qx_df_value(a, INFINITY), "\xe2\x88\x9e");
    assert_string_equal(qx_per_cent(a, 0.95), "95\xc2\xa0%");
    assert_string_equal(qx_per_cent(a, 0.999), "99.9\xc2\xa0%");
}

static void scale_stays_inside(void **state)
{
    (void)state;
    const qx_scale s = {-1e308, 1e308, 0, 100};
    assert_true(fabs(qx_scale_at(&s, 0) - 50) < 1e-9);
    assert_true(qx_scale_at(&s, INFINITY) == 100);
    assert_true(qx_scale_at(&s, -INFINITY) == 0);
    assert_true(isnan(qx_scale_at(&s, NAN)));
}

static void hold_axis(qx_arena *a, double low, double high, bool across)
{
    qx_axis axis;
    assert_true(qx_axis_make(a, (qx_extent){low, high}, 240, across, &axis));
    assert_true(axis.count >= 1 && axis.count <= QX_TICKS_MOST);
    assert_true(axis.low < axis.high);
    if (low <= high) {
        assert_true(axis.low <= fmax(low, -8e307) && axis.high >= fmin(high, 8e307));
    }
    for (size_t i = 0; i < axis.count; i++) {
        assert_true(isfinite(axis.tick[i]));
        assert_true(axis.label[i][0] != '\0');
        assert_true(i == 0 || axis.tick[i] > axis.tick[i - 1]);
        assert_true(axis.tick[i] >= axis.low && axis.tick[i] <= axis.high);
    }
}

static void axes_hold_any_data(void **state)
{
    qx_arena *a = *state;
    for (int across = 0; across < 2; across++) {
        hold_axis(a, 0, 1, across);
        hold_axis(a, 1, 0, across); /* empty */
        hold_axis(a, 5, 5, across);
        hold_axis(a, 0, 0, across);
        hold_axis(a, -13.2, 80.4, across);
        hold_axis(a, 1000000000000.2, 1000000000000.6, across);
        hold_axis(a, 1e-300, 3e-300, across);
        hold_axis(a, -1.7e308, 1.7e308, across);
        hold_axis(a, 1e15, 1e15 + 0.25, across);
    }
}

static void ticks_are_round(void **state)
{
    qx_axis axis;
    assert_true(qx_axis_make(*state, (qx_extent){3.1, 41.7}, 240, true, &axis));
    assert_true(axis.tick[0] == 0.0);
    assert_string_equal(axis.label[1], "10");
    assert_string_equal(axis.label[axis.count - 1], "50");
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(decimals_leave_two_digits),
                                       cmocka_unit_test(numbers_read_well),
                                       cmocka_unit_test(scale_stays_inside),
                                       cmocka_unit_test(axes_hold_any_data),
                                       cmocka_unit_test(ticks_are_round)};
    return cmocka_run_group_tests(tests, setup, teardown);
}
