/* The CSV reader: shapes that are right, and every way in which a file can be wrong. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "trial/csv_scan.h"
#include "trial/read_csv.h"
#include "trial_support.h"

static const qx_column_wish wishes[] = {
    {"tree", QX_COLUMN_LABEL, true},
    {"length", QX_COLUMN_NUMBER, true},
    {"vigour", QX_COLUMN_LABEL, false},
};

typedef struct outcome {
    qx_arena *arena;
    qx_table *table;
    bool *bad;
    const char *told;
    const char *noted;
    qx_status status;
} outcome;

static outcome read_bytes(qx_ctx *cx, const char *bytes, size_t length)
{
    outcome o = {.arena = qx_arena_new()};
    qx_problems *problems = qx_problems_new(o.arena);
    o.status =
        qx_csv_parse(cx, "d.csv", bytes, length, 3, wishes, problems, &o.table, &o.bad);
    o.told = told(o.arena, problems);
    o.noted = noted(o.arena, problems);
    qx_ctx_clear(cx);
    return o;
}

static outcome read_text(qx_ctx *cx, const char *text)
{
    return read_bytes(cx, text, strlen(text));
}

static void done(outcome *o)
{
    qx_table_free(o->table);
    qx_arena_free(o->arena);
}

static const char *label(const outcome *o, const char *column, size_t row)
{
    const qx_column *c = qx_table_find(o->table, column);
    return c->code[row] == QX_MISSING_CODE ? NULL : c->level[c->code[row]];
}

static double number(const outcome *o, size_t row)
{
    return qx_table_find(o->table, "length")->value[row];
}

static void plain_rows_become_columns(void **state)
{
    outcome o = read_text(*state, "length,tree,other\n25.50,A,x\n3,B,y\n1e1,A,z\n");
    assert_int_equal(o.status, QX_OK);
    assert_int_equal(o.table->rows, 3);
    assert_int_equal(o.table->column_count, 2);
    assert_null(qx_table_find(o.table, "vigour"));
    assert_string_equal(label(&o, "tree", 1), "B");
    assert_int_equal(qx_table_find(o.table, "tree")->level_count, 2);
    assert_int_equal(qx_table_find(o.table, "tree")->place, 2);
    assert_true(number(&o, 0) == 25.5 && number(&o, 2) == 10);
    const qx_decimal exact = qx_table_find(o.table, "length")->exact[0];
    assert_string_equal(qx_decimal_text(o.arena, exact), "25.50");
    assert_int_equal(o.table->line[2], 4);
    assert_string_equal(o.noted,
                        "column other is not named in the protocol and is not used\n");
    done(&o);
}

static void missing_is_empty_na_or_a_point(void **state)
{
    outcome o = read_text(*state, "tree,length\nA,\nNA,NA\n.,.\n\"\",\" \"\nB,0\n");
    assert_int_equal(o.status, QX_E_INPUT); /* a blank in quotes is no number */
    assert_string_equal(
        o.told,
        "5:4: length \" \" is not a number; expected a number, or nothing "
        "if it is missing\n");
    assert_true(isnan(number(&o, 0)) && isnan(number(&o, 1)) && isnan(number(&o, 2)));
    assert_null(label(&o, "tree", 1));
    assert_null(label(&o, "tree", 2));
    assert_null(label(&o, "tree", 3));
    assert_true(number(&o, 4) == 0);
    assert_true(o.bad[3] && !o.bad[0] && !o.bad[4]);
    done(&o);
}

static void quotes_hold_separators_line_ends_and_quotes(void **state)
{
    outcome o = read_text(*state,
                          "\"tree\",length,vigour\r\n"
                          "\"A, \"\"old\"\"\",1,\"two\r\nlines\"\r\n"
                          "  B  ,\t2 , \"low\" \r\n");
    assert_int_equal(o.status, QX_OK);
    assert_string_equal(label(&o, "tree", 0), "A, \"old\"");
    assert_string_equal(label(&o, "vigour", 0), "two\r\nlines");
    assert_string_equal(label(&o, "tree", 1), "B");
    assert_string_equal(label(&o, "vigour", 1), "low");
    assert_int_equal(o.table->line[1], 4);
    done(&o);
}

static void semicolons_allow_decimal_commas(void **state)
{
    outcome o = read_text(*state, "\xEF\xBB\xBFtree;length\nA;12,5\nB;12.25\nC;\n");
    assert_int_equal(o.status, QX_OK);
    assert_true(number(&o, 0) == 12.5 && number(&o, 1) == 12.25);
    assert_int_equal(o.table->separator, ';');
    done(&o);
}

static void any_line_end_and_empty_lines_do(void **state)
{
    outcome o = read_text(*state, "\r\ntree,length\rA,1\r\r\rB,2\n\n,\n,\nC,3");
    assert_int_equal(o.status, QX_OK);
    assert_int_equal(o.table->rows, 3);
    assert_int_equal(o.table->line[0], 3);
    assert_int_equal(o.table->line[1], 6);
    assert_string_equal(label(&o, "tree", 2), "C");
    done(&o);
}

/* The example of the style guide: what was meant is said. */
static void comma_for_a_point_is_told_with_what_was_meant(void **state)
{
    outcome o = read_text(*state, "tree,length\nA,\"12,5\"\nB,twelve\nC,\"1,2,3\"\n");
    assert_string_equal(o.told,
                        "2:3: length \"12,5\" is not a number; expected 12.5\n"
                        "3:3: length \"twelve\" is not a number; expected a number, or "
                        "nothing if it is missing\n"
                        "4:3: length \"1,2,3\" is not a number; expected a number, or "
                        "nothing if it is missing\n");
    assert_int_equal(o.table->rows, 3);
    done(&o);
}

static void what_is_no_decimal_number_is_refused(void **state)
{
    static const char *const wrong[] = {
        "inf", "nan", "-Inf", "0x10", "1e999", "1e", "--1", "1 2", "1_0", "12cm", "<5"};
    for (size_t i = 0; i < QX_COUNT(wrong); i++) {
        qx_arena *arena = qx_arena_new();
        outcome o =
            read_text(*state, qx_arena_printf(arena, "tree,length\nA,%s\n", wrong[i]));
        assert_int_equal(o.status, QX_E_INPUT);
        assert_non_null(strstr(o.told, "is not a number"));
        assert_true(isnan(number(&o, 0)));
        done(&o);
        qx_arena_free(arena);
    }
}

static void rows_of_another_length_are_told_and_the_rest_is_read(void **state)
{
    outcome o = read_text(*state, "tree,length\nA\nB,1,2\nC,3\n");
    assert_string_equal(
        o.told,
        "2:1: the row has 1 field, the header 2; expected as many as the "
        "header has\n"
        "3:1: the row has 3 fields, the header 2; expected as many as the "
        "header has; a comma inside a field needs quotes, and decimals a "
        "point\n");
    assert_true(o.bad[0] && o.bad[1] && !o.bad[2]);
    assert_true(number(&o, 2) == 3);
    done(&o);
}

static void broken_quotes_cost_their_line_only(void **state)
{
    outcome o = read_text(*state,
                          "tree,length\n"
                          "\"A\"x,1\n"
                          "5\" pot,2\n"
                          "\"never closed,3\n"
                          "D,4\n"
                          "E,\"five\n");
    assert_string_equal(o.told,
                        "2:4: text follows the closing quote; expected the next field, "
                        "and quotes inside quotes doubled\n"
                        "3:1: a quote stands inside a field; expected the whole field in "
                        "quotes, and the quotes inside doubled\n"
                        "4:1: the quote that opens here is never closed; expected a "
                        "closing quote\n"
                        "6:3: the quote that opens here is never closed; expected a "
                        "closing quote\n");
    assert_true(number(&o, 3) == 4);
    done(&o);
    outcome lost = read_text(*state, "tree,length\n\"A,1\nB,2\n\"C,3\nD,x\n\"E,4\n");
    assert_string_equal(
        lost.told,
        "2:1: the quote that opens here is never closed; expected a "
        "closing quote\n"
        "4:1: the quote that opens here is never closed; expected a "
        "closing quote\n"
        "5:3: length \"x\" is not a number; expected a number, or nothing "
        "if it is missing\n"
        "6:1: the quote that opens here is never closed; expected a "
        "closing quote\n");
    done(&lost);
    outcome one = read_text(*state, "tree,length\n\"A,1\nB,2\nC,x\n");
    assert_string_equal(
        one.told,
        "2:1: the quote that opens here is never closed; expected a "
        "closing quote\n"
        "4:3: length \"x\" is not a number; expected a number, or nothing "
        "if it is missing\n");
    assert_int_equal(one.table->rows, 3);
    assert_true(one.bad[0] && !one.bad[1] && one.bad[2]);
    done(&one);
}

static void headers_are_checked(void **state)
{
    outcome twice = read_text(*state, "tree,length,tree,x,x\nA,1,B,,\n");
    assert_string_equal(
        twice.told,
        "1:13: column \"tree\" is there twice; expected every column once\n"
        "1:20: column \"x\" is there twice; expected every column once\n");
    done(&twice);
    outcome missing = read_text(*state, "Tree,lenght\nA,1\n");
    assert_string_equal(
        missing.told,
        "1:1: there is no column \"tree\"; expected it in the header; the "
        "nearest there is Tree\n"
        "1:1: there is no column \"length\"; expected it in the header; "
        "the nearest there is lenght\n");
    assert_non_null(missing.table); /* what is there can be looked at; no row is good */
    assert_true(missing.bad[0]);
    done(&missing);
    outcome bare = read_text(*state, "tree,length\n\n,\n");
    assert_string_equal(bare.told,
                        "1:1: the file has no rows; expected a row for each thing "
                        "measured\n");
    assert_null(bare.table);
    done(&bare);
    outcome none = read_text(*state, "tree,length\n");
    assert_string_equal(none.told,
                        "1:1: the file has no rows; expected a row for each thing "
                        "measured\n");
    done(&none);
    outcome tabs = read_text(*state, "tree\tlength\nA\t1\n");
    assert_string_equal(tabs.told,
                        "1:1: the columns are separated by tabs; expected commas, or "
                        "semicolons with decimal commas\n");
    done(&tabs);
}

static void files_that_are_no_text_are_named(void **state)
{
    outcome empty = read_text(*state, "");
    assert_string_equal(empty.told,
                        "1:1: the file is empty; expected a header and a row for each "
                        "thing measured\n");
    done(&empty);
    outcome blank = read_text(*state, "\n\r\n");
    assert_string_equal(
        blank.told, "1:1: the file holds only empty lines; expected a header and rows\n");
    done(&blank);
    outcome latin1 = read_text(*state, "tree,length\nB\xE4um,1\n");
    assert_non_null(strstr(latin1.told, "2:2: byte E4 is not UTF-8"));
    done(&latin1);
    outcome utf16 = read_bytes(*state, "\xFF\xFEt\0r\0", 6);
    assert_non_null(strstr(utf16.told, "1:1: the file is in UTF-16"));
    done(&utf16);
    outcome zero = read_bytes(*state, "tree,length\nA\0B,1\n", 18);
    assert_non_null(strstr(zero.told, "2:2: the file is binary, not text: byte 14"));
    done(&zero);
    outcome database = read_bytes(*state, "SQLite format 3\0\x10", 17);
    assert_non_null(strstr(database.told, "a trial file or another database"));
    done(&database);
}

static void limits_hold(void **state)
{
    qx_arena *arena = qx_arena_new();
    const size_t large = QX_LINE_BYTES_MOST + 100;
    char *line = qx_arena_alloc(arena, large, 1);
    memset(line, 'a', large);
    outcome one = read_bytes(*state, line, large);
    assert_string_equal(
        one.told,
        "1:1: line 1 is too long to be a row of data; expected a line for "
        "each thing measured, of at most 1 MiB\n");
    assert_null(one.table);
    done(&one);
    static const char head[] = {
        't', 'r', 'e', 'e', ',', 'l', 'e', 'n', 'g', 't', 'h', '\n'};
    memcpy(line, head, sizeof head);
    outcome row = read_bytes(*state, line, large);
    assert_non_null(strstr(row.told, "2:1: line 2 is too long"));
    assert_null(row.table);
    done(&row);
    memset(line, ',', large);
    outcome wide = read_bytes(*state, line, 5000);
    assert_string_equal(wide.told,
                        "1:1: the file has 5001 columns; expected at most 1000\n");
    done(&wide);
    qx_text *text = qx_text_new(arena);
    qx_text_add(text, "tree,length\n");
    for (size_t i = 0; i <= QX_LABEL_BYTES_MOST; i++) {
        qx_text_add(text, "b");
    }
    qx_text_add(text, ",1\n");
    outcome label_ = read_text(*state, qx_text_get(text));
    assert_string_equal(
        label_.told,
        "2:1: tree has a label of 1001 bytes; expected a label of at most "
        "1000 bytes\n");
    done(&label_);
    qx_arena_free(arena);
}

/* A file in which every row is wrong: all are counted, the first thousand are told. */
static void a_wrong_row_costs_no_more_than_a_right_one(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_text *text = qx_text_new(arena);
    qx_text_add(text, "tree,length\n");
    for (size_t i = 0; i < 20000; i++) {
        qx_text_add(text, "A,x\n");
    }
    qx_problems *problems = qx_problems_new(arena);
    qx_table *table = NULL;
    assert_int_equal(qx_csv_parse(*state,
                                  "d.csv",
                                  qx_text_get(text),
                                  qx_text_length(text),
                                  3,
                                  wishes,
                                  problems,
                                  &table,
                                  NULL),
                     QX_E_INPUT);
    qx_ctx_clear(*state);
    assert_int_equal(qx_problems_count(problems), 20000);
    assert_int_equal(qx_problems_stored(problems), QX_PROBLEMS_MOST);
    qx_table_free(table);
    qx_arena_free(arena);
}

static void any_allocation_may_fail(void **state)
{
    (void)state;
    static const char text[] = "tree,length,vigour\nA,1,low\n\"B\"\"\",x,\nC,3,high\n";
    bool complete = false;
    for (size_t n = 1; !complete && n < 1000; n++) {
        qx_ctx *cx = qx_ctx_new();
        qx_arena *arena = qx_arena_new();
        qx_problems *problems = qx_problems_new(arena);
        qx_table *table = NULL;
        qx_arena_fail_after(n);
        const qx_status status = qx_csv_parse(
            cx, "d.csv", text, sizeof text - 1, 3, wishes, problems, &table, NULL);
        qx_arena_fail_after(0);
        assert_true(status == QX_E_INPUT || status == QX_E_NOMEM);
        assert_true((status == QX_E_INPUT) == (table != NULL));
        complete = status == QX_E_INPUT;
        qx_table_free(table);
        qx_arena_free(arena);
        qx_ctx_free(cx);
    }
    assert_true(complete);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(plain_rows_become_columns),
        WITH_CTX(missing_is_empty_na_or_a_point),
        WITH_CTX(quotes_hold_separators_line_ends_and_quotes),
        WITH_CTX(semicolons_allow_decimal_commas),
        WITH_CTX(any_line_end_and_empty_lines_do),
        WITH_CTX(comma_for_a_point_is_told_with_what_was_meant),
        WITH_CTX(what_is_no_decimal_number_is_refused),
        WITH_CTX(rows_of_another_length_are_told_and_the_rest_is_read),
        WITH_CTX(broken_quotes_cost_their_line_only),
        WITH_CTX(headers_are_checked),
        WITH_CTX(files_that_are_no_text_are_named),
        WITH_CTX(limits_hold),
        WITH_CTX(a_wrong_row_costs_no_more_than_a_right_one),
        cmocka_unit_test(any_allocation_may_fail),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
