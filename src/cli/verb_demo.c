/* cli/verb_demo.c - the demonstration trial. */
#include <stdio.h>

#include "cli/verb.h"
#include "tasks/demo.h"

static void tell(void *listener, const char *step)
{
    size_t *number = listener;
    (*number)++;
    (void)fprintf(stderr, "%zu. %s\n", *number, step);
}

static qx_status run(qx_call *call)
{
    const char *report = NULL;
    const char *answer = NULL;
    size_t steps = 0;
    QX_TRY(qx_demo(call->cx,
                   call->file[0],
                   tell,
                   &steps,
                   call->problems,
                   call->arena,
                   &report,
                   &answer));
    if (qx_call_has(call, QX_FLAG_JSON)) {
        return qx_answer_files(call, 1, &report);
    }
    qx_text_add(call->answer, answer);
    qx_text_printf(call->answer,
                   "\nThe demonstration is in %s. Everything in it is invented.\n"
                   "The report: %s\n",
                   call->file[0],
                   report);
    return QX_OK;
}

const qx_verb qx_verb_demo = {
    .name = "demo",
    .summary = "the demonstration trial, run from protocol to report",
    .usage = "DIR",
    .about =
        "Writes an invented trial into the folder: protocol, layout, data, findings, "
        "report.\nThe data are drawn with a known truth (README.txt there), so that "
        "the findings can\nbe judged. Run again, it replaces its own files; another "
        "trial's it leaves alone.\n",
    .example = "  quincunx demo demo-trial\n",
    .flags = QX_FLAG_JSON,
    .files_least = 1,
    .files_most = 1,
    .run = run};
