#include "tasks/report_set.h"

#include "base/file.h"
#include "base/text.h"
#include "report/render_json.h"
#include "report/render_text.h"
#include "report/report.h"
#include "tasks/analyse_file.h"

typedef qx_status renderer(qx_ctx *cx, const qx_findings *findings, qx_text *out);

enum { FILES = 4 };

static const char *const names[FILES + 1] = {
    "report.html", "findings.json", "findings.txt", "tables.csv", NULL};
static renderer *const renderers[FILES] = {
    qx_report_html, qx_render_json, qx_render_text, qx_report_csv};

const char *const *qx_report_files(void)
{
    return names;
}

/* A text of its own arena: renderers use the scratch of the context. */
static qx_status
render_all(qx_ctx *cx, const qx_findings *findings, qx_arena *arena, qx_text *text[FILES])
{
    for (size_t i = 0; i < FILES; i++) {
        text[i] = qx_text_new(arena);
        if (text[i] == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for %s", names[i]);
        }
        QX_TRY(renderers[i](cx, findings, text[i]));
        if (qx_text_failed(text[i])) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for %s", names[i]);
        }
    }
    return QX_OK;
}

static qx_status
write_all(qx_ctx *cx, const qx_findings *findings, const char *folder, qx_arena *arena)
{
    qx_text *text[FILES] = {NULL};
    QX_TRY(render_all(cx, findings, arena, text));
    QX_TRY(qx_folder_make(cx, folder));
    for (size_t i = 0; i < FILES; i++) {
        const char *path = qx_path_join(arena, folder, names[i]);
        if (path == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for %s", names[i]);
        }
        QX_TRY(qx_file_write(cx, path, qx_text_get(text[i]), qx_text_length(text[i])));
    }
    return QX_OK;
}

qx_status qx_report_write(qx_ctx *cx, const qx_findings *findings, const char *folder)
{
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the report");
    }
    const qx_status status = write_all(cx, findings, folder, arena);
    qx_arena_free(arena);
    return status;
}

qx_status qx_report_set(qx_ctx *cx,
                        const char *path,
                        const char *data,
                        qx_arithmetic arithmetic,
                        const char *by,
                        const char *folder,
                        qx_problems *problems)
{
    qx_analysed analysed = {0};
    QX_TRY(qx_analyse_file(cx, path, data, arithmetic, by, problems, &analysed));
    const qx_status status = qx_report_write(cx, analysed.findings, folder);
    qx_analysed_free(&analysed);
    return status;
}
