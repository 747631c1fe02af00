/* The helpers of tests/support must fail where they should. */
#include "test.h"

#include <math.h>

static void digits_are_counted_from_the_first(void **state)
{
    (void)state;
    assert_true(near_digits(3.14159, "3.14159265", 6));
    assert_false(near_digits(3.14159, "3.14159265", 8));
    assert_true(near_digits(-1.0000004e12, "-1e12", 6));
    assert_false(near_digits(-1.00001e12, "-1e12", 6));
    assert_true(near_digits(0, "0", 9));
    assert_false(near_digits(1e-300, "0", 9));
    assert_false(near_digits(NAN, "1", 1));
    assert_false(near_digits(INFINITY, "1", 1));
}

static void print_is_half_a_unit_wide(void **state)
{
    (void)state;
    assert_true(near_printed(2.364, "2.36"));
    assert_true(near_printed(2.355, "2.36"));
    assert_false(near_printed(2.3549, "2.36"));
    assert_false(near_printed(2.3651, "2.36"));
    assert_true(near_printed(1249.6, "1250"));
    assert_false(near_printed(1249.4, "1250"));
    assert_true(near_printed(1.234e-5, "1.23e-5"));
    assert_false(near_printed(1.236e-5, "1.23e-5"));
    assert_false(near_printed(NAN, "0"));
}

static void relative_is_of_the_larger(void **state)
{
    (void)state;
    assert_true(near_relative(1, 1 + 1e-11, 1e-10));
    assert_false(near_relative(1, 1 + 1e-9, 1e-10));
    assert_true(near_relative(0, 0, 1e-10));
    assert_false(near_relative(0, 1e-300, 1e-10));
    assert_true(near_relative(INFINITY, INFINITY, 1e-10));
    assert_false(near_relative(NAN, NAN, 1e-10));
    assert_false(near_relative(1e308, INFINITY, 1e-10));
}

static qx_status three_pieces(qx_ctx *cx, void *given)
{
    size_t *runs = given;
    (*runs)++;
    double *piece = NULL;
    QX_NEW(cx, piece, 1);
    QX_NEW(cx, piece, 2);
    QX_NEW(cx, piece, 3);
    return QX_OK;
}

static void the_walk_fails_each_allocation_once(void **state)
{
    (void)state;
    size_t runs = 0;
    assert_int_equal(fail_each_allocation(three_pieces, &runs), 3);
    assert_int_equal(runs, 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(digits_are_counted_from_the_first),
        cmocka_unit_test(print_is_half_a_unit_wide),
        cmocka_unit_test(relative_is_of_the_larger),
        cmocka_unit_test(the_walk_fails_each_allocation_once),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
