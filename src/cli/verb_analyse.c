/* cli/verb_analyse.c - the findings. */
#include "cli/verb.h"
#include "report/render_json.h"
#include "report/render_text.h"
#include "tasks/analyse_file.h"

static qx_status run(qx_call *call)
{
    qx_analysed analysed = {0};
    const char *data = NULL;
    QX_TRY(qx_call_data(call, &data));
    QX_TRY(qx_analyse_file(call->cx,
                           call->file[0],
                           data,
                           call->arithmetic,
                           call->by,
                           call->problems,
                           &analysed));
    const qx_status status =
        qx_call_has(call, QX_FLAG_JSON)
            ? qx_render_json(call->cx, analysed.findings, call->answer)
            : qx_render_text(call->cx, analysed.findings, call->answer);
    qx_analysed_free(&analysed);
    return status;
}

const qx_verb qx_verb_analyse = {
    .name = "analyse",
    .summary = "the findings of a trial",
    .usage = "PROTOCOL DATA.csv  or  FILE.qx",
    .about =
        "Chooses the model from the units, fits it, and tells what the data show: in "
        "sentences\nfirst, then tables of means, differences against the margin, tests, "
        "variation, checks.\n",
    .example = "  quincunx analyse pears.yaml lengths.csv\n"
               "  quincunx analyse pears.qx --json\n",
    .flags = QX_FLAG_JSON | QX_FLAG_PATH,
    .files_least = 1,
    .files_most = 2,
    .run = run};
