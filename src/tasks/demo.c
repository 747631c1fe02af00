#include "tasks/demo.h"

#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "report/render_text.h"
#include "store/trial_file.h"
#include "tasks/analyse_file.h"
#include "tasks/demo_trial.h"
#include "tasks/lay_out.h"
#include "tasks/record.h"
#include "tasks/report_set.h"

/* Who records, in the trial file. */
#define RECORDER "demonstration (invented)"

typedef struct showing {
    qx_ctx *cx;
    const char *folder;
    qx_demo_step *tell;
    void *listener;
    qx_problems *problems;
    qx_arena *arena;
    const char *protocol, *trial, *data, *readme, *report; /* paths */
    const char *answer;
} showing;

static void tell(const showing *s, const char *step)
{
    if (s->tell != NULL) {
        s->tell(s->listener, step);
    }
}

static qx_status name_files(showing *s)
{
    s->protocol = qx_path_join(s->arena, s->folder, "protocol.yaml");
    s->trial = qx_path_join(s->arena, s->folder, "trial.qx");
    s->data = qx_path_join(s->arena, s->folder, "data.csv");
    s->readme = qx_path_join(s->arena, s->folder, "README.txt");
    s->report = qx_path_join(s->arena, s->folder, "report");
    return s->protocol == NULL || s->trial == NULL || s->data == NULL ||
                   s->readme == NULL || s->report == NULL
               ? qx_fail(s->cx, QX_E_NOMEM, "no memory for the demonstration")
               : QX_OK;
}

/* A folder with another protocol, or with a trial and no protocol, is somebody's work. */
static qx_status check_folder(const showing *s)
{
    qx_bytes bytes = {0};
    const char *ours = qx_demo_protocol();
    const char *foreign = NULL;
    if (!qx_file_exists(s->protocol)) {
        foreign = qx_file_exists(s->trial)  ? s->trial
                  : qx_file_exists(s->data) ? s->data
                                            : NULL;
    } else {
        QX_TRY(qx_file_read(s->cx, s->arena, s->protocol, (size_t)1 << 20, &bytes));
        foreign = strcmp(bytes.bytes, ours) == 0 ? NULL : s->protocol;
    }
    return foreign == NULL
               ? QX_OK
               : qx_fail(s->cx,
                         QX_E_EXISTS,
                         "%s is not the demonstration's; expected an empty folder or an "
                         "earlier demonstration",
                         foreign);
}

static qx_status write_text(const showing *s, const char *path, const char *text)
{
    return qx_file_write(s->cx, path, text, strlen(text));
}

static qx_status lay_out(const showing *s)
{
    qx_laid_out made = {0};
    QX_TRY(qx_trial_file_remove(s->cx, s->trial)); /* an earlier demonstration's */
    const qx_lay_out_wish wish = {.protocol = s->protocol,
                                  .seed = qx_demo_seed(),
                                  .path = s->trial,
                                  .by = RECORDER};
    QX_TRY(qx_lay_out(s->cx, &wish, s->problems, &made));
    qx_text *csv = qx_text_new(s->arena);
    qx_status status = csv == NULL ? qx_fail(s->cx, QX_E_NOMEM, "no memory for the data")
                                   : qx_demo_data(s->cx, made.protocol, made.layout, csv);
    if (status == QX_OK) {
        tell(s, "measuring the invented trees: data.csv");
        status = qx_file_write(s->cx, s->data, qx_text_get(csv), qx_text_length(csv));
    }
    qx_laid_out_free(&made);
    return status;
}

static qx_status record(const showing *s)
{
    const qx_record_wish wish = {.trial = s->trial,
                                 .file_count = 1,
                                 .file = &s->data,
                                 .by = RECORDER,
                                 .reason = ""};
    qx_receipt receipt = {0};
    bool stored = false;
    return qx_record(s->cx, &wish, s->problems, s->arena, &stored, &receipt);
}

static qx_status analyse(showing *s)
{
    qx_analysed analysed = {0};
    qx_text *text = qx_text_new(s->arena);
    if (text == NULL) {
        return qx_fail(s->cx, QX_E_NOMEM, "no memory for the findings");
    }
    QX_TRY(qx_analyse_file(
        s->cx, s->trial, NULL, QX_ARITHMETIC_AUTO, RECORDER, s->problems, &analysed));
    qx_status status = qx_report_write(s->cx, analysed.findings, s->report);
    if (status == QX_OK) {
        status = qx_render_answer(s->cx, analysed.findings, text);
    }
    qx_analysed_free(&analysed);
    s->answer = qx_text_get(text);
    return status;
}

static qx_status show(showing *s)
{
    QX_TRY(name_files(s));
    QX_TRY(qx_folder_make(s->cx, s->folder));
    QX_TRY(check_folder(s));
    tell(s, "writing the protocol: protocol.yaml");
    QX_TRY(write_text(s, s->protocol, qx_demo_protocol()));
    QX_TRY(write_text(s, s->readme, qx_demo_readme()));
    tell(s, "drawing the layout: trial.qx");
    QX_TRY(lay_out(s));
    tell(s, "recording the data in the trial file");
    QX_TRY(record(s));
    tell(s, "analysing and writing the report");
    return analyse(s);
}

qx_status qx_demo(qx_ctx *cx,
                  const char *folder,
                  qx_demo_step *step,
                  void *listener,
                  qx_problems *problems,
                  qx_arena *arena,
                  const char **report,
                  const char **answer)
{
    showing s = {.cx = cx,
                 .folder = folder,
                 .tell = step,
                 .listener = listener,
                 .problems = problems,
                 .arena = arena};
    QX_TRY(show(&s));
    *answer = s.answer;
    *report = qx_path_join(arena, s.report, qx_report_files()[0]);
    return *report == NULL ? qx_fail(cx, QX_E_NOMEM, "no memory for the demonstration")
                           : QX_OK;
}
