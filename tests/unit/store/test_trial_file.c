/* Trial files that are whole, and those that are not. */
#include <fcntl.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "store/db.h"
#include "support.h"
#include "trial.h"

static void a_new_file_is_what_the_contract_says(void **state)
{
    trial *t = *state;
    assert_int_equal(trial_ask(t, "PRAGMA application_id"), QX_APPLICATION_ID);
    assert_int_equal(trial_ask(t, "PRAGMA user_version"), 3);
    assert_int_equal(trial_ask(t, "PRAGMA foreign_keys"), 1);
    assert_int_equal(trial_ask(t, "PRAGMA synchronous"), 2); /* FULL */
    assert_int_equal(trial_ask(t,
                               "SELECT 'wal' = (SELECT journal_mode FROM"
                               " pragma_journal_mode)"),
                     1);
    /* every table STRICT */
    assert_int_equal(trial_ask(t,
                               "SELECT count(*) FROM pragma_table_list WHERE schema ="
                               " 'main' AND name NOT LIKE 'sqlite%' AND strict = 0"),
                     0);
    assert_true(trial_ask(t, "SELECT count(*) FROM pragma_table_list WHERE strict = 1") >=
                11);
}

static void no_files_are_left_beside_it(void **state)
{
    trial *t = *state;
    qx_trial_file *file = NULL;
    for (int use = 0; use < 2; use++) {
        assert_ok(t->cx,
                  qx_trial_file_open(
                      t->cx, t->path, use == 0 ? QX_TO_READ : QX_TO_RECORD, &file));
        qx_trial_file_close(file);
        const char *log = qx_arena_printf(t->arena, "%s-wal", t->path);
        assert_false(qx_file_exists(log));
    }
}

static void layout_and_protocol_come_back(void **state)
{
    trial *t = *state;
    qx_trial_file *file = NULL;
    qx_protocol *protocol = NULL;
    qx_layout *layout = NULL;
    qx_trial_about about = {0};
    char before[65];
    char after[65];
    assert_ok(t->cx, qx_trial_file_open(t->cx, t->path, QX_TO_READ, &file));
    assert_ok(t->cx,
              qx_trial_file_protocol(t->cx, file, qx_problems_new(t->arena), &protocol));
    assert_string_equal(protocol->digest, t->protocol->digest);
    assert_ok(t->cx, qx_trial_file_layout(t->cx, file, protocol, &layout));
    assert_ok(t->cx, qx_trial_layout_digest(t->cx, t->protocol, t->layout, before));
    assert_ok(t->cx, qx_trial_layout_digest(t->cx, protocol, layout, after));
    assert_string_equal(before, after);
    assert_int_equal(layout->seed, 11);
    assert_string_equal(layout->kind, "blocks");
    assert_string_equal(layout->describe, t->layout->describe);
    assert_ok(t->cx, qx_trial_file_about(t->cx, file, t->arena, &about));
    assert_string_equal(about.created_by, "Ada");
    assert_string_equal(about.layout_digest, before);
    assert_int_equal(about.values, 0);
    qx_layout_free(layout);
    qx_protocol_free(protocol);
    qx_trial_file_close(file);
}

static void a_file_is_never_overwritten(void **state)
{
    trial *t = *state;
    assert_fails(
        t->cx,
        qx_trial_file_create(t->cx, t->path, t->protocol, t->layout, NULL, "Ada"),
        QX_E_EXISTS,
        "trial.qx");
}

static void a_file_is_removed_with_what_lies_beside_it(void **state)
{
    trial *t = *state;
    const char *log = qx_arena_printf(t->arena, "%s-wal", t->path);
    assert_ok(t->cx, qx_file_write(t->cx, log, "", 0));
    assert_ok(t->cx, qx_trial_file_remove(t->cx, t->path));
    assert_false(qx_file_exists(t->path));
    assert_false(qx_file_exists(log));
    assert_ok(t->cx, qx_trial_file_remove(t->cx, t->path));
    assert_fails(
        t->cx, qx_trial_file_remove(t->cx, t->folder), QX_E_IO, "could not be removed");
}

static void write_bytes(const char *path, const char *bytes, size_t length)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    assert_int_equal(fclose(file), 0);
}

static void will_not_open(trial *t, const char *path, const char *part)
{
    qx_trial_file *file = NULL;
    assert_fails(
        t->cx, qx_trial_file_open(t->cx, path, QX_TO_READ, &file), QX_E_INPUT, part);
    assert_fails(
        t->cx, qx_trial_file_open(t->cx, path, QX_TO_RECORD, &file), QX_E_INPUT, part);
    assert_null(file);
}

static void what_is_no_trial_file_is_told(void **state)
{
    trial *t = *state;
    const char *path = qx_path_join(t->arena, t->folder, "other.qx");
    will_not_open(t, path, "cannot be found");
    will_not_open(t, t->folder, "is not a file");
    write_bytes(path, "", 0);
    will_not_open(t, path, "is empty");
    write_bytes(path, "quincunx: 1\n", 12);
    will_not_open(t, path, "is not a trial file");
    char junk[4096] = "SQLite format 3";
    memset(junk + 16, 0x55, sizeof junk - 16);
    write_bytes(path, junk, sizeof junk);
    will_not_open(t, path, "damaged or not a trial file");
}

static void run_sql(trial *t, const char *path, const char *sql)
{
    qx_db *db = NULL;
    assert_ok(t->cx, qx_db_open(t->cx, path, QX_DB_WRITE, &db));
    assert_ok(t->cx, qx_db_run(t->cx, db, sql));
    qx_db_close(db);
}

static void foreign_and_newer_files_are_told(void **state)
{
    trial *t = *state;
    run_sql(t, t->path, "PRAGMA user_version = 99");
    will_not_open(t, t->path, "newer version of this program (schema 99)");
    run_sql(t, t->path, "PRAGMA application_id = 7");
    will_not_open(t, t->path, "is a database, but not a trial file");
}

static void a_file_without_its_trial_is_told(void **state)
{
    trial *t = *state;
    run_sql(t, t->path, "DELETE FROM layout");
    will_not_open(t, t->path, "holds no trial");
}

static void damage_is_told(void **state)
{
    trial *t = *state;
    /* Pages in the middle of the file overwritten, as a failing disk would. */
    const int fd = open(t->path, O_RDWR);
    assert_true(fd >= 0);
    char junk[4096];
    memset(junk, 0xa5, sizeof junk);
    const off_t size = lseek(fd, 0, SEEK_END);
    assert_true(size > (off_t)5 * 4096);
    for (off_t at = 4096; at + 4096 <= size; at += 4096) {
        assert_int_equal(pwrite(fd, junk, sizeof junk, at), sizeof junk);
    }
    assert_int_equal(close(fd), 0);
    will_not_open(t, t->path, "damaged");
}

static void a_file_cut_short_is_told(void **state)
{
    trial *t = *state;
    assert_int_equal(truncate(t->path, (off_t)3 * 4096), 0);
    will_not_open(t, t->path, "damaged");
}

static void a_changed_layout_does_not_fit(void **state)
{
    trial *t = *state;
    qx_trial_file *file = NULL;
    qx_layout *layout = NULL;
    run_sql(t, t->path, "UPDATE placed_level SET level = 'late' WHERE placed = 3");
    assert_ok(t->cx, qx_trial_file_open(t->cx, t->path, QX_TO_READ, &file));
    assert_fails(t->cx,
                 qx_trial_file_layout(t->cx, file, t->protocol, &layout),
                 QX_E_INPUT,
                 "does not fit its protocol");
    qx_trial_file_close(file);
}

static void somebody_else_writing_is_waited_for_and_told(void **state)
{
    trial *t = *state;
    qx_db *other = NULL;
    qx_receipt r = {0};
    assert_ok(t->cx, qx_db_open(t->cx, t->path, QX_DB_WRITE, &other));
    assert_ok(t->cx, qx_db_begin(t->cx, other));
    const qx_status status = trial_record(
        t, "a.csv", "season,block,tree,limb,girth\n2024,1,1,1,2.5\n", false, &r);
    assert_fails(t->cx, status, QX_E_IO, "another program is writing");
    qx_db_close(other);
    assert_ok(
        t->cx,
        trial_record(
            t, "a.csv", "season,block,tree,limb,girth\n2024,1,1,1,2.5\n", false, &r));
}

static qx_status create_again(qx_ctx *cx, void *given)
{
    trial *t = given;
    char path[400];
    (void)snprintf(path, sizeof path, "%s/again.qx", t->folder);
    const qx_status status =
        qx_trial_file_create(cx, path, t->protocol, t->layout, NULL, "Ada");
    if (status != QX_OK) {
        assert_false(qx_file_exists(path));
    }
    return status;
}

static void no_memory_leaves_no_file(void **state)
{
    assert_true(fail_each_allocation(create_again, *state) > 10);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define T(name) cmocka_unit_test_setup_teardown(name, trial_new, trial_free)
        T(a_new_file_is_what_the_contract_says),
        T(no_files_are_left_beside_it),
        T(layout_and_protocol_come_back),
        T(a_file_is_never_overwritten),
        T(a_file_is_removed_with_what_lies_beside_it),
        T(what_is_no_trial_file_is_told),
        T(foreign_and_newer_files_are_told),
        T(a_file_without_its_trial_is_told),
        T(damage_is_told),
        T(a_file_cut_short_is_told),
        T(a_changed_layout_does_not_fit),
        T(somebody_else_writing_is_waited_for_and_told),
        T(no_memory_leaves_no_file),
#undef T
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
