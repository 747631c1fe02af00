/* What is stored, what is told to be there already, what becomes a revision. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "support.h"
#include "trial.h"
#include "trial/check.h"

static const char first[] = "season,block,tree,limb,shoot,trunk,length,girth,grade\n"
                            "2024,1,1,,,20.50,,,low\n"
                            "2024,1,1,1,,,,2.10,\n"
                            "2024,1,1,1,a,,50.5,,\n"
                            "2024,1,1,1,b,,,,\n"
                            "2024,1,2,,,22,,,high\n";

static void receipt_is(
    const qx_receipt *r, size_t stored, size_t corrected, size_t repeated, size_t blank)
{
    assert_int_equal(r->stored, stored);
    assert_int_equal(r->correction_count, corrected);
    assert_int_equal(r->repeated, repeated);
    assert_int_equal(r->blank, blank);
}

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
    assert_int_equal(c->kind, QX_COLUMN_NUMBER);
    return c->value[row];
}

static void values_come_back_as_they_were_typed(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(t->cx, trial_record(t, "a.csv", first, false, &r));
    receipt_is(&r, 6, 0, 0, 1);
    assert_int_equal(r.rows, 5);
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 5);
    assert_string_equal(label(table, "season", 2), "2024");
    assert_string_equal(label(table, "block", 2), "1");
    assert_string_equal(label(table, "limb", 2), "1");
    assert_string_equal(label(table, "shoot", 2), "a");
    assert_true(number(table, "length", 2) == 50.5);
    assert_true(isnan(number(table, "length", 3)));
    assert_string_equal(label(table, "shoot", 3), "b");
    const qx_decimal girth = qx_table_find(table, "girth")->exact[1];
    assert_int_equal(girth.coefficient, 210);
    assert_int_equal(girth.scale, 2);
    /* classes by the protocol's levels */
    assert_string_equal(label(table, "grade", 4), "high");
    assert_int_equal(qx_table_find(table, "grade")->code[4], 1);
    /* a covariate of the tree stands in all rows inside it */
    assert_true(number(table, "trunk", 2) == 20.5);
    assert_true(number(table, "trunk", 4) == 22);
    qx_table_free(table);
}

static void the_same_file_again_stores_nothing(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(t->cx, trial_record(t, "a.csv", first, false, &r));
    assert_ok(t->cx, trial_record(t, "a.csv", first, false, &r));
    receipt_is(&r, 0, 0, 6, 0); /* four values, a count and a covariate */
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM import"), 1);
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM observation"), 7);
}

static void another_value_is_a_revision_that_keeps_the_old_one(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(t->cx, trial_record(t, "a.csv", first, false, &r));
    assert_ok(t->cx,
              trial_record(t,
                           "b.csv",
                           "season,block,tree,limb,shoot,length\n2024,1,1,1,a,51.0\n"
                           "2024,1,1,1,b,7\n",
                           false,
                           &r));
    receipt_is(&r, 1, 1, 0, 0); /* b was missing: its value is new, not a correction */
    assert_string_equal(r.correction[0].before, "50.5");
    assert_string_equal(r.correction[0].after, "51.0");
    assert_string_equal(r.correction[0].thing, "block 1, tree 1, limb 1, shoot a");
    assert_int_equal(r.correction[0].line, 2);
    assert_string_equal(r.correction[0].file, "b.csv"); /* the table is gone by now */
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 5);
    assert_true(number(table, "length", 2) == 51.0);
    qx_table_free(table);
    assert_int_equal(trial_ask(t,
                               "SELECT count(*) FROM observation JOIN import ON"
                               " import.id = import JOIN person ON person.id ="
                               " recorded_by WHERE quantity = 'length' AND revision = 2"
                               " AND value = '51.0' AND name = 'Ben' AND reason ="
                               " 'read again'"),
                     1);
    assert_int_equal(trial_ask(t,
                               "SELECT count(*) FROM observation WHERE revision = 1 AND"
                               " value = '50.5'"),
                     1);
}

static void the_same_number_written_otherwise_is_the_same(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(t->cx, trial_record(t, "a.csv", first, false, &r));
    assert_ok(
        t->cx,
        trial_record(
            t, "b.csv", "season,block,tree,limb,girth\n2024,1,1,1,2.1\n", false, &r));
    receipt_is(&r, 0, 0, 1, 0);
}

static void an_empty_field_never_takes_a_value_away(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(t->cx, trial_record(t, "a.csv", first, false, &r));
    assert_ok(t->cx,
              trial_record(t,
                           "b.csv",
                           "season,block,tree,limb,shoot,length\n2024,1,1,1,a,\n",
                           false,
                           &r));
    receipt_is(&r, 0, 0, 0, 0);
    qx_table *table = trial_table(t);
    assert_true(number(table, "length", 2) == 50.5);
    qx_table_free(table);
}

static void another_season_is_another_observation(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(t->cx, trial_record(t, "a.csv", first, false, &r));
    assert_ok(
        t->cx,
        trial_record(
            t, "b.csv", "season,block,tree,limb,girth\n2025,1,1,1,3.3\n", false, &r));
    receipt_is(&r, 1, 0, 0, 0);
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 6);
    assert_string_equal(label(table, "season", 5), "2025");
    assert_true(number(table, "girth", 1) == 2.1);
    assert_true(number(table, "girth", 5) == 3.3);
    qx_table_free(table);
}

/* Every block has one tree of each level: without labels the treatment tells it. */
static void treatments_tell_a_tree_without_labels(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(
        t->cx,
        trial_record(t,
                     "a.csv",
                     "season,block,pinch,grade\n2024,2,none,low\n2024,2,early,high\n",
                     false,
                     &r));
    receipt_is(&r, 2, 0, 0, 0);
    qx_table *table = trial_table(t);
    for (size_t row = 0; row < 2; row++) {
        const size_t tree = (size_t)(label(table, "tree", row)[0] - '1');
        /* block 2 holds the things 5 and 6: 3 blocks, then 2 trees of block 1 */
        const uint32_t level = t->layout->level[3 + 2 + tree];
        assert_string_equal(t->protocol->treatment[0].level[level],
                            row == 0 ? "none" : "early");
    }
    qx_table_free(table);
    /* with labels it is the same tree */
    const char *tree = t->layout->level[5] == 0 ? "1" : "2";
    char text[64] = "season,block,tree,grade\n2024,2,?,low\n";
    *strchr(text, '?') = tree[0];
    assert_ok(t->cx, trial_record(t, "b.csv", text, false, &r));
    receipt_is(&r, 0, 0, 1, 0);
}

static const char unlabelled[] = "season,block,tree,limb,length\n"
                                 "2024,1,1,1,50\n2024,1,1,1,50\n2024,1,1,2,30\n";

static void things_without_labels_are_told_by_file_and_row(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(t->cx, trial_record(t, "a.csv", unlabelled, false, &r));
    receipt_is(&r, 3, 0, 0, 0);
    assert_ok(t->cx, trial_record(t, "renamed.csv", unlabelled, false, &r));
    receipt_is(&r, 0, 0, 3, 0);
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 3);
    assert_null(qx_table_find(table, "shoot"));
    qx_table_free(table);
}

static void a_second_file_without_labels_in_the_same_place_is_refused(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(t->cx, trial_record(t, "a.csv", unlabelled, false, &r));
    const char *again = "season,block,tree,limb,length\n2024,2,1,1,50\n2024,1,1,1,51\n";
    assert_int_equal(trial_record(t, "b.csv", again, false, &r), QX_E_INPUT);
    assert_int_equal(trial_problem_count, 1);
    assert_string_equal(
        trial_last_problem,
        "3: shoot has no label, and another file brought such ones to the "
        "same place already; expected a column \"shoot\" with labels, to "
        "tell new ones from corrected ones");
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM observation"), 3);
    qx_ctx_clear(t->cx);
    /* new shoots with labels are welcome beside the old ones */
    assert_ok(t->cx,
              trial_record(t,
                           "c.csv",
                           "season,block,tree,limb,shoot,length\n2024,1,1,1,x,51\n",
                           false,
                           &r));
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 4);
    assert_string_equal(label(table, "shoot", 3), "x");
    assert_string_equal(label(table, "shoot", 0), "unlabelled 1");
    qx_table_free(table);
}

static void shares_bring_their_number_looked_at(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(t->cx,
              trial_record(t,
                           "a.csv",
                           "season,block,tree,limb,sets,buds\n2024,1,1,1,3,10\n"
                           "2024,1,1,2,4,12\n",
                           false,
                           &r));
    receipt_is(&r, 4, 0, 0, 0);
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 2);
    assert_true(number(table, "sets", 1) == 4);
    assert_true(number(table, "buds", 1) == 12);
    qx_table_free(table);
}

static const char wrong[] = "season,block,tree,limb,girth\n"
                            "2024,1,1,1,2.5\n2024,9,1,1,2.6\n2024,1,2,1,2.7\n";

static void a_wrong_row_stores_nothing(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_int_equal(trial_record(t, "a.csv", wrong, false, &r), QX_E_INPUT);
    assert_int_equal(trial_problem_count, 1);
    assert_string_equal(trial_last_problem,
                        "3: the row does not tell which block girth was measured on; "
                        "expected a column \"block\" with labels of the layout");
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM observation"), 0);
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM import"), 0);
}

static void good_rows_are_stored_if_asked_for(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(t->cx, trial_record(t, "a.csv", wrong, true, &r));
    receipt_is(&r, 2, 0, 0, 0);
    assert_int_equal(r.left_out, 1);
    assert_int_equal(trial_problem_count, 1);
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM observation"), 2);
}

static void two_values_of_a_covariate_in_one_file_clash(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_int_equal(
        trial_record(t,
                     "a.csv",
                     "season,block,tree,limb,girth,trunk\n2024,1,1,1,2.5,20\n"
                     "2024,1,1,2,2.5,21\n",
                     false,
                     &r),
        QX_E_INPUT);
    assert_string_equal(trial_last_problem,
                        "3: trunk of block 1, tree 1 is 21 here, but another row of this "
                        "file says 20; expected one value for each thing and season");
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM observation"), 0);
}

static void an_empty_trial_gives_an_empty_table(void **state)
{
    trial *t = *state;
    qx_table *table = trial_table(t);
    assert_int_equal(table->rows, 0);
    assert_non_null(qx_table_find(table, "length"));
    assert_non_null(qx_table_find(table, "tree"));
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

static void no_memory_is_told_while_reading(void **state)
{
    trial *t = *state;
    qx_receipt r = {0};
    assert_ok(t->cx, trial_record(t, "a.csv", first, false, &r));
    assert_true(fail_each_allocation(read_table, t) > 10);
}

typedef struct prepared {
    trial *t;
    qx_record_order order;
} prepared;

static qx_status record_prepared(qx_ctx *cx, void *given)
{
    const prepared *p = given;
    qx_trial_file *file = NULL;
    qx_receipt r = {0};
    qx_arena *arena = qx_arena_new();
    qx_problems *problems = arena == NULL ? NULL : qx_problems_new(arena);
    if (problems == NULL) {
        qx_arena_free(arena);
        return QX_E_NOMEM;
    }
    qx_status status = qx_trial_file_open(cx, p->t->path, QX_TO_RECORD, &file);
    if (status == QX_OK) {
        status = qx_observations_record(cx, file, &p->order, problems, arena, &r);
        qx_trial_file_close(file);
    }
    qx_arena_free(arena);
    if (status != QX_OK) {
        assert_int_equal(trial_ask(p->t, "SELECT count(*) FROM observation"), 0);
    }
    return status;
}

static void no_memory_while_recording_stores_nothing(void **state)
{
    trial *t = *state;
    bool bad[5] = {false};
    qx_table *table = NULL;
    assert_ok(t->cx,
              qx_data_parse(t->cx,
                            t->protocol,
                            "a.csv",
                            first,
                            strlen(first),
                            true,
                            qx_problems_new(t->arena),
                            &table,
                            NULL));
    const qx_data_part part = {table, bad, t->protocol->digest};
    prepared p = {.t = t,
                  .order = {.protocol = t->protocol,
                            .layout = t->layout,
                            .part_count = 1,
                            .part = &part,
                            .by = "Ben",
                            .reason = ""}};
    assert_true(fail_each_allocation(record_prepared, &p) > 10);
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM observation"), 7);
    qx_table_free(table);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define T(name) cmocka_unit_test_setup_teardown(name, trial_new, trial_free)
        T(values_come_back_as_they_were_typed),
        T(the_same_file_again_stores_nothing),
        T(another_value_is_a_revision_that_keeps_the_old_one),
        T(the_same_number_written_otherwise_is_the_same),
        T(an_empty_field_never_takes_a_value_away),
        T(another_season_is_another_observation),
        T(treatments_tell_a_tree_without_labels),
        T(things_without_labels_are_told_by_file_and_row),
        T(a_second_file_without_labels_in_the_same_place_is_refused),
        T(shares_bring_their_number_looked_at),
        T(a_wrong_row_stores_nothing),
        T(good_rows_are_stored_if_asked_for),
        T(two_values_of_a_covariate_in_one_file_clash),
        T(an_empty_trial_gives_an_empty_table),
        T(no_memory_is_told_while_reading),
        T(no_memory_while_recording_stores_nothing),
#undef T
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
