#include "report/report.h"

#include "report/doc_parts.h"
#include "report/render.h"
#include "report/render_text.h"

static const qx_report_choice with_charts = {.charts = true};
static const qx_report_choice all_words = {.charts = false};
static const qx_report_choice answer_only = {.answer_only = true};

static qx_status write_report(qx_ctx *cx,
                              const qx_findings *f,
                              const qx_renderer *renderer,
                              qx_report_choice choice,
                              qx_text *out)
{
    qx_doc *doc = qx_doc_report(qx_ctx_scratch(cx), f, &choice);
    return qx_render(cx, renderer, doc, out);
}

qx_status qx_report_html(qx_ctx *cx, const qx_findings *f, qx_text *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, write_report(cx, f, &qx_renderer_html, with_charts, out));
    return status;
}

qx_status qx_report_csv(qx_ctx *cx, const qx_findings *f, qx_text *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, write_report(cx, f, &qx_renderer_csv, all_words, out));
    return status;
}

qx_status qx_render_text(qx_ctx *cx, const qx_findings *f, qx_text *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, write_report(cx, f, &qx_renderer_text, all_words, out));
    return status;
}

qx_status qx_render_answer(qx_ctx *cx, const qx_findings *f, qx_text *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, write_report(cx, f, &qx_renderer_text, answer_only, out));
    return status;
}
