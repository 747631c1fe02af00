#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/digest.h"
#include "store/db.h"
#include "support.h"
#include "trial.h"
#include "trial/check.h"
#include "trial/read_yaml.h"
#include "trial/structure.h"

size_t trial_problem_count;
char trial_last_problem[400];

static const char protocol_text[] =
    "quincunx: 1\n"
    "title: A small trial\n"
    "seasons: [2024, 2025]\n"
    "units:\n"
    "  block: {count: 3}\n"
    "  tree: {within: block, count: 2}\n"
    "  limb: {within: tree, count: 2}\n"
    "  shoot: {within: limb, sample: true}\n"
    "treatments:\n"
    "  pinch: {levels: [none, early], on: tree}\n"
    "covariates:\n"
    "  trunk: {on: tree, unit: cm2}\n"
    "measure:\n"
    "  length: {kind: continuous, on: shoot, unit: cm, range: [0, 250]}\n"
    "  girth: {kind: continuous, on: limb, unit: cm}\n"
    "  grade: {kind: ordinal, levels: [low, high], on: tree}\n"
    "  sets: {kind: proportion, of: buds, on: limb}\n";

static void make_layout(trial *t)
{
    qx_layout_spec spec = {0};
    assert_ok(t->cx, qx_structure_of(t->cx, t->arena, t->protocol, &spec));
    assert_ok(t->cx, qx_layout_make(t->cx, &spec, 11, &t->layout));
}

int trial_new(void **state)
{
    return trial_new_from(state, protocol_text);
}

int trial_new_from(void **state, const char *protocol)
{
    trial *t = calloc(1, sizeof *t);
    assert_non_null(t);
    t->cx = qx_ctx_new();
    t->arena = qx_arena_new();
    t->folder = support_folder_new();
    t->path = qx_path_join(t->arena, t->folder, "trial.qx");
    qx_problems *problems = qx_problems_new(t->arena);
    assert_ok(
        t->cx,
        qx_protocol_parse(
            t->cx, "small.yaml", protocol, strlen(protocol), problems, &t->protocol));
    make_layout(t);
    assert_ok(t->cx,
              qx_trial_file_create(t->cx, t->path, t->protocol, t->layout, NULL, "Ada"));
    *state = t;
    return 0;
}

int trial_free(void **state)
{
    trial *t = *state;
    qx_layout_free(t->layout);
    qx_protocol_free(t->protocol);
    support_folder_free(t->folder);
    qx_arena_free(t->arena);
    qx_ctx_free(t->cx);
    free(t);
    return 0;
}

static void keep_problems(const qx_problems *problems)
{
    trial_problem_count = qx_problems_count(problems);
    trial_last_problem[0] = '\0';
    if (trial_problem_count > 0) {
        const qx_problem *last = qx_problems_get(problems, trial_problem_count - 1);
        (void)snprintf(trial_last_problem,
                       sizeof trial_last_problem,
                       "%zu: %s; %s",
                       last->at.line,
                       last->wrong,
                       last->expected);
    }
}

static qx_status store(trial *t,
                       qx_data_part part,
                       bool accept_good,
                       qx_problems *problems,
                       qx_receipt *receipt)
{
    qx_trial_file *file = NULL;
    const qx_record_order order = {.protocol = t->protocol,
                                   .layout = t->layout,
                                   .part_count = 1,
                                   .part = &part,
                                   .by = "Ben",
                                   .reason = "read again",
                                   .accept_good = accept_good};
    assert_ok(t->cx, qx_trial_file_open(t->cx, t->path, QX_TO_RECORD, &file));
    const qx_status status =
        qx_observations_record(t->cx, file, &order, problems, t->arena, receipt);
    qx_trial_file_close(file);
    return status;
}

qx_status trial_record(
    trial *t, const char *name, const char *text, bool accept_good, qx_receipt *receipt)
{
    qx_table *table = NULL;
    bool *bad = NULL;
    char digest[65];
    qx_problems *problems = qx_problems_new(t->arena);
    qx_digest(text, strlen(text), digest);
    (void)qx_data_parse(
        t->cx, t->protocol, name, text, strlen(text), true, problems, &table, &bad);
    qx_ctx_clear(t->cx);
    assert_non_null(table);
    const qx_status status =
        store(t, (qx_data_part){table, bad, digest}, accept_good, problems, receipt);
    keep_problems(problems);
    qx_table_free(table);
    return status;
}

qx_table *trial_table(trial *t)
{
    qx_trial_file *file = NULL;
    qx_table *table = NULL;
    assert_ok(t->cx, qx_trial_file_open(t->cx, t->path, QX_TO_READ, &file));
    assert_ok(t->cx, qx_observations_table(t->cx, file, t->protocol, t->layout, &table));
    qx_trial_file_close(file);
    return table;
}

long long trial_ask(trial *t, const char *sql)
{
    qx_db *db = NULL;
    int64_t out = 0;
    assert_ok(t->cx, qx_db_open(t->cx, t->path, QX_DB_READ, &db));
    assert_ok(t->cx, qx_db_whole(t->cx, db, sql, -1, &out));
    qx_db_close(db);
    return out;
}
