/* Doubles are compared with the C library's strtod, which rounds correctly (IEEE 754); the
 * hard cases are those of Clinger 1990 and of the largest and smallest doubles. */
#include "test.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>

#include "base/decimal.h"

static bool read_point(const char *text, char point, double *value, qx_decimal *exact)
{
    return qx_decimal_read(text, strlen(text), point, value, exact);
}

static void doubles_are_those_of_the_library(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "0",
        "1",
        "-1",
        "12.50",
        ".5",
        "+3",
        "1e5",
        "1E-5",
        "1.5e+3",
        "0.1",
        "0.3",
        "123456789012345678",
        "1234567890123456789012345678901234567890",
        "9007199254740993",
        "9007199254740992.9999999999999999999",
        "5e-324",
        "2.4703282292062328e-324",
        "2.2250738585072011e-308",
        "2.2250738585072014e-308",
        "1.7976931348623157e308",
        "1.7976931348623158e308",
        "1000000000000.4",
        "8.41e21",
        "9007199254740993e22",
        "1e23",
        "1e22",
        "123e-22",
        "1e-23",
        "0.000000000000000000000000000001",
        "7.2057594037927933e+16",
    };
    for (size_t i = 0; i < QX_COUNT(texts); i++) {
        double value = NAN;
        assert_true(read_point(texts[i], '.', &value, NULL));
        const double want = strtod(texts[i], NULL);
        assert_true(value == want);
    }
}

static uint64_t next(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return *seed ^ (*seed >> 31);
}

static void random_doubles_survive_writing_and_reading(void **state)
{
    (void)state;
    uint64_t seed = 20261125;
    size_t tried = 0;
    while (tried < 200000) {
        const uint64_t bits = next(&seed);
        double x = 0;
        memcpy(&x, &bits, sizeof x);
        if (!isfinite(x)) {
            continue;
        }
        tried++;
        char text[QX_NUMBER_ROOM];
        double back = 0;
        (void)qx_number_exact(x, text);
        assert_true(read_point(text, '.', &back, NULL));
        assert_true(back == x);
        (void)snprintf(text, sizeof text, "%.*e", (int)(bits % 25), x);
        if (isfinite(strtod(text, NULL))) {
            assert_true(read_point(text, '.', &back, NULL));
            assert_true(back == strtod(text, NULL));
        }
    }
}

static void what_is_not_a_number_is_refused(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "",       "+",
        "-",      ".",
        "5.",     "-.",
        "1e",     "1e+",
        "e5",     "1.2.3",
        "1,5",    "0x10",
        "inf",    "nan",
        "NA",     " 1",
        "1 ",     "1 000",
        "--1",    "+-1",
        "1e5.0",  "1e999",
        "-1e999", "1e99999999999999999999",
        "1e-999", "1e-99999999999999999999",
        "٣",      "1_000",
    };
    for (size_t i = 0; i < QX_COUNT(texts); i++) {
        double value = 7;
        assert_false(read_point(texts[i], '.', &value, NULL));
        assert_true(value == 7);
    }
    double value = 7;
    assert_false(qx_decimal_read("1\0", 2, '.', &value, NULL));
}

static void a_comma_can_be_the_point(void **state)
{
    (void)state;
    double value = 0;
    assert_true(read_point("12,5", ',', &value, NULL));
    assert_true(value == 12.5);
    assert_false(read_point("12.5", ',', &value, NULL));
}

static void only_the_given_bytes_are_read(void **state)
{
    (void)state;
    double value = 0;
    assert_true(qx_decimal_read("123456", 3, '.', &value, NULL));
    assert_true(value == 123);
}

static void decimals_are_kept_as_typed(void **state)
{
    qx_arena *arena = qx_ctx_scratch(*state);
    static const struct {
        const char *text;
        long long coefficient;
        int scale;
        const char *again;
    } rows[] = {
        {"12.50", 1250, 2, "12.50"},
        {"-0.05", -5, 2, "-0.05"},
        {".5", 5, 1, "0.5"},
        {"0.000", 0, 3, "0.000"},
        {"-0", 0, 0, "0"},
        {"007", 7, 0, "7"},
        {"1e-5", 1, 5, "0.00001"},
        {"1.5e3", 15, -2, "1500"},
        {"1e18", 1, -18, "1000000000000000000"},
        {"0e999", 0, 0, "0"},
        {"1000000000000.4", 10000000000004, 1, "1000000000000.4"},
        {"123456789012345678", 123456789012345678, 0, "123456789012345678"},
        {"0.123456789012345678", 123456789012345678, 18, "0.123456789012345678"},
        {"1.0000000000000000000000", 100000000000000000, 17, "1.00000000000000000"},
    };
    for (size_t i = 0; i < QX_COUNT(rows); i++) {
        double value = NAN;
        qx_decimal exact = {1, 1};
        assert_true(read_point(rows[i].text, '.', &value, &exact));
        assert_int_equal(exact.coefficient, rows[i].coefficient);
        assert_int_equal(exact.scale, rows[i].scale);
        assert_string_equal(qx_decimal_text(arena, exact), rows[i].again);
        assert_true(qx_decimal_value(exact) == value);
    }
    qx_arena_fail_after(1);
    assert_null(qx_decimal_text(arena, (qx_decimal){1, 0}));
}

static void too_many_digits_are_told_as_inexact(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "1234567890123456789", "1e-19", "1e19", "0.1234567890123456789"};
    for (size_t i = 0; i < QX_COUNT(texts); i++) {
        double value = NAN;
        qx_decimal exact = {0, 0};
        assert_true(read_point(texts[i], '.', &value, &exact));
        assert_int_equal(exact.scale, QX_DECIMAL_INEXACT);
        assert_true(value == strtod(texts[i], NULL));
    }
}

/* 1 + 2^-53 lies half way between 1 and the next double and goes to the even one; with
 * anything but zeros far behind its digits it lies above. */
static void digits_far_behind_still_decide(void **state)
{
    (void)state;
    char text[3000];
    const char *half = "1.00000000000000011102230246251565404236316680908203125";
    double value = 0;
    assert_true(read_point(half, '.', &value, NULL));
    assert_true(value == 1);
    memset(text, '0', sizeof text);
    memcpy(text, half, strlen(half));
    assert_true(qx_decimal_read(text, 2500, '.', &value, NULL));
    assert_true(value == 1);
    text[2499] = '1';
    assert_true(qx_decimal_read(text, 2500, '.', &value, NULL));
    assert_true(value == 1 + DBL_EPSILON);
    /* Many digits before the point. */
    memset(text, '1', 300);
    assert_true(qx_decimal_read(text, 300, '.', &value, NULL));
    text[300] = '\0';
    assert_true(value == strtod(text, NULL));
    memset(text, '0', 2000);
    text[0] = '1';
    memcpy(text + 1900, "e-1890", 7);
    assert_true(read_point(text, '.', &value, NULL));
    assert_true(value == 1e9);
}

static void differences_are_rounded_once(void **state)
{
    (void)state;
    /* 1000000000000.4 - 1000000000000.2: doubles would lose all but three digits. */
    assert_true(qx_decimal_minus((qx_decimal){10000000000004, 1},
                                 (qx_decimal){10000000000002, 1}) == 0.2);
    assert_true(qx_decimal_minus((qx_decimal){10000000000004, 1},
                                 (qx_decimal){1000000000000, 0}) == 0.4);
    assert_true(qx_decimal_minus((qx_decimal){-5, 1}, (qx_decimal){25, 2}) == -0.75);
    assert_true(qx_decimal_minus((qx_decimal){5, 1}, (qx_decimal){-25, 2}) == 0.75);
    assert_true(qx_decimal_minus((qx_decimal){25, 2}, (qx_decimal){5, 1}) == -0.25);
    assert_true(qx_decimal_minus((qx_decimal){-25, 2}, (qx_decimal){-5, 1}) == 0.25);
    assert_true(qx_decimal_minus((qx_decimal){50, 2}, (qx_decimal){5, 1}) == 0);
    assert_true(qx_decimal_minus((qx_decimal){0, 0}, (qx_decimal){5, 1}) == -0.5);
    assert_true(qx_decimal_minus((qx_decimal){999999999999999999, 0},
                                 (qx_decimal){-999999999999999999, 0}) == 2e18);
    /* 10^36 - 10^-18 rounds to 10^36; widest scales on either side. */
    assert_true(qx_decimal_minus((qx_decimal){999999999999999999, -18},
                                 (qx_decimal){1, 18}) == 999999999999999999e18);
    assert_true(
        qx_decimal_minus((qx_decimal){1, 18}, (qx_decimal){999999999999999999, -18}) ==
        -999999999999999999e18);
    assert_true(qx_decimal_minus((qx_decimal){999999999999999999, 18},
                                 (qx_decimal){-9, -18}) == 9e18);
}

static void written_exactly_they_read_back_shortest(void **state)
{
    (void)state;
    char text[QX_NUMBER_ROOM];
    assert_string_equal(qx_number_exact(0.1, text), "0.1");
    assert_string_equal(qx_number_exact(-0.0, text), "0");
    assert_string_equal(qx_number_exact(0.1 + 0.2, text), "0.30000000000000004");
    assert_string_equal(qx_number_exact(1e22, text), "1e22");
    assert_string_equal(qx_number_exact(-1.25e-9, text), "-1.25e-9");
    assert_string_equal(qx_number_exact(0.00012, text), "0.00012");
    assert_string_equal(qx_number_exact(1234567890123456, text), "1234567890123456");
    assert_string_equal(qx_number_exact(NAN, text), "null");
    assert_string_equal(qx_number_exact(INFINITY, text), "null");
}

static void fixed_decimals_round_half_away_from_zero(void **state)
{
    (void)state;
    char text[QX_NUMBER_ROOM];
    assert_string_equal(qx_number_fixed(2.675, 2, text), "2.68");
    assert_string_equal(qx_number_fixed(-2.675, 2, text), "-2.68");
    assert_string_equal(qx_number_fixed(0.125, 2, text), "0.13");
    assert_string_equal(qx_number_fixed(2.5, 0, text), "3");
    assert_string_equal(qx_number_fixed(0.5, 0, text), "1");
    assert_string_equal(qx_number_fixed(0.49, 0, text), "0");
    assert_string_equal(qx_number_fixed(9.995, 2, text), "10.00");
    assert_string_equal(qx_number_fixed(999.9999, 3, text), "1000.000");
    assert_string_equal(qx_number_fixed(-0.004, 2, text), "0.00");
    assert_string_equal(qx_number_fixed(0.005, 2, text), "0.01");
    assert_string_equal(qx_number_fixed(0, 1, text), "0.0");
    assert_string_equal(qx_number_fixed(12.3, -4, text), "12");
    assert_string_equal(qx_number_fixed(1e-300, 3, text), "0.000");
    assert_string_equal(qx_number_fixed(NAN, 2, text), "–");
    assert_string_equal(qx_number_fixed(INFINITY, 2, text), "∞");
    assert_string_equal(qx_number_fixed(-INFINITY, 2, text), "-∞");
    assert_true(strlen(qx_number_fixed(-DBL_MAX, 1000, text)) < QX_NUMBER_ROOM);
}

static void spoken_numbers_have_no_letters(void **state)
{
    (void)state;
    char text[QX_NUMBER_ROOM];
    assert_string_equal(qx_number_spoken(-2.5, 3, text),
                        "\xe2\x88\x92"
                        "2.50");
    assert_string_equal(qx_number_spoken(0.0000123, 2, text), "0.000012");
    assert_string_equal(qx_number_spoken(0.1, 0, text), "0.1");
    assert_string_equal(qx_number_spoken(-0.0, 3, text), "0");
    assert_string_equal(qx_number_spoken(0.0, 0, text), "0");
    assert_string_equal(qx_number_spoken(3.46e-12, 2, text),
                        "3.5 \xc3\x97 10\xe2\x81\xbb\xc2\xb9\xc2\xb2");
    assert_string_equal(qx_number_spoken(-6.02e23, 1, text),
                        "\xe2\x88\x92"
                        "6 \xc3\x97 10\xc2\xb2\xc2\xb3");
    assert_string_equal(qx_number_spoken((double)NAN, 3, text), "\xe2\x80\x93");
}

static void significant_digits_are_counted(void **state)
{
    (void)state;
    char text[QX_NUMBER_ROOM];
    assert_string_equal(qx_number_significant(123.456, 4, text), "123.5");
    assert_string_equal(qx_number_significant(123456, 3, text), "123000");
    assert_string_equal(qx_number_significant(0.00012345, 3, text), "0.000123");
    assert_string_equal(qx_number_significant(0.000099999, 3, text), "0.000100");
    assert_string_equal(qx_number_significant(0.000012345, 3, text), "1.23e-5");
    assert_string_equal(qx_number_significant(9.995, 3, text), "10.0");
    assert_string_equal(qx_number_significant(1e15, 3, text), "1.00e15");
    assert_string_equal(qx_number_significant(-2.5, 1, text), "-3");
    assert_string_equal(qx_number_significant(-2e-7, 1, text), "-2e-7");
    assert_string_equal(qx_number_significant(0, 3, text), "0");
    assert_string_equal(qx_number_significant(NAN, 3, text), "–");
    assert_string_equal(qx_number_significant(1, 0, text), "1");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(doubles_are_those_of_the_library),
        cmocka_unit_test(random_doubles_survive_writing_and_reading),
        cmocka_unit_test(what_is_not_a_number_is_refused),
        cmocka_unit_test(a_comma_can_be_the_point),
        cmocka_unit_test(only_the_given_bytes_are_read),
        CTX_TEST(decimals_are_kept_as_typed),
        cmocka_unit_test(too_many_digits_are_told_as_inexact),
        cmocka_unit_test(digits_far_behind_still_decide),
        cmocka_unit_test(differences_are_rounded_once),
        cmocka_unit_test(written_exactly_they_read_back_shortest),
        cmocka_unit_test(fixed_decimals_round_half_away_from_zero),
        cmocka_unit_test(spoken_numbers_have_no_letters),
        cmocka_unit_test(significant_digits_are_counted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
