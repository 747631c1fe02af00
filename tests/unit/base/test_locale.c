/* Numbers under a locale whose decimal point is a comma. The build makes that locale; the
 * program fails when it cannot be set, so that nothing is passed by not being tried. */
#include "test.h"

#include <locale.h>

#include "base/decimal.h"

static int use_comma_locale(void **state)
{
    (void)state;
    if (setlocale(LC_ALL, "de_DE.UTF-8") == NULL) {
        print_error("the locale with a decimal comma cannot be set\n");
        return -1;
    }
    return 0;
}

static void the_locale_has_a_comma(void **state)
{
    (void)state;
    char text[16];
    (void)snprintf(text, sizeof text, "%.1f", 1.5);
    assert_string_equal(text, "1,5");
}

static void points_stay_points(void **state)
{
    (void)state;
    char text[QX_NUMBER_ROOM];
    assert_string_equal(qx_number_exact(1234.5, text), "1234.5");
    assert_string_equal(qx_number_exact(1.5e-30, text), "1.5e-30");
    assert_string_equal(qx_number_fixed(1234.5678, 2, text), "1234.57");
    assert_string_equal(qx_number_significant(0.0123456, 3, text), "0.0123");
    double value = 0;
    qx_decimal exact = {0, 0};
    assert_true(qx_decimal_read("12.625", 6, '.', &value, &exact));
    assert_true(value == 12.625);
    assert_false(qx_decimal_read("12,625", 6, '.', &value, &exact));
    assert_true(qx_decimal_read("1.2345678901234567890123e-7", 27, '.', &value, NULL));
    assert_true(value == 1.2345678901234567890123e-7);
    assert_true(qx_decimal_minus((qx_decimal){15, 1}, (qx_decimal){1, 18}) == 1.5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_locale_has_a_comma),
        cmocka_unit_test(points_stay_points),
    };
    return cmocka_run_group_tests(tests, use_comma_locale, NULL);
}
