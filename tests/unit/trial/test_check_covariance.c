/* Dates of repeated measurements and positions in the field: every kind of problem, by line
 * and column. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "trial/dates.h"
#include "trial_support.h"

static const char girths[] = "quincunx: 1\n"
                             "units:\n"
                             "  tree: {count: 4, position: {row: row, place: place}}\n"
                             "treatments:\n"
                             "  oil: {levels: [no, full], on: tree}\n"
                             "measure:\n"
                             "  girth: {kind: continuous, on: tree, dates: day}\n"
                             "analysis:\n"
                             "  field_trend: auto\n";

static void assert_told(qx_ctx *cx, const char *data, const char *expected)
{
    qx_arena *arena = qx_arena_new();
    qx_protocol *p = protocol_of(cx, arena, girths);
    qx_problems *problems = qx_problems_new(arena);
    qx_table *table = NULL;
    const qx_status status =
        qx_data_parse(cx, p, "d.csv", data, strlen(data), false, problems, &table, NULL);
    assert_string_equal(told(arena, problems), expected);
    assert_int_equal(status, expected[0] == '\0' ? QX_OK : QX_E_INPUT);
    qx_ctx_clear(cx);
    qx_table_free(table);
    qx_protocol_free(p);
    qx_arena_free(arena);
}

static void a_tree_may_have_a_row_for_each_date(void **state)
{
    assert_told(*state,
                "tree,oil,row,place,day,girth\n"
                "1,no,1,1,2025-05-12,10\n"
                "1,no,1,1,2025-06-12,11\n"
                "2,full,1,2,2025-05-12,12\n"
                "2,full,1,2.0,2025-06-12,13\n",
                "");
}

static void dates_are_dates_of_one_kind(void **state)
{
    assert_told(
        *state,
        "tree,oil,row,place,day,girth\n"
        "1,no,1,1,2025-05-12,10\n"
        "1,no,1,1,,11\n"
        "2,full,1,2,2025-02-30,12\n"
        "2,full,1,2,12.6.2025,13\n"
        "3,full,1,3,2025-06-12,13\n"
        "3,full,1,3,14,13\n"
        "3,full,1,3,soon,\n",
        "3:10: day is missing, but girth has a value; expected the date on which it "
        "was measured\n"
        "4:12: day \"2025-02-30\" is not a date; expected a day that is in the "
        "calendar\n"
        "5:12: day \"12.6.2025\" is not a date; expected 2025-06-12: year, month, "
        "day\n"
        "7:12: day \"14\" is not of the same kind as the other dates; expected a "
        "date like the others, such as 2025-05-12\n");
}

static void one_row_for_each_tree_and_date(void **state)
{
    assert_told(
        *state,
        "tree,oil,row,place,day,girth\n"
        "1,no,1,1,14,10\n"
        "1,no,1,1,28,11\n"
        "1,no,1,1,14,12\n",
        "4:1: tree \"1\" has a value of girth already on line 2; expected one row "
        "for each thing and date\n");
}

static void positions_are_whole_and_known(void **state)
{
    assert_told(
        *state,
        "tree,oil,row,place,day,girth\n"
        "1,no,,1,14,10\n"
        "2,full,1,2.5,14,11\n"
        "3,no,A,3,14,12\n",
        "2:6: row of tree is missing; expected where it stands in the field, for a "
        "field trend is asked for\n"
        "3:10: place \"2.5\" is not a position; expected a whole number: 1 for the "
        "first row or place, and so on\n"
        "4:6: row \"A\" is not a position; expected a whole number: 1 for the first "
        "row or place, and so on\n");
}

static void one_tree_in_one_place(void **state)
{
    assert_told(
        *state,
        "tree,oil,row,place,day,girth\n"
        "1,no,1,1,14,10\n"
        "2,full,1,1,14,11\n"
        "1,no,1,3,28,12\n",
        "3:10: another tree stands at row 1, place 1 on line 2; expected one unit in "
        "one place\n"
        "4:6: this tree stood in another place on line 2; expected one place for one "
        "unit\n");
}

static void columns_of_dates_and_positions_are_needed(void **state)
{
    assert_told(*state,
                "tree,oil,girth\n"
                "1,no,10\n",
                "1:1: there is no column \"day\"; expected it in the header\n"
                "1:1: there is no column \"row\"; expected it in the header\n"
                "1:1: there is no column \"place\"; expected it in the header\n");
}

/* Order and distances; days since 1970 of the two dates: calendar, counted by hand (20,089
 * days from 1970-01-01 to 2025-01-01: 55 years and 14 leap days). */
static void dates_are_put_in_order(void **state)
{
    double day;
    bool calendar;
    (void)state;
    assert_true(qx_day_read("2025-01-01", ',', &day, &calendar) && calendar);
    assert_true(day == 55.0 * 365.0 + 14.0);
    assert_true(qx_day_read("14,5", ';', &day, &calendar) && !calendar);
    assert_true(day == 14.5);
    assert_false(qx_day_read("14,5", ',', &day, &calendar));
    assert_false(qx_day_read("", ',', &day, &calendar));
    assert_false(qx_day_read("2025-13-01", ',', &day, &calendar));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            a_tree_may_have_a_row_for_each_date, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            dates_are_dates_of_one_kind, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            one_row_for_each_tree_and_date, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            positions_are_whole_and_known, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            one_tree_in_one_place, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            columns_of_dates_and_positions_are_needed, support_ctx_new, support_ctx_free),
        cmocka_unit_test(dates_are_put_in_order),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
