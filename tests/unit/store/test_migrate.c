/* Files of older schemas: read as they are, brought up to date without loss. Each is built here
 * by the statements of its own schema. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "base/file.h"
#include "base/text.h"
#include "store/db.h"
#include "store/migrate.h"
#include "store/schema.h"
#include "support.h"
#include "trial.h"

/* Rows with gaps in their ids, revisions, a missing value, two files. Thing 3 is placed
 * thing 9 (tree 1 of block 1: 3 blocks and 6 trees, then 12 limbs): a limb. */
static const char rows[] =
    "INSERT INTO import VALUES (4, 'a.csv', (SELECT digest FROM trial),"
    " '2024-08-01T10:00:00Z', 1, '');\n"
    "INSERT INTO import VALUES (9, 'b.csv', (SELECT digest FROM layout),"
    " '2024-09-01T10:00:00Z', 1, 'misread');\n"
    "INSERT INTO thing VALUES (3, 'p9', 'limb', 'p3', NULL);\n"
    "INSERT INTO thing_place VALUES (3, 9);\n"
    "INSERT INTO observation VALUES (11, 3, '2024', 'girth', 1, '2.10', 1, 4);\n"
    "INSERT INTO observation VALUES (15, 3, '2025', 'girth', 1, NULL, 2, 4);\n"
    "INSERT INTO observation VALUES (16, 3, '2024', 'girth', 2, '2.20', 1, 9);\n"
    "INSERT INTO observation VALUES (17, 3, '2025', 'girth', 2, '3.30', 2, 9);\n";

static const char *const copied[] = {
    "person", "trial", "layout", "placed", "placed_parent", "placed_level"};

static void run(trial *t, qx_db *db, const char *sql)
{
    assert_non_null(sql);
    assert_ok(t->cx, qx_db_run(t->cx, db, sql));
}

static void make_tables(trial *t, qx_db *db, const char *const step[])
{
    qx_text *sql = qx_text_new(t->arena);
    for (size_t i = 0; step[i] != NULL; i++) {
        qx_text_add(sql, step[i]);
    }
    run(t, db, qx_text_get(sql));
}

/* The fixture's trial as a program of that schema would have written it. */
static void make_old(trial *t, int schema)
{
    qx_db *db = NULL;
    qx_bytes bytes = {0};
    const char *path = qx_path_join(t->arena, t->folder, "old.qx");
    assert_ok(t->cx, qx_db_open_memory(t->cx, &db));
    make_tables(t, db, qx_schema_1);
    if (schema > 1) {
        make_tables(t, db, qx_schema_2);
    }
    run(t, db, qx_arena_printf(t->arena, "ATTACH '%s' AS made", t->path));
    for (size_t i = 0; i < sizeof copied / sizeof *copied; i++) {
        run(t,
            db,
            qx_arena_printf(
                t->arena, "INSERT INTO %s SELECT * FROM made.%s", copied[i], copied[i]));
    }
    run(t, db, "DETACH made");
    run(t, db, rows);
    run(t,
        db,
        qx_arena_printf(t->arena,
                        "PRAGMA user_version = %d; PRAGMA application_id = %d",
                        schema,
                        QX_APPLICATION_ID));
    assert_ok(t->cx, qx_db_bytes(t->cx, db, t->arena, &bytes));
    qx_db_close(db);
    assert_ok(t->cx, qx_file_create(t->cx, path, bytes.bytes, bytes.length));
    t->path = path;
}

static void values_are_there(trial *t, size_t expected_rows, double last)
{
    qx_table *table = trial_table(t);
    const qx_column *girth = qx_table_find(table, "girth");
    assert_int_equal(table->rows, expected_rows);
    assert_true(girth->value[0] == 2.2);
    assert_int_equal(girth->exact[0].coefficient, 220);
    assert_true(girth->value[1] == last);
    qx_table_free(table);
}

/* Every row as it was, and nothing else. */
static void rows_are_kept(trial *t)
{
    assert_int_equal(
        trial_ask(t,
                  "SELECT group_concat(id || season || date || quantity || revision ||"
                  " coalesce(value, '-') || row || import || thing, ' ') ="
                  " '112024girth12.10143 152025girth1-243 162024girth22.20193"
                  " 172025girth23.30293' FROM (SELECT * FROM observation ORDER BY id)"),
        1);
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM import"), 2);
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM pragma_foreign_key_check"), 0);
    assert_int_equal(trial_ask(t,
                               "SELECT count(*) FROM pragma_table_list WHERE schema ="
                               " 'main' AND (name = 'observation_3' OR (strict = 0 AND"
                               " name NOT LIKE 'sqlite%'))"),
                     0);
}

static void old_files_come_through(trial *t, int schema)
{
    qx_trial_file *file = NULL;
    qx_receipt r = {0};
    make_old(t, schema);
    values_are_there(t, 2, 3.3); /* reading does not change the file */
    assert_int_equal(trial_ask(t, "PRAGMA user_version"), schema);
    assert_ok(t->cx, qx_trial_file_open(t->cx, t->path, QX_TO_RECORD, &file));
    qx_trial_file_close(file);
    assert_int_equal(trial_ask(t, "PRAGMA user_version"), QX_SCHEMA);
    rows_are_kept(t);
    values_are_there(t, 2, 3.3);
    /* the limb is known again, and a correction counts on from its last revision */
    const char *text = "season,block,tree,limb,girth\n2024,1,1,1,2.2\n2025,1,1,1,3.4\n";
    assert_ok(t->cx, trial_record(t, "c.csv", text, false, &r));
    assert_int_equal(r.repeated, 1);
    assert_int_equal(r.correction_count, 1);
    assert_int_equal(trial_ask(t, "SELECT max(revision) FROM observation"), 3);
    assert_int_equal(trial_ask(t, "SELECT max(id) FROM observation"), 18);
    values_are_there(t, 2, 3.4);
}

static void schema_1_comes_through(void **state)
{
    old_files_come_through(*state, 1);
}

static void schema_2_comes_through(void **state)
{
    old_files_come_through(*state, 2);
}

/* A step that fails half way leaves the file as it was. */
static void a_failed_step_changes_nothing(void **state)
{
    trial *t = *state;
    qx_trial_file *file = NULL;
    qx_db *db = NULL;
    make_old(t, 2);
    assert_ok(t->cx, qx_db_open(t->cx, t->path, QX_DB_WRITE, &db));
    run(t, db, "CREATE VIEW observation_4 AS SELECT no_such FROM observation");
    qx_db_close(db);
    assert_int_not_equal(qx_trial_file_open(t->cx, t->path, QX_TO_RECORD, &file), QX_OK);
    qx_ctx_clear(t->cx);
    assert_int_equal(trial_ask(t, "PRAGMA user_version"), 2);
    assert_int_equal(trial_ask(t, "SELECT count(*) FROM observation"), 4);
    assert_int_equal(
        trial_ask(t,
                  "SELECT count(*) FROM pragma_table_list WHERE name = 'observation_3'"),
        0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define T(name) cmocka_unit_test_setup_teardown(name, trial_new, trial_free)
        T(schema_1_comes_through),
        T(schema_2_comes_through),
        T(a_failed_step_changes_nothing),
#undef T
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
