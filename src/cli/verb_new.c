/* cli/verb_new.c - a commented protocol to fill in. */
#include "base/file.h"
#include "cli/verb.h"
#include "tasks/new_protocol.h"

static qx_status run(qx_call *call)
{
    const char *path = call->file[0];
    QX_TRY(qx_new_protocol(call->cx, path));
    if (qx_call_has(call, QX_FLAG_JSON)) {
        return qx_answer_files(call, 1, &path);
    }
    qx_text_printf(
        call->answer, "%s is ready to fill in; then: quincunx check %s\n", path, path);
    return QX_OK;
}

const qx_verb qx_verb_new = {
    .name = "new",
    .summary = "a commented protocol to fill in",
    .usage = "FILE.yaml",
    .about =
        "Writes a protocol with comments, to be changed into your own. It is valid as "
        "it\nis. A file that is there already is never overwritten.\n",
    .example = "  quincunx new pears.yaml\n",
    .flags = QX_FLAG_JSON,
    .files_least = 1,
    .files_most = 1,
    .run = run};
