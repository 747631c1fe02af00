/* Values on several dates, and places in the field: kept, corrected and given back. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "support.h"
#include "trial.h"

static const char protocol[] =
    "quincunx: 1\n"
    "title: Trees seen again\n"
    "units:\n"
    "  block: {count: 2}\n"
    "  tree: {within: block, count: 2, position: {row: line, place: spot}}\n"
    "treatments:\n"
    "  pinch: {levels: [none, early], on: tree}\n"
    "measure:\n"
    "  girth: {kind: continuous, on: tree, unit: cm, dates: day}\n"
    "  height: {kind: continuous, on: tree, unit: m}\n";

static int begin(void **state)
{
    return trial_new_from(state, protocol);
}

static const char first[] = "block,tree,line,spot,day,girth,height\n"
                            "1,1,1,1,2025-05-12,10.5,\n"
                            "1,1,1,1,2025-06-01,11.0,3.5\n"
                            "1,2,1,2,2025-05-12,9.5,\n"
                            "1,2,1,2,2025-06-01,,3.0\n";

static const char *label(const qx_table *table, const char *column, size_t row)
{
    const qx_column *c = qx_table_find(table, column);
    assert_non_null(c);
    assert_int_equal(c->kind, QX_COLUMN_LABEL);
    return c->code[row] == QX_MISSING_CODE ? "" : c->level[c->code[row]];
}

static double number(const qx_table *table, const char *column, size_t row)
{
    const qx_column *c = qx_table_find(table, column);
    assert_non_null(c);
    return c->value[row];
}

static void record(trial *t, const char *name, const char *text, qx_receipt *r)
{
    const qx_status status = trial_record(t, name, text, false, r);
    assert_string_equal(trial_last_problem, "");
    assert_ok(t->cx, status);
}

static void refused(trial *t, const char *text, const char *problem)
{
    qx_receipt r = {0};
    const long long before = trial_ask(t, "SELECT count(*) FROM observation");
    assert_int_equal(trial_record(t, "bad.csv", text, false, &r), QX_E_INPUT);
    assert_string_equal(trial_last_problem, problem);
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM observation"), before);
    qx_ctx_clear(t->cx);
}

static void each_date_is_a_row(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    record(t, "a.csv", first, &r);
    assert_int_equal(r.stored, 3 + 2 + 4); /* girths, heights, positions */
    assert_int_equal(r.blank, 3);          /* a girth; heights that a later row brought */
    assert_int_equal(r.correction_count, 0);
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 4);
    assert_string_equal(label(table, "day", 0), "2025-05-12");
    assert_string_equal(label(table, "day", 1), "2025-06-01");
    assert_string_equal(label(table, "tree", 3), "2");
    assert_true(number(table, "girth", 0) == 10.5);
    assert_true(number(table, "girth", 1) == 11.0);
    assert_true(isnan(number(table, "girth", 3)));
    assert_string_equal(label(table, "day", 3), "2025-06-01"); /* looked at, no value */
    /* what has no dates stands in the first row of its tree, once */
    assert_true(number(table, "height", 0) == 3.5);
    assert_true(isnan(number(table, "height", 1)));
    assert_true(number(table, "height", 2) == 3.0);
    for (size_t row = 0; row < 4; row++) {
        assert_string_equal(label(table, "line", row), "1");
        assert_string_equal(label(table, "spot", row), row < 2 ? "1" : "2");
    }
    qx_table_free(table);
    record(t, "a.csv", first, &r);
    assert_int_equal(r.stored + r.correction_count + r.blank, 0);
    assert_int_equal(r.repeated, 9); /* as many as were stored */
}

static void a_correction_is_of_one_date(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    record(t, "a.csv", first, &r);
    record(
        t, "b.csv", "block,tree,day,girth\n1,1,2025-06-01,12\n1,1,2025-07-01,13\n", &r);
    assert_int_equal(r.stored, 1);
    assert_int_equal(r.correction_count, 1);
    assert_string_equal(r.correction[0].date, "2025-06-01");
    assert_string_equal(r.correction[0].before, "11.0");
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 5);
    assert_true(number(table, "girth", 0) == 10.5);
    assert_true(number(table, "girth", 1) == 12);
    assert_true(number(table, "girth", 4) == 13);
    qx_table_free(table);
    assert_int_equal(trial_ask(t,
                               "SELECT count(*) FROM observation WHERE quantity = 'girth'"
                               " AND date = '2025-06-01' AND thing = 1"),
                     2);
}

static void a_day_written_otherwise_is_the_same_day(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    record(t, "a.csv", "block;tree;day;girth\n1;1;8,50;10\n1;1;20;11\n", &r);
    record(t, "b.csv", "block,tree,day,girth\n1,1,8.5,10\n1,1,20.0,12\n", &r);
    assert_int_equal(r.stored, 0);
    assert_int_equal(r.repeated, 1);
    assert_int_equal(r.correction_count, 1);
    assert_string_equal(r.correction[0].date, "20");
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 2);
    assert_string_equal(label(table, "day", 0), "8.5");
    qx_table_free(table);
}

static void what_cannot_be_dated_is_refused(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    refused(t,
            "block,tree,girth\n1,1,10\n",
            "2: the row does not tell when girth was measured; expected a date in a "
            "column \"day\"");
    record(t, "a.csv", first, &r);
    refused(t,
            "block,tree,day,girth\n1,1,40,10\n",
            "2: day \"40\" is not of the same kind as the dates recorded already; "
            "expected a date such as 2025-05-12");
    /* heights have no dates */
    record(t, "c.csv", "block,tree,height\n2,1,4\n", &r);
    assert_int_equal(r.stored, 1);
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 5);
    assert_string_equal(label(table, "day", 4), "");
    assert_true(number(table, "height", 4) == 4);
    assert_string_equal(label(table, "line", 4), "");
    qx_table_free(table);
}

static void a_position_has_revisions(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    record(t, "a.csv", first, &r);
    record(t, "b.csv", "block,tree,line,spot\n1,2,1.0,7\n", &r);
    assert_int_equal(r.correction_count, 1);
    assert_string_equal(r.correction[0].quantity, "spot");
    assert_string_equal(r.correction[0].thing, "block 1, tree 2");
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 4);
    assert_string_equal(label(table, "spot", 2), "7");
    assert_string_equal(label(table, "spot", 3), "7");
    assert_string_equal(label(table, "spot", 0), "1");
    qx_table_free(table);
    refused(t,
            "block,tree,line,spot\n2,1,1,1\n2,1,2,1\n",
            "3: line of block 2, tree 1 is 2 here, but another row of this file says 1; "
            "expected one place for one unit");
    refused(t,
            "block,tree,line,spot\n1,1,A,1\n",
            "2: line \"A\" is not a position; expected a whole number: 1 for the first "
            "row or place, and so on");
}

/* The layout of the fixture with a list of trees: things 2 and 3 are the trees of block 1. */
static void the_list_of_trees_gives_positions(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    qx_stand stand[6];
    for (size_t i = 0; i < 6; i++) {
        stand[i] = (qx_stand){(double)NAN, (double)NAN, (double)NAN};
    }
    stand[2] = (qx_stand){4, 9, (double)NAN};
    t->layout->stand = stand;
    record(t, "a.csv", "block,tree,day,girth\n1,1,3,10\n1,1,4,11\n1,2,3,12\n", &r);
    qx_table *table = trial_table(t);
    assert_string_equal(label(table, "line", 0), "4");
    assert_string_equal(label(table, "spot", 1), "9");
    assert_string_equal(label(table, "spot", 2), "");
    qx_table_free(table);
    refused(t,
            "block,tree,line,spot\n1,1,4,8\n",
            "2: spot is 8 here, but the list of trees says 9; expected 9, or the column "
            "left out");
}

/* Two variates with days of their own, a third that follows the first: rows where days meet,
 * each column only where its own variates were looked at. */
static const char several[] = "quincunx: 1\n"
                              "title: Days of their own\n"
                              "seasons: [2024, 2025]\n"
                              "units:\n"
                              "  tree: {count: 4}\n"
                              "treatments:\n"
                              "  pinch: {levels: [none, early], on: tree}\n"
                              "covariates:\n"
                              "  trunk: {on: tree, unit: cm2}\n"
                              "measure:\n"
                              "  girth: {kind: continuous, on: tree, dates: day}\n"
                              "  sugar: {kind: continuous, on: tree, dates: picked}\n"
                              "  colour: {kind: continuous, on: tree, dates: day}\n";

static int begin_several(void **state)
{
    return trial_new_from(state, several);
}

static void variates_have_days_of_their_own(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    record(t,
           "a.csv",
           "season,tree,trunk,day,picked,girth,colour,sugar\n"
           "2024,1,20,5,9,1,7,3\n2024,1,20,9,,2,,\n2025,1,30,5,,4,,\n",
           &r);
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 3);
    assert_string_equal(label(table, "day", 0), "5");
    assert_string_equal(label(table, "picked", 0), "");
    assert_true(number(table, "colour", 0) == 7);
    assert_true(isnan(number(table, "sugar", 0)));
    assert_string_equal(label(table, "day", 1), "9");
    assert_string_equal(label(table, "picked", 1), "9");
    assert_true(number(table, "girth", 1) == 2);
    assert_true(number(table, "sugar", 1) == 3);
    assert_true(number(table, "trunk", 1) == 20);
    assert_string_equal(label(table, "season", 2), "2025");
    assert_true(number(table, "girth", 2) == 4);
    assert_true(number(table, "trunk", 2) == 30);
    qx_table_free(table);
}

static qx_status read_table(qx_ctx *cx, void *given)
{
    const trial *t = given;
    qx_table *table = NULL;
    qx_trial_file *file = NULL;
    QX_TRY(qx_trial_file_open(cx, t->path, QX_TO_READ, &file));
    const qx_status status =
        qx_observations_table(cx, file, t->protocol, t->layout, &table);
    qx_trial_file_close(file);
    qx_table_free(table);
    return status;
}

static void no_memory_is_told(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    record(t, "a.csv", first, &r);
    assert_true(fail_each_allocation(read_table, t) > 10);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define T(name) cmocka_unit_test_setup_teardown(name, begin, trial_free)
        T(each_date_is_a_row),
        T(a_correction_is_of_one_date),
        T(a_day_written_otherwise_is_the_same_day),
        T(what_cannot_be_dated_is_refused),
        T(a_position_has_revisions),
        T(the_list_of_trees_gives_positions),
        T(no_memory_is_told),
#undef T
        cmocka_unit_test_setup_teardown(
            variates_have_days_of_their_own, begin_several, trial_free),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
