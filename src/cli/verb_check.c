/* cli/verb_check.c - every problem of a protocol, its data, or a trial file. */
#include <inttypes.h>

#include "base/json_write.h"
#include "cli/verb.h"
#include "tasks/check_task.h"
#include "tasks/load.h"

static void write_problem(qx_json *json, const qx_problem *problem, bool expected)
{
    qx_json_open(json, NULL, '{');
    qx_json_text(json, "file", problem->file);
    qx_json_whole(
        json, "line", (long long)(problem->at.line == 0 ? 1 : problem->at.line));
    qx_json_whole(
        json, "column", (long long)(problem->at.column == 0 ? 1 : problem->at.column));
    qx_json_text(json, expected ? "wrong" : "note", problem->wrong);
    if (expected) {
        qx_json_text(json, "expected", problem->expected);
    }
    qx_json_close(json, '}');
}

static void write_layout(qx_json *json, qx_arena *arena, const qx_checked *checked)
{
    qx_json_open(json, "layout", '{');
    qx_json_text(json, "kind", checked->kind);
    qx_json_text(json, "describe", checked->describe);
    /* As text: not every reader of JSON keeps 64-bit numbers. */
    qx_json_text(json, "seed", qx_arena_printf(arena, "%" PRIu64, checked->seed));
    qx_json_whole(json, "version", checked->version);
    qx_json_text(json, "drawn_at", checked->created_at);
    qx_json_text(json, "drawn_by", checked->created_by);
    qx_json_text(json, "trees", checked->trees);
    qx_json_text(json, "trees_digest", checked->trees_digest);
    qx_json_open(json, "changes", '[');
    for (size_t i = 0; i < checked->change_count; i++) {
        qx_json_text(json, NULL, checked->change[i]);
    }
    qx_json_close(json, ']');
    qx_json_close(json, '}');
    qx_json_whole(json, "files", (long long)checked->imports);
    qx_json_whole(json, "values", (long long)checked->values);
    qx_json_whole(json, "corrections", (long long)checked->corrections);
}

static qx_status answer_json(qx_call *call, const qx_checked *checked)
{
    qx_json *json = qx_json_new(call->arena, call->answer);
    if (json == NULL) {
        return qx_fail(call->cx, QX_E_NOMEM, "no memory for the answer");
    }
    qx_json_open(json, NULL, '{');
    qx_json_whole(json, "quincunx", 1);
    qx_json_open(json, "problems", '[');
    for (size_t i = 0; i < qx_problems_stored(call->problems); i++) {
        write_problem(json, qx_problems_get(call->problems, i), true);
    }
    qx_json_close(json, ']');
    qx_json_open(json, "notes", '[');
    for (size_t i = 0; i < qx_problems_notes(call->problems); i++) {
        write_problem(json, qx_problems_get_note(call->problems, i), false);
    }
    qx_json_close(json, ']');
    if (checked->kind != NULL) {
        write_layout(json, call->arena, checked);
    }
    qx_json_close(json, '}');
    return QX_OK;
}

static void answer_trial(qx_call *call, const qx_checked *checked)
{
    qx_text_printf(call->answer,
                   "%s\nSeed %" PRIu64 ", randomisation %" PRIu32 ", drawn %s by %s.\n"
                   "The layout is what was drawn.\n"
                   "%zu values, %zu corrections; data files: %zu.\n",
                   checked->describe,
                   checked->seed,
                   checked->version,
                   checked->created_at,
                   checked->created_by,
                   checked->values,
                   checked->corrections,
                   checked->imports);
    if (checked->trees != NULL) {
        qx_text_printf(call->answer,
                       "Trees from %s (SHA-256 %.12s...).\n",
                       checked->trees,
                       checked->trees_digest);
    }
    for (size_t i = 0; i < checked->change_count; i++) {
        qx_text_printf(call->answer, "Done otherwise: %s\n", checked->change[i]);
    }
}

static qx_status check_trial(qx_call *call, qx_checked *checked)
{
    if (call->file_count > 1) {
        return qx_fail(call->cx,
                       QX_E_USAGE,
                       "a trial file holds its data: expected check FILE.qx, and record "
                       "for new data");
    }
    return qx_check_trial(call->cx, call->file[0], call->problems, call->arena, checked);
}

static qx_status run(qx_call *call)
{
    qx_checked checked = {0};
    const bool trial = qx_is_trial_file(call->file[0]);
    const qx_status status =
        trial ? check_trial(call, &checked)
              : qx_check_protocol(call->cx,
                                  call->file[0],
                                  call->file_count > 1 ? call->file[1] : NULL,
                                  call->problems);
    if (status != QX_OK &&
        (status != QX_E_INPUT || qx_problems_count(call->problems) == 0)) {
        return status;
    }
    if (qx_call_has(call, QX_FLAG_JSON)) {
        QX_TRY(answer_json(call, &checked));
        return status;
    }
    QX_TRY(status);
    if (trial) {
        answer_trial(call, &checked);
    }
    qx_text_add(call->answer, "no problems\n");
    return QX_OK;
}

const qx_verb qx_verb_check = {
    .name = "check",
    .summary = "every problem of a protocol, its data, or a trial file",
    .usage = "PROTOCOL [DATA.csv]  or  FILE.qx",
    .about =
        "Lists all problems, each on a line: file:line:column: what is wrong; what "
        "was\nexpected. Notes say what was assumed. For a trial file: is it whole, and "
        "is its\nlayout what was drawn from the seed?\n",
    .example = "  quincunx check pears.yaml lengths.csv\n  quincunx check pears.qx\n",
    .flags = QX_FLAG_JSON,
    .files_least = 1,
    .files_most = 2,
    .run = run};
