/* Protocol to trial file, data into it, and out again: the joins between the floors. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "base/file.h"
#include "base/text.h"
#include "support.h"
#include "tasks/analyse_file.h"
#include "tasks/change_layout.h"
#include "tasks/check_task.h"
#include "tasks/lay_out.h"
#include "tasks/load.h"
#include "tasks/new_protocol.h"
#include "tasks/record.h"

static const char protocol_text[] =
    "quincunx: 1\n"
    "units:\n"
    "  block: {count: 4}\n"
    "  tree: {within: block, count: 3}\n"
    "treatments:\n"
    "  pinch: {levels: [none, early, late], on: tree}\n"
    "measure:\n"
    "  length: {kind: continuous, on: tree, unit: cm, range: [0, 99]}\n";

typedef struct desk {
    qx_ctx *cx;
    qx_arena *arena;
    char *folder;
    const char *protocol, *trial, *data;
    qx_problems *problems;
} desk;

static void write_file(desk *d, const char *path, const char *text)
{
    assert_ok(d->cx, qx_file_write(d->cx, path, text, strlen(text)));
}

static int desk_new(void **state)
{
    static desk d;
    d = (desk){
        .cx = qx_ctx_new(), .arena = qx_arena_new(), .folder = support_folder_new()};
    d.problems = qx_problems_new(d.arena);
    d.protocol = qx_path_join(d.arena, d.folder, "protocol.yaml");
    d.trial = qx_path_join(d.arena, d.folder, "trial.qx");
    d.data = qx_path_join(d.arena, d.folder, "data.csv");
    write_file(&d, d.protocol, protocol_text);
    *state = &d;
    return 0;
}

static int desk_free(void **state)
{
    desk *d = *state;
    support_folder_free(d->folder);
    qx_arena_free(d->arena);
    qx_ctx_free(d->cx);
    return 0;
}

static qx_status draw(desk *d, const char *trees, qx_laid_out *made)
{
    const qx_lay_out_wish wish = {.protocol = d->protocol,
                                  .trees = trees,
                                  .seed = 4,
                                  .path = d->trial,
                                  .by = "Ada"};
    return qx_lay_out(d->cx, &wish, d->problems, made);
}

static void lay_out(desk *d)
{
    qx_laid_out made = {0};
    assert_ok(d->cx, draw(d, NULL, &made));
    assert_string_equal(made.layout->kind, "blocks");
    qx_laid_out_free(&made);
}

static qx_status record(desk *d, bool accept_good, bool *stored, qx_receipt *receipt)
{
    const qx_record_wish wish = {.trial = d->trial,
                                 .file_count = 1,
                                 .file = &d->data,
                                 .by = "Ada",
                                 .reason = "",
                                 .accept_good = accept_good};
    return qx_record(d->cx, &wish, d->problems, d->arena, stored, receipt);
}

static void a_protocol_becomes_a_trial_file_once(void **state)
{
    desk *d = *state;
    qx_laid_out made = {0};
    lay_out(d);
    assert_true(qx_is_trial_file(d->trial));
    assert_false(qx_is_trial_file(d->protocol));
    assert_fails(d->cx, draw(d, NULL, &made), QX_E_EXISTS, "there already");
}

static void units_that_do_not_fit_leave_no_file(void **state)
{
    desk *d = *state;
    qx_laid_out made = {0};
    write_file(d,
               d->protocol,
               "quincunx: 1\nunits:\n  block: {count: 2}\n"
               "  tree: {within: block, count: 1}\ntreatments:\n"
               "  pinch: {levels: [none, early, late], on: tree}\nmeasure:\n"
               "  length: {kind: continuous, on: tree}\n");
    assert_int_equal(draw(d, NULL, &made), QX_E_INPUT);
    assert_int_equal(qx_problems_count(d->problems), 1);
    const qx_problem *problem = qx_problems_get(d->problems, 0);
    assert_int_equal(problem->at.line, 6);
    assert_string_equal(
        problem->wrong,
        "\"pinch\" has 3 levels, but there are only 2 of \"tree\" in all");
    assert_false(qx_file_exists(d->trial));
}

static void a_sampled_unit_cannot_be_treated(void **state)
{
    desk *d = *state;
    qx_laid_out made = {0};
    write_file(d,
               d->protocol,
               "quincunx: 1\nunits:\n  tree: {count: 4}\n"
               "  shoot: {within: tree, sample: true}\ntreatments:\n"
               "  dip: {levels: [none, early], on: shoot}\nmeasure:\n"
               "  length: {kind: continuous, on: shoot}\n");
    assert_int_equal(draw(d, NULL, &made), QX_E_INPUT);
    assert_int_equal(qx_problems_count(d->problems), 1);
    assert_non_null(strstr(qx_problems_get(d->problems, 0)->wrong, "sampled"));
    assert_false(qx_file_exists(d->trial));
}

static void recorded_data_come_back_with_their_treatments(void **state)
{
    desk *d = *state;
    qx_loaded loaded = {0};
    qx_receipt receipt = {0};
    bool stored = false;
    lay_out(d);
    write_file(d, d->data, "block,tree,length\n1,1,10.0\n1,2,20.5\n2,3,30\n");
    assert_ok(d->cx, record(d, false, &stored, &receipt));
    assert_true(stored);
    assert_int_equal(receipt.stored, 3);
    assert_ok(d->cx, qx_load(d->cx, d->trial, NULL, d->problems, &loaded));
    assert_int_equal(loaded.table->rows, 3);
    const qx_column *pinch = qx_table_find(loaded.table, "pinch");
    assert_non_null(pinch);
    /* 4 blocks stand first in the layout, then the trees of block 1, of block 2 ... */
    assert_int_equal(pinch->code[0], loaded.layout->level[4]);
    assert_int_equal(pinch->code[1], loaded.layout->level[5]);
    assert_int_equal(pinch->code[2], loaded.layout->level[9]);
    assert_true(qx_table_find(loaded.table, "length")->value[1] == 20.5);
    qx_loaded_free(&loaded);
}

static void problems_of_every_kind_mark_their_rows(void **state)
{
    desk *d = *state;
    qx_receipt receipt = {0};
    bool stored = false;
    lay_out(d);
    /* out of range; a label the layout lacks; a number that is none; two good rows */
    write_file(d, d->data, "block,tree,length\n1,1,100\n7,1,10\n1,2,x\n1,3,30\n2,1,40\n");
    assert_int_equal(record(d, false, &stored, &receipt), QX_E_INPUT);
    assert_false(stored);
    assert_int_equal(qx_problems_count(d->problems), 3);
    qx_ctx_clear(d->cx);
    d->problems = qx_problems_new(d->arena);
    assert_int_equal(record(d, true, &stored, &receipt), QX_E_INPUT);
    assert_true(stored);
    assert_int_equal(receipt.stored, 2);
    assert_int_equal(receipt.left_out, 3);
}

static void a_file_that_is_not_there_stores_nothing_even_if_good_rows_do(void **state)
{
    desk *d = *state;
    qx_receipt receipt = {0};
    bool stored = false;
    lay_out(d);
    assert_fails(
        d->cx, record(d, true, &stored, &receipt), QX_E_INPUT, "cannot be found");
    assert_false(stored);
}

static void a_trial_file_in_order_is_told_with_what_it_holds(void **state)
{
    desk *d = *state;
    qx_checked checked = {0};
    qx_receipt receipt = {0};
    bool stored = false;
    lay_out(d);
    write_file(d, d->data, "block,tree,length\n1,1,10\n");
    assert_ok(d->cx, record(d, false, &stored, &receipt));
    write_file(d, d->data, "block,tree,length\n1,1,11\n");
    assert_ok(d->cx, record(d, false, &stored, &receipt));
    assert_ok(d->cx, qx_check_trial(d->cx, d->trial, d->problems, d->arena, &checked));
    assert_int_equal(checked.seed, 4);
    assert_int_equal(checked.values, 1);
    assert_int_equal(checked.corrections, 1);
    assert_int_equal(checked.imports, 2);
    assert_string_equal(checked.created_by, "Ada");
}

static void the_new_protocol_is_valid_and_never_overwrites(void **state)
{
    desk *d = *state;
    const char *path = qx_path_join(d->arena, d->folder, "new.yaml");
    assert_ok(d->cx, qx_new_protocol(d->cx, path));
    assert_ok(d->cx, qx_check_protocol(d->cx, path, NULL, d->problems));
    assert_int_equal(qx_problems_count(d->problems), 0);
    assert_int_equal(qx_problems_notes(d->problems), 0);
    assert_fails(d->cx, qx_new_protocol(d->cx, path), QX_E_EXISTS, "there already");
}

static void what_cannot_be_laid_out_can_be_analysed_and_is_a_note(void **state)
{
    desk *d = *state;
    write_file(d,
               d->protocol,
               "quincunx: 1\nunits:\n  block: {count: 2}\n"
               "  tree: {within: block, count: 3}\ntreatments:\n"
               "  pinch: {levels: [a, b, c, d, e, f], on: tree}\nmeasure:\n"
               "  length: {kind: continuous, on: tree}\n");
    assert_ok(d->cx, qx_check_protocol(d->cx, d->protocol, NULL, d->problems));
    assert_int_equal(qx_problems_notes(d->problems), 1);
    assert_non_null(
        strstr(qx_problems_get_note(d->problems, 0)->wrong, "expected 3 such"));
}

static qx_status whole_way(qx_ctx *cx, void *given)
{
    desk d = *(desk *)given;
    qx_laid_out made = {0};
    qx_receipt receipt = {0};
    bool stored = false;
    (void)remove(d.trial);
    qx_arena *arena = qx_arena_new();
    d.cx = cx;
    d.arena = arena;
    d.problems = arena == NULL ? NULL : qx_problems_new(arena);
    if (d.problems == NULL) {
        qx_arena_free(arena);
        return QX_E_NOMEM;
    }
    qx_status status = draw(&d, NULL, &made);
    qx_laid_out_free(&made);
    if (status == QX_OK) {
        status = record(&d, false, &stored, &receipt);
    }
    qx_loaded loaded = {0};
    if (status == QX_OK) {
        status = qx_load(cx, d.trial, NULL, d.problems, &loaded);
        qx_loaded_free(&loaded);
    }
    qx_arena_free(arena);
    return status;
}

static void no_memory_is_told_all_the_way(void **state)
{
    desk *d = *state;
    write_file(d, d->data, "block,tree,length\n1,1,10\n1,2,20\n");
    assert_true(fail_each_allocation(whole_way, d) > 50);
}

/* Sixteen places in two rows, trunks in two sizes that alternate: blocks of three. */
static const char *tree_list(desk *d)
{
    qx_text *text = qx_text_new(d->arena);
    qx_text_add(text, "row,place,circumference_cm,status\n");
    for (int i = 0; i < 16; i++) {
        qx_text_printf(text,
                       "%d,%d,%g,%s\n",
                       i / 8 + 1,
                       i % 8 + 1,
                       (i % 2 == 0 ? 18.0 : 24.0) + 0.1 * i,
                       i == 5 ? "missing" : "");
    }
    const char *path = qx_path_join(d->arena, d->folder, "trees.csv");
    write_file(d, path, qx_text_get(text));
    return path;
}

static void a_tree_list_gives_blocks_of_like_trees(void **state)
{
    desk *d = *state;
    qx_laid_out made = {0};
    qx_checked checked = {0};
    assert_ok(d->cx, draw(d, tree_list(d), &made));
    assert_int_equal(made.placed.usable, 15);
    assert_int_equal(made.placed.needed, 12);
    assert_true(made.placed.within < 0.5 * made.placed.within_by_place);
    size_t trees = 0;
    for (size_t i = 0; i < made.layout->placed_count; i++) {
        const qx_stand *stand = &made.layout->stand[i];
        if (made.layout->placed[i].unit == 1) {
            trees++;
            assert_true(stand->row >= 1.0 && stand->place >= 1.0 && stand->size > 20.0);
            assert_true(stand->row != 1.0 || stand->place != 6.0); /* missing */
        }
    }
    assert_int_equal(trees, 12);
    assert_ok(d->cx, qx_check_trial(d->cx, d->trial, d->problems, d->arena, &checked));
    assert_string_equal(checked.trees_digest, made.trees->digest);
    qx_laid_out_free(&made);
}

static void too_few_trees_leave_no_file(void **state)
{
    desk *d = *state;
    qx_laid_out made = {0};
    const char *path = qx_path_join(d->arena, d->folder, "trees.csv");
    write_file(d, path, "row,place\n1,1\n1,2\n");
    assert_fails(d->cx, draw(d, path, &made), QX_E_INPUT, "the trial needs 12");
    assert_false(qx_file_exists(d->trial));
}

/* What was done otherwise counts in the analysis, is told by check, and the drawn layout
 * stays as it was drawn. */
static void a_change_of_the_layout_is_kept_with_its_reason(void **state)
{
    desk *d = *state;
    qx_laid_out made = {0};
    qx_checked checked = {0};
    size_t changes = 0;
    assert_ok(d->cx, draw(d, NULL, &made));
    const size_t first = 4; /* four blocks come first */
    const uint32_t drawn = made.layout->level[first];
    const char *other = drawn == 0 ? "late" : "none";
    write_file(
        d, d->data, qx_arena_printf(d->arena, "block,tree,pinch\n1,1,%s\n", other));
    const qx_change_wish wish = {
        .trial = d->trial, .done = d->data, .by = "Bo", .reason = "labels were swapped"};
    assert_ok(d->cx, qx_change_layout(d->cx, &wish, d->problems, &changes));
    assert_int_equal(changes, 1);
    assert_ok(d->cx, qx_change_layout(d->cx, &wish, d->problems, &changes));
    assert_int_equal(changes, 0); /* nothing new */
    assert_ok(d->cx, qx_check_trial(d->cx, d->trial, d->problems, d->arena, &checked));
    assert_int_equal(checked.change_count, 1);
    assert_non_null(strstr(checked.change[0], "labels were swapped"));
    qx_loaded loaded = {0};
    assert_ok(d->cx, qx_load(d->cx, d->trial, NULL, d->problems, &loaded));
    assert_string_equal(loaded.protocol->treatment[0].level[loaded.layout->level[first]],
                        other);
    qx_loaded_free(&loaded);
    qx_laid_out_free(&made);
}

static void a_change_that_cannot_be_changes_nothing(void **state)
{
    desk *d = *state;
    size_t changes = 0;
    lay_out(d);
    write_file(d, d->data, "block,tree,pinch\n1,9,late\n1,1,never\n,1,late\n");
    const qx_change_wish wish = {
        .trial = d->trial, .done = d->data, .by = "Bo", .reason = "why"};
    assert_fails(d->cx,
                 qx_change_layout(d->cx, &wish, d->problems, &changes),
                 QX_E_INPUT,
                 "has problems");
    assert_int_equal(qx_problems_count(d->problems), 3);
    assert_int_equal(changes, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define T(name) cmocka_unit_test_setup_teardown(name, desk_new, desk_free)
        T(a_protocol_becomes_a_trial_file_once),
        T(units_that_do_not_fit_leave_no_file),
        T(a_sampled_unit_cannot_be_treated),
        T(recorded_data_come_back_with_their_treatments),
        T(problems_of_every_kind_mark_their_rows),
        T(a_file_that_is_not_there_stores_nothing_even_if_good_rows_do),
        T(a_trial_file_in_order_is_told_with_what_it_holds),
        T(the_new_protocol_is_valid_and_never_overwrites),
        T(what_cannot_be_laid_out_can_be_analysed_and_is_a_note),
        T(a_tree_list_gives_blocks_of_like_trees),
        T(too_few_trees_leave_no_file),
        T(a_change_of_the_layout_is_kept_with_its_reason),
        T(a_change_that_cannot_be_changes_nothing),
        T(no_memory_is_told_all_the_way),
#undef T
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
