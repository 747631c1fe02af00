/* cli/verb_record.c - data into a trial file. */
#include <stdint.h>

#include "base/json_write.h"
#include "cli/verb.h"
#include "tasks/record.h"

static void answer_text(qx_call *call, const qx_receipt *receipt)
{
    qx_text_printf(call->answer,
                   "%zu rows read, %zu left out\n%zu values stored, %zu corrected, %zu "
                   "there already, %zu missing\n",
                   receipt->rows,
                   receipt->left_out,
                   receipt->stored,
                   receipt->correction_count,
                   receipt->repeated,
                   receipt->blank);
    for (size_t i = 0; i < receipt->correction_count; i++) {
        const qx_correction *c = &receipt->correction[i];
        qx_text_printf(call->answer,
                       "corrected: %s of %s%s%s%s%s: %s was %s (%s, line %zu)\n",
                       c->quantity,
                       c->thing,
                       c->season[0] == '\0' ? "" : ", season ",
                       c->season,
                       c->date[0] == '\0' ? "" : ", on ",
                       c->date,
                       c->after,
                       c->before,
                       c->file,
                       c->line);
    }
}

static qx_status answer_json(qx_call *call, const qx_receipt *receipt)
{
    qx_json *json = qx_json_new(call->arena, call->answer);
    if (json == NULL) {
        return qx_fail(call->cx, QX_E_NOMEM, "no memory for the answer");
    }
    qx_json_open(json, NULL, '{');
    qx_json_whole(json, "quincunx", 1);
    qx_json_whole(json, "rows", (long long)receipt->rows);
    qx_json_whole(json, "left_out", (long long)receipt->left_out);
    qx_json_whole(json, "stored", (long long)receipt->stored);
    qx_json_whole(json, "there_already", (long long)receipt->repeated);
    qx_json_whole(json, "missing", (long long)receipt->blank);
    qx_json_open(json, "corrections", '[');
    for (size_t i = 0; i < receipt->correction_count; i++) {
        const qx_correction *c = &receipt->correction[i];
        qx_json_open(json, NULL, '{');
        qx_json_text(json, "file", c->file);
        qx_json_whole(json, "line", (long long)c->line);
        qx_json_text(json, "thing", c->thing);
        qx_json_text(json, "season", c->season[0] == '\0' ? NULL : c->season);
        qx_json_text(json, "date", c->date[0] == '\0' ? NULL : c->date);
        qx_json_text(json, "quantity", c->quantity);
        qx_json_text(json, "before", c->before);
        qx_json_text(json, "after", c->after);
        qx_json_close(json, '}');
    }
    qx_json_close(json, ']');
    qx_json_close(json, '}');
    return QX_OK;
}

static qx_status run(qx_call *call)
{
    const qx_record_wish wish = {.trial = call->file[0],
                                 .file_count = call->file_count - 1,
                                 .file = call->file + 1,
                                 .by = call->by,
                                 .reason = call->reason,
                                 .accept_good = qx_call_has(call, QX_FLAG_ACCEPT_GOOD)};
    qx_receipt receipt = {0};
    bool stored = false;
    const qx_status status =
        qx_record(call->cx, &wish, call->problems, call->arena, &stored, &receipt);
    if (stored && qx_call_has(call, QX_FLAG_JSON)) {
        QX_TRY(answer_json(call, &receipt));
    } else if (stored) {
        answer_text(call, &receipt);
    } else if (status == QX_E_INPUT) {
        const bool good = receipt.rows > receipt.left_out && !wish.accept_good;
        call->hint = good ? "nothing was stored; --accept-good stores the good rows"
                          : "nothing was stored";
    }
    return status;
}

const qx_verb qx_verb_record = {
    .name = "record",
    .summary = "observations from data files into a trial file",
    .usage = "FILE.qx DATA.csv...",
    .about =
        "Stores what was measured. If any row of any file is wrong, nothing is stored "
        "and\nall problems are listed; --accept-good stores the good rows and lists "
        "the rest\n(exit status 1). A value that is there already is not stored "
        "twice; another value\nfor the same thing is a correction: the old one is "
        "kept, with who and when.\n",
    .example = "  quincunx record pears.qx lengths.csv --by \"A. Technician\"\n",
    .flags = QX_FLAG_JSON | QX_FLAG_ACCEPT_GOOD | QX_FLAG_BY | QX_FLAG_REASON,
    .files_least = 2,
    .files_most = SIZE_MAX,
    .run = run};
