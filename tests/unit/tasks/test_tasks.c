/* Protocol to trial file, data into it, and out again: the joins between the floors. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "base/file.h"
#include "support.h"
#include "tasks/analyse_file.h"
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

static void lay_out(desk *d)
{
    qx_laid_out made = {0};
    assert_ok(d->cx,
              qx_lay_out(d->cx, d->protocol, 4, d->trial, "Ada", d->problems, &made));
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
    assert_fails(d->cx,
                 qx_lay_out(d->cx, d->protocol, 4, d->trial, "Ada", d->problems, &made),
                 QX_E_EXISTS,
                 "there already");
}

static void units_that_do_not_fit_leave_no_file(void **state)
{
    desk *d = *state;
    qx_laid_out made = {0};
    write_file(d,
               d->protocol,
               "quincunx: 1\nunits:\n  block: {count: 4}\n"
               "  tree: {within: block, count: 4}\ntreatments:\n"
               "  pinch: {levels: [none, early, late], on: tree}\nmeasure:\n"
               "  length: {kind: continuous, on: tree}\n");
    assert_int_equal(
        qx_lay_out(d->cx, d->protocol, 4, d->trial, "Ada", d->problems, &made),
        QX_E_INPUT);
    assert_int_equal(qx_problems_count(d->problems), 1);
    const qx_problem *problem = qx_problems_get(d->problems, 0);
    assert_int_equal(problem->at.line, 6);
    assert_string_equal(problem->wrong,
                        "pinch has 3 levels, but each block holds 4 of tree");
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
    assert_int_equal(
        qx_lay_out(d->cx, d->protocol, 4, d->trial, "Ada", d->problems, &made),
        QX_E_INPUT);
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
               "quincunx: 1\nunits:\n  tree: {count: 10}\ntreatments:\n"
               "  pinch: {levels: [none, early, late], on: tree}\nmeasure:\n"
               "  length: {kind: continuous, on: tree}\n");
    assert_ok(d->cx, qx_check_protocol(d->cx, d->protocol, NULL, d->problems));
    assert_int_equal(qx_problems_notes(d->problems), 1);
    assert_non_null(strstr(qx_problems_get_note(d->problems, 0)->wrong,
                           "expected a multiple of 3: 9, 12, 15"));
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
    qx_status status = qx_lay_out(cx, d.protocol, 4, d.trial, "Ada", d.problems, &made);
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
        T(no_memory_is_told_all_the_way),
#undef T
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
