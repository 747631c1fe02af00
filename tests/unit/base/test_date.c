#include "test.h"

#include <stdlib.h>

#include "base/date.h"

static void only_days_that_exist_are_read(void **state)
{
    (void)state;
    qx_date d = {0};
    assert_true(qx_date_read("2026-11-25", &d));
    assert_int_equal(d.year, 2026);
    assert_int_equal(d.month, 11);
    assert_int_equal(d.day, 25);
    static const char *const wrong[] = {
        "2026-13-01",
        "2026-00-10",
        "2026-02-29",
        "1900-02-29",
        "2026-04-31",
        "2026-01-00",
        "2026-1-05",
        "26-01-05",
        "2026/01/05",
        "2026-01-05 ",
        " 2026-01-05",
        "",
        "2026-0a-05",
        "20260105",
        "2026-01-32",
        "-026-01-05",
    };
    for (size_t i = 0; i < QX_COUNT(wrong); i++) {
        assert_false(qx_date_read(wrong[i], &d));
    }
    assert_int_equal(d.year, 2026);
    assert_true(qx_date_read("2000-02-29", &d));
    assert_true(qx_date_read("2024-02-29", &d));
}

/* Source: the definition of seconds since the epoch, POSIX.1-2008, section 4.15: days are
 * whole years of 365 and the leap days between. */
static int64_t days_by_posix(int year, int day_of_year)
{
    const int64_t y = year - 1900;
    return day_of_year + (y - 70) * 365 + (y - 69) / 4 - (y - 1) / 100 + (y + 299) / 400;
}

static void days_agree_with_the_definition_and_go_back(void **state)
{
    (void)state;
    for (int year = 1970; year < 2500; year++) {
        const qx_date first = {year, 1, 1};
        assert_int_equal(qx_date_days(first), days_by_posix(year, 0));
    }
    qx_date before = qx_date_from_days(-800001);
    for (int64_t day = -800000; day < 3000000; day += 1) {
        const qx_date date = qx_date_from_days(day);
        assert_int_equal(qx_date_days(date), day);
        const bool next_day = date.year == before.year && date.month == before.month &&
                              date.day == before.day + 1;
        assert_true(next_day || date.day == 1);
        before = date;
    }
}

static void dates_are_written_as_they_are_read(void **state)
{
    (void)state;
    char text[11];
    qx_date_write((qx_date){2026, 1, 5}, text);
    assert_string_equal(text, "2026-01-05");
    qx_date_write((qx_date){33, 12, 31}, text);
    assert_string_equal(text, "0033-12-31");
}

static void instants_are_written_in_utc(void **state)
{
    (void)state;
    char text[21];
    qx_instant_write(0, text);
    assert_string_equal(text, "1970-01-01T00:00:00Z");
    qx_instant_write(-1, text);
    assert_string_equal(text, "1969-12-31T23:59:59Z");
    qx_instant_write(951782400, text); /* 11016 days: 29 February 2000 */
    assert_string_equal(text, "2000-02-29T00:00:00Z");
    qx_instant_write(INT64_MAX, text);
    assert_string_equal(text, "9999-12-31T23:59:59Z");
    qx_instant_write(INT64_MIN, text);
    assert_string_equal(text, "0000-01-01T00:00:00Z");
}

static void the_clock_can_be_fixed(void **state)
{
    (void)state;
    assert_int_equal(setenv("SOURCE_DATE_EPOCH", "1234567890", 1), 0);
    assert_int_equal(qx_now(), 1234567890);
    static const char *const ignored[] = {"", "12x", "-5", "99999999999999999999"};
    for (size_t i = 0; i < QX_COUNT(ignored); i++) {
        assert_int_equal(setenv("SOURCE_DATE_EPOCH", ignored[i], 1), 0);
        assert_true(qx_now() > 1600000000);
    }
    assert_int_equal(unsetenv("SOURCE_DATE_EPOCH"), 0);
    assert_true(qx_now() > 1600000000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(only_days_that_exist_are_read),
        cmocka_unit_test(days_agree_with_the_definition_and_go_back),
        cmocka_unit_test(dates_are_written_as_they_are_read),
        cmocka_unit_test(instants_are_written_in_utc),
        cmocka_unit_test(the_clock_can_be_fixed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
