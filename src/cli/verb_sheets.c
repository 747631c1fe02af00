/* cli/verb_sheets.c - recording sheets of a trial file. */
#include "cli/verb.h"
#include "tasks/sheets.h"

static qx_status run(qx_call *call)
{
    const qx_sheet_made *made = NULL;
    size_t count = 0;
    const char **path = NULL;
    QX_TRY(qx_sheets(
        call->cx, call->file[0], call->out, call->problems, call->arena, &count, &made));
    QX_NEW_IN(call->cx, call->arena, path, count);
    for (size_t i = 0; i < count; i++) {
        path[i] = made[i].path;
    }
    if (qx_call_has(call, QX_FLAG_JSON)) {
        return qx_answer_files(call, count, path);
    }
    for (size_t i = 0; i < count; i++) {
        qx_text_printf(call->answer,
                       "%s: %zu %s\n",
                       made[i].path,
                       made[i].rows,
                       made[i].rows == 1 ? "row" : "rows");
    }
    return QX_OK;
}

const qx_verb qx_verb_sheets = {
    .name = "sheets",
    .summary = "recording sheets to fill in, as CSV",
    .usage = "FILE.qx -o DIR",
    .about =
        "Writes a table for each unit that is measured: a row for each thing in walking "
        "order\n(up one row of the orchard, down the next), labels filled in, a column "
        "for everything\nthat is measured. Fill it in with a spreadsheet or on a "
        "telephone, save it as CSV, and\n`record` takes it as it is. Treatments do not "
        "stand in it: who measures need not know\nthem. A sheet is never overwritten.\n",
    .example = "  quincunx sheets pears.qx -o sheets\n"
               "  quincunx record pears.qx sheets/tree.csv --by \"A. Technician\"\n",
    .flags = QX_FLAG_JSON | QX_FLAG_OUT,
    .needed = QX_FLAG_OUT,
    .files_least = 1,
    .files_most = 1,
    .run = run};
