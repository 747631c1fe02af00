#include "test.h"

#include "base/text.h"
#include "base/utf8.h"

static bool valid(const char *bytes, size_t length)
{
    size_t at = 0;
    return qx_utf8_valid(bytes, length, &at);
}

static size_t bad_at(const char *bytes, size_t length)
{
    size_t at = SIZE_MAX;
    assert_false(qx_utf8_valid(bytes, length, &at));
    return at;
}

/* Source: RFC 3629, section 7, examples. */
static void the_examples_of_the_standard_are_valid(void **state)
{
    (void)state;
    assert_true(valid("\x41\xE2\x89\xA2\xCE\x91\x2E", 7));
    assert_true(valid("\xED\x95\x9C\xEA\xB5\xAD\xEC\x96\xB4", 9));
    assert_true(valid("\xE6\x97\xA5\xE6\x9C\xAC\xE8\xAA\x9E", 9));
    assert_true(valid("\xEF\xBB\xBF\xF0\xA3\x8E\xB4", 7));
    assert_true(valid("", 0));
}

/* Source: RFC 3629, sections 3, 4 and 10: overlong forms, surrogates, beyond U+10FFFF. */
static void what_the_standard_forbids_is_found_with_its_place(void **state)
{
    (void)state;
    assert_int_equal(bad_at("ab\xC0\x80", 4), 2);
    assert_int_equal(bad_at("\xC1\xBF", 2), 0);
    assert_int_equal(bad_at("\xE0\x9F\xBF", 3), 0);
    assert_int_equal(bad_at("\xED\xA0\x80", 3), 0);
    assert_int_equal(bad_at("\xF0\x8F\xBF\xBF", 4), 0);
    assert_int_equal(bad_at("\xF4\x90\x80\x80", 4), 0);
    assert_int_equal(bad_at("\xF5\x80\x80\x80", 4), 0);
    assert_int_equal(bad_at("a\x80", 2), 1);
    assert_int_equal(bad_at("a\xE2\x89", 3), 1);
    assert_int_equal(bad_at("\xE2\x28\xA1", 3), 0);
    assert_int_equal(bad_at("\xE2\x82\x28", 3), 0);
    assert_int_equal(bad_at("abc\0d", 5), 3);
}

/* The edges of each range of RFC 3629, section 3. */
static void edges_have_their_widths(void **state)
{
    (void)state;
    assert_int_equal(qx_utf8_width("\x7F", 1), 1);
    assert_int_equal(qx_utf8_width("\xC2\x80", 2), 2);
    assert_int_equal(qx_utf8_width("\xDF\xBF", 2), 2);
    assert_int_equal(qx_utf8_width("\xE0\xA0\x80", 3), 3);
    assert_int_equal(qx_utf8_width("\xED\x9F\xBF", 3), 3);
    assert_int_equal(qx_utf8_width("\xEE\x80\x80", 3), 3);
    assert_int_equal(qx_utf8_width("\xEF\xBF\xBF", 3), 3);
    assert_int_equal(qx_utf8_width("\xF0\x90\x80\x80", 4), 4);
    assert_int_equal(qx_utf8_width("\xF4\x8F\xBF\xBF", 4), 4);
    assert_int_equal(qx_utf8_width("a", 0), 0);
    assert_int_equal(qx_utf8_width("\xF4\x8F\xBF\xBF", 3), 0);
}

static void length_counts_code_points(void **state)
{
    (void)state;
    assert_int_equal(qx_utf8_length(""), 0);
    assert_int_equal(qx_utf8_length("Bäume"), 5);
    assert_int_equal(qx_utf8_length("\xF0\xA3\x8E\xB4"), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_examples_of_the_standard_are_valid),
        cmocka_unit_test(what_the_standard_forbids_is_found_with_its_place),
        cmocka_unit_test(edges_have_their_widths),
        cmocka_unit_test(length_counts_code_points),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
