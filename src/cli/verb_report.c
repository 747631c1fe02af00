/* cli/verb_report.c - the report set. */
#include "base/file.h"
#include "cli/verb.h"
#include "tasks/report_set.h"

#define FILES_MOST 16 /* in a report set */

static qx_status run(qx_call *call)
{
    const char *data = NULL;
    QX_TRY(qx_call_data(call, &data));
    QX_TRY(qx_report_set(call->cx,
                         call->file[0],
                         data,
                         call->arithmetic,
                         call->by,
                         call->out,
                         call->problems));
    const char *path[FILES_MOST];
    size_t count = 0;
    for (const char *const *name = qx_report_files(); *name != NULL; name++) {
        QX_ASSERT(count < FILES_MOST);
        path[count] = qx_path_join(call->arena, call->out, *name);
        if (path[count++] == NULL) {
            return qx_fail(call->cx, QX_E_NOMEM, "no memory for the answer");
        }
    }
    if (qx_call_has(call, QX_FLAG_JSON)) {
        return qx_answer_files(call, count, path);
    }
    for (size_t i = 0; i < count; i++) {
        qx_text_printf(call->answer, "%s\n", path[i]);
    }
    return QX_OK;
}

const qx_verb qx_verb_report = {
    .name = "report",
    .summary = "the report set: a page to print, the findings as text, JSON and CSV",
    .usage = "FILE.qx -o DIR  or  PROTOCOL DATA.csv -o DIR",
    .about =
        "Analyses and writes report.html (one file, no network needed), findings.json "
        "and\nfindings.txt into the folder, and prints their names. The folder is made "
        "if it is\nnot there; files of an earlier report are replaced.\n",
    .example = "  quincunx report pears.qx -o pears-report\n",
    .flags = QX_FLAG_JSON | QX_FLAG_OUT | QX_FLAG_PATH,
    .needed = QX_FLAG_OUT,
    .files_least = 1,
    .files_most = 2,
    .run = run};
