/* Data held against the protocol: every kind of problem, by line and column. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <unistd.h>

#include "trial_support.h"

static const char limbs[] =
    "quincunx: 1\n"
    "seasons: [2025, 2026]\n"
    "units:\n"
    "  block: {count: 2}\n"
    "  tree: {within: block, count: 2}\n"
    "  limb: {within: tree, count: 2}\n"
    "  shoot: {within: limb, sample: true}\n"
    "treatments:\n"
    "  pinch: {levels: [none, early], on: tree}\n"
    "  angle: {levels: [30, 60], on: limb}\n"
    "measure:\n"
    "  bloom: {kind: proportion, of: spurs, on: limb}\n"
    "  live: {kind: proportion, on: tree}\n"
    "  shoots: {kind: count, on: limb, range: [0, 60]}\n"
    "  length: {kind: continuous, on: shoot, range: [0, 250]}\n"
    "  vigour: {kind: ordinal, levels: [low, medium, high], on: tree}\n"
    "  side: {kind: nominal, levels: [upper, lower], on: shoot, times: number}\n";

typedef struct outcome {
    qx_arena *arena;
    qx_protocol *p;
    qx_table *table;
    bool *bad;
    const char *told;
    const char *noted;
    qx_status status;
} outcome;

static outcome check(qx_ctx *cx, const char *protocol, const char *data, bool layout)
{
    outcome o = {.arena = qx_arena_new()};
    o.p = protocol_of(cx, o.arena, protocol);
    qx_problems *problems = qx_problems_new(o.arena);
    o.status = qx_data_parse(
        cx, o.p, "d.csv", data, strlen(data), layout, problems, &o.table, &o.bad);
    o.told = told(o.arena, problems);
    o.noted = noted(o.arena, problems);
    assert_true((o.status == QX_E_INPUT) == (qx_problems_count(problems) > 0));
    qx_ctx_clear(cx);
    return o;
}

static void done(outcome *o)
{
    qx_table_free(o->table);
    qx_protocol_free(o->p);
    qx_arena_free(o->arena);
}

/* Part of a trial file: columns may be left out, so that each problem stands alone. */
static void assert_told(qx_ctx *cx, const char *data, const char *expected)
{
    outcome o = check(cx, limbs, data, true);
    assert_string_equal(o.told, expected);
    done(&o);
}

static void levels_become_the_protocols(void **state)
{
    outcome o =
        check(*state,
              "quincunx: 1\n"
              "seasons: [2025]\n"
              "units: {tree: }\n"
              "treatments: {angle: {levels: [60, 30, 0.5], on: tree}}\n"
              "measure: {grade: {kind: ordinal, levels: [low, high], on: tree}}\n",
              "season;angle;grade\n2025;30.0;high\n;60;\n2025,0;0,5;low\n",
              false);
    assert_string_equal(o.told, "");
    const qx_column *angle = qx_table_find(o.table, "angle");
    assert_int_equal(angle->level_count, 3);
    assert_string_equal(angle->level[0], "60");
    assert_int_equal(angle->code[0], 1);
    assert_int_equal(angle->code[1], 0);
    assert_int_equal(angle->code[2], 2);
    assert_int_equal(qx_table_find(o.table, "grade")->code[0], 1);
    assert_int_equal(qx_table_find(o.table, "grade")->code[1], QX_MISSING_CODE);
    done(&o);
}

static void unknown_levels_are_told_with_the_nearest(void **state)
{
    assert_told(*state,
                "block,tree,season,pinch,live,vigour\n"
                "1,1,2025,erly,1,medum\n"
                "1,2,2027,none,1,tall\n",
                "2:10: pinch \"erly\" is not in the protocol; expected \"early\", the "
                "nearest that is known\n"
                "2:17: vigour \"medum\" is not in the protocol; expected \"medium\", the "
                "nearest that is known\n"
                "3:5: season \"2027\" is not in the protocol; expected 2025 or 2026\n"
                "3:17: vigour \"tall\" is not in the protocol; expected low, medium or "
                "high\n");
}

static void counts_are_whole_and_not_negative(void **state)
{
    assert_told(
        *state,
        "block,tree,limb,season,shoots\n"
        "1,1,1,2025,2.5\n1,1,2,2025,-3\n1,2,1,2025,61\n1,2,2,2025,60\n",
        "2:12: shoots \"2.5\" is not a whole number; expected a count: 0, 1, 2 "
        "...\n"
        "3:12: shoots \"-3\" is negative; expected a count: 0, 1, 2 ...\n"
        "4:12: shoots \"61\" is outside the range 0 to 60; expected a value inside "
        "the range of the protocol\n");
}

static void shares_are_of_something(void **state)
{
    assert_told(
        *state,
        "block,tree,limb,season,spurs,bloom\n"
        "1,1,1,2025,5,6\n1,1,2,2025,0,0\n1,2,1,2025,,2\n1,2,2,2025,4.5,2\n"
        "2,1,1,2025,5,1.5\n2,1,2,2025,5,\n2,2,1,2025,5,5\n2,2,2,2025,-5,\n",
        "2:14: bloom \"6\" is more than spurs \"5\"; expected at most as many as "
        "were looked at\n"
        "3:12: spurs is 0, so that bloom cannot be a share of it; expected 1 or "
        "more; leave both empty if nothing was looked at\n"
        "4:12: spurs is missing, of which bloom is a share; expected how many were "
        "looked at\n"
        "5:12: spurs \"4.5\" is not a whole number; expected a count: 0, 1, 2 "
        "...\n"
        "6:14: bloom \"1.5\" is not a whole number; expected a count: 0, 1, 2 "
        "...\n"
        "9:12: spurs \"-5\" is negative; expected a count: 0, 1, 2 ...\n");
    assert_told(*state,
                "block,tree,season,live\n1,1,2025,1\n1,2,2025,0\n2,1,2025,2\n",
                "4:10: live \"2\" is neither 1 nor 0; expected 1 or 0, or \"of\" in the "
                "protocol to say of how many\n");
}

static void rows_that_stand_for_many_say_how_many(void **state)
{
    assert_told(*state,
                "block,tree,limb,season,side,number\n"
                "1,1,1,2025,upper,3\n1,1,1,2025,lower,\n1,1,1,2025,upper,1.5\n",
                "3:18: number is missing; expected how many alike things the row stands "
                "for\n"
                "4:18: number \"1.5\" is not a whole number; expected a count: 0, 1, 2 "
                "...\n");
}

static void ranges_hold(void **state)
{
    assert_told(*state,
                "block,tree,limb,shoot,season,length\n"
                "1,1,1,1,2025,250\n1,1,1,2,2025,250.1\n1,1,1,3,2025,-0.1\n",
                "3:14: length \"250.1\" is outside the range 0 to 250; expected a value "
                "inside the range of the protocol\n"
                "4:14: length \"-0.1\" is outside the range 0 to 250; expected a value "
                "inside the range of the protocol\n");
}

static void labels_are_needed_where_something_was_measured(void **state)
{
    assert_told(*state,
                "block,tree,limb,shoot,season,live,length\n"
                "1,1,,,2025,1,\n" /* a tree's row needs no limb */
                "1,2,,1,2025,,5\n"
                ",2,1,1,2026,,5\n"
                "1,,,,2025,1,\n"
                "1,2,1,1,,,5\n"
                ",,,,,,\n",
                "3:5: limb is missing; expected the label of the unit\n"
                "4:1: block is missing; expected the label of the unit\n"
                "5:3: tree is missing; expected the label of the unit\n"
                "6:9: season is missing; expected the season\n");
}

static void a_treatment_is_needed_where_something_was_measured(void **state)
{
    outcome o = check(*state,
                      "quincunx: 1\n"
                      "units: {tree: }\n"
                      "treatments: {pinch: {levels: [none, early], on: tree}}\n"
                      "measure: {y: {kind: continuous, on: tree}}\n",
                      "tree,pinch,y\n1,none,1\n2,,2\n3,,\n",
                      false);
    assert_string_equal(
        o.told, "3:3: pinch is missing; expected the level that the unit was given\n");
    assert_true(o.bad[1] && !o.bad[0] && !o.bad[2]);
    done(&o);
}

static void rows_that_repeat_are_told(void **state)
{
    assert_told(
        *state,
        "block,tree,limb,season,shoots\n"
        "1,1,1,2025,2\n1,1,2,2025,3\n1,1,1,2025,4\n1,1,1,2026,5\n",
        "4:5: limb \"1\" in tree \"1\" in block \"1\" has a value of shoots already "
        "on line 2; expected one row for each thing measured\n");
}

static void two_levels_inside_a_unit_are_told(void **state)
{
    outcome o = check(*state,
                      "quincunx: 1\n"
                      "units: {block: , tree: {within: block}, limb: {within: tree}}\n"
                      "treatments: {pinch: {levels: [none, early], on: tree}}\n"
                      "measure: {y: {kind: continuous, on: limb}}\n",
                      "block,tree,limb,pinch,y\n"
                      "1,1,1,none,1\n1,1,2,early,2\n1,2,1,early,3\n2,1,1,early,4\n",
                      false);
    assert_string_equal(o.told,
                        "3:7: tree \"1\" in block \"1\" has pinch \"early\" here, but "
                        "\"none\" on line 2; expected one level in one unit\n");
    done(&o);
}

static void more_than_planned_is_a_problem_fewer_a_note(void **state)
{
    static const char protocol[] = "quincunx: 1\n"
                                   "units: {block: {count: 2}, tree: {within: block, "
                                   "count: 2}}\n"
                                   "measure: {y: {kind: continuous, on: tree}}\n";
    outcome more = check(*state,
                         protocol,
                         "block,tree,y\n1,1,1\n1,2,2\n1,3,3\n2,1,4\n3,1,5\n1,4,1\n",
                         false);
    assert_string_equal(
        more.told,
        "4:3: tree \"3\" is one more than the 2 planned in "
        "block \"1\"; expected no more than the protocol's count; is a "
        "label mistyped?\n"
        "6:1: block \"3\" is one more than the 2 planned; expected no more "
        "than the protocol's count; is a label mistyped?\n");
    done(&more);
    outcome fewer = check(*state, protocol, "block,tree,y\n1,1,1\n1,2,2\n2,1,4\n", false);
    assert_string_equal(fewer.told, "");
    assert_string_equal(fewer.noted,
                        "3 of the 4 planned units \"tree\" are in the data\n");
    done(&fewer);
}

static void rows_count_as_units_where_nothing_else_does(void **state)
{
    static const char protocol[] = "quincunx: 1\n"
                                   "seasons: [2025, 2026]\n"
                                   "units: {tree: {count: 2}}\n"
                                   "measure: {y: {kind: count, on: tree}}\n";
    outcome o = check(
        *state, protocol, "season,y\n2025,1\n2025,2\n2026,3\n2026,4\n2026,5\n", false);
    assert_string_equal(o.told,
                        "6:1: tree is one more than the 2 planned; expected no more than "
                        "the protocol's count; is a label mistyped?\n");
    assert_string_equal(o.noted, "tree has no column: each row is one\n");
    done(&o);
    outcome times = check(*state,
                          "quincunx: 1\n"
                          "units: {leaf: {count: 150}}\n"
                          "measure: {mites: {kind: count, on: leaf, times: leaves}}\n",
                          "mites,leaves\n0,70\n1,38\n2,43\n",
                          false);
    assert_string_equal(
        times.told,
        "4:1: leaf is one more than the 150 planned; expected no more than "
        "the protocol's count; is a label mistyped?\n");
    done(&times);
}

static void columns_that_are_missing_are_told(void **state)
{
    outcome o = check(*state, limbs, "block,tree,limb,shoots\n1,1,1,1\n", false);
    assert_non_null(o.table); /* its other columns are looked at */
    assert_non_null(strstr(o.told, "1:1: there is no column \"pinch\"; "));
    assert_non_null(strstr(o.told, "1:1: there is no column \"angle\"; "));
    assert_non_null(strstr(o.told, "1:1: there is no column \"season\"; "));
    assert_non_null(strstr(o.told, "1:1: there is no column \"spurs\"; "));
    assert_non_null(strstr(o.told, "1:1: there is no column \"number\"; "));
    assert_null(strstr(o.told, "\"shoot\"; "));
    done(&o);
    outcome part =
        check(*state, limbs, "block,tree,limb,season,shoots\n1,1,1,2025,1\n", true);
    assert_string_equal(part.told, "");
    done(&part);
    assert_told(
        *state,
        "block,season\n1,2025\n",
        "1:1: the file holds nothing that the protocol measures; expected a column "
        "for at least one variate\n");
}

static void a_unit_that_nothing_tells_is_told(void **state)
{
    outcome o = check(*state,
                      "quincunx: 1\n"
                      "units: {block: , tree: {within: block}, limb: {within: tree}}\n"
                      "measure: {y: {kind: continuous, on: limb}}\n",
                      "block,limb,y\n1,1,1\n",
                      false);
    assert_string_equal(
        o.told,
        "1:1: there is no column \"tree\", and neither treatments nor "
        "crossed units tell one from the other; expected a column with its "
        "labels\n");
    done(&o);
}

static void a_transform_needs_values_on_its_scale(void **state)
{
    static const char protocol[] = "quincunx: 1\n"
                                   "units: {tree: }\n"
                                   "measure: {y: {kind: continuous, on: tree, transform: "
                                   "log}}\n";
    outcome o = check(*state, protocol, "y\n1\n0\n\n2\n", false);
    assert_string_equal(
        o.told,
        "3:1: y \"0\" has no value on the scale of transform log; expected "
        "another transform, such as log10(x+1) or sqrt(x+0.5)\n");
    done(&o);
    outcome recorded = check(*state, protocol, "y\n0\n", true);
    assert_string_equal(recorded.told, "");
    done(&recorded);
}

/* --accept-good: the rows with problems are marked, the others are whole. */
static void bad_rows_are_marked(void **state)
{
    outcome o = check(*state,
                      limbs,
                      "block,tree,limb,season,shoots\n"
                      "1,1,1,2025,2\n1,1,2,2025,x\n1,2,1,2029,3\n1,2,2,2025,3,4\n"
                      "2,1,1,2025,7\n",
                      true);
    assert_int_equal(o.status, QX_E_INPUT);
    assert_int_equal(o.table->rows, 5);
    assert_true(!o.bad[0] && o.bad[1] && o.bad[2] && o.bad[3] && !o.bad[4]);
    assert_true(qx_table_find(o.table, "shoots")->value[4] == 7);
    done(&o);
}

static void quoted_fields_keep_their_place(void **state)
{
    assert_told(*state,
                "note,block,tree,limb,season,shoots\r\n"
                "\"one\r\ntwo\",\"1\",1,1,2025,\"-1\"\r\n",
                "3:19: shoots \"-1\" is negative; expected a count: 0, 1, 2 ...\n");
}

static void files_are_read_like_texts(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    qx_protocol *p = protocol_of(cx,
                                 arena,
                                 "quincunx: 1\n"
                                 "units: {tree: }\n"
                                 "measure: {y: {kind: continuous, on: tree}}\n");
    qx_problems *problems = qx_problems_new(arena);
    qx_table *table = NULL;
    assert_int_equal(
        qx_data_read(cx, p, "no such file.csv", false, problems, &table, NULL),
        QX_E_INPUT);
    assert_non_null(strstr(qx_ctx_message(cx), "no such file.csv"));
    qx_ctx_clear(cx);
    static const char name[] = "test_check_data.csv";
    FILE *file = fopen(name, "wb");
    assert_non_null(file);
    assert_true(fputs("y\n1.50\n", file) >= 0);
    assert_int_equal(fclose(file), 0);
    assert_ok(cx, qx_data_read(cx, p, name, false, problems, &table, NULL));
    assert_int_equal(unlink(name), 0);
    assert_int_equal(table->rows, 1);
    qx_table_free(table);
    qx_protocol_free(p);
    qx_arena_free(arena);
}

static void any_allocation_may_fail(void **state)
{
    (void)state;
    static const char data[] = "block,tree,limb,season,pinch,angle,spurs,bloom\n"
                               "1,1,1,2025,none,30,5,6\n1,1,2,2025,erly,60,5,5\n"
                               "1,1,1,2025,none,30,5,5\n1,2,1,2025,none,60,5,5\n"
                               "1,3,1,2025,none,60,,\n";
    bool complete = false;
    qx_ctx *first = qx_ctx_new();
    qx_arena *own = qx_arena_new();
    qx_protocol *p = protocol_of(first, own, limbs);
    for (size_t n = 1; !complete && n < 5000; n++) {
        qx_ctx *cx = qx_ctx_new();
        qx_arena *arena = qx_arena_new();
        qx_problems *problems = qx_problems_new(arena);
        qx_table *table = NULL;
        qx_arena_fail_after(n);
        const qx_status status = qx_data_parse(
            cx, p, "d.csv", data, sizeof data - 1, true, problems, &table, NULL);
        qx_arena_fail_after(0);
        assert_true(status == QX_E_INPUT || status == QX_E_NOMEM);
        assert_true((status == QX_E_INPUT) == (table != NULL));
        complete = status == QX_E_INPUT;
        qx_table_free(table);
        qx_arena_free(arena);
        qx_ctx_free(cx);
    }
    assert_true(complete);
    qx_protocol_free(p);
    qx_arena_free(own);
    qx_ctx_free(first);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(levels_become_the_protocols),
        WITH_CTX(unknown_levels_are_told_with_the_nearest),
        WITH_CTX(counts_are_whole_and_not_negative),
        WITH_CTX(shares_are_of_something),
        WITH_CTX(rows_that_stand_for_many_say_how_many),
        WITH_CTX(ranges_hold),
        WITH_CTX(labels_are_needed_where_something_was_measured),
        WITH_CTX(a_treatment_is_needed_where_something_was_measured),
        WITH_CTX(rows_that_repeat_are_told),
        WITH_CTX(two_levels_inside_a_unit_are_told),
        WITH_CTX(more_than_planned_is_a_problem_fewer_a_note),
        WITH_CTX(rows_count_as_units_where_nothing_else_does),
        WITH_CTX(columns_that_are_missing_are_told),
        WITH_CTX(a_unit_that_nothing_tells_is_told),
        WITH_CTX(a_transform_needs_values_on_its_scale),
        WITH_CTX(bad_rows_are_marked),
        WITH_CTX(quoted_fields_keep_their_place),
        WITH_CTX(files_are_read_like_texts),
        cmocka_unit_test(any_allocation_may_fail),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
