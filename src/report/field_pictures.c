#include "report/field_pictures.h"

#include <string.h>

#include "report/chart.h"
#include "report/svg.h"

static qx_status write(qx_ctx *cx, const qx_field *field, const char *key, qx_text *out)
{
    qx_doc *doc = qx_doc_new(qx_ctx_scratch(cx));
    const qx_chart_input in = {.doc = doc, .field = field};
    if (doc == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a picture");
    }
    for (size_t i = 0; i < qx_chart_count(); i++) {
        if (strcmp(qx_chart_at(i)->key, key) != 0) {
            continue;
        }
        const qx_scene *scene = qx_chart_draw(qx_chart_at(i), &in);
        if (scene == NULL || scene->failed || doc->failed) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for a picture");
        }
        qx_svg_write(out, scene, key, true);
        return qx_text_failed(out) ? qx_fail(cx, QX_E_NOMEM, "no memory for a picture")
                                   : QX_OK;
    }
    return qx_fail(cx, QX_E_ARG, "there is no picture \"%s\"", key);
}

qx_status qx_field_svg(qx_ctx *cx, const qx_field *field, const char *key, qx_text *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, write(cx, field, key, out));
    return status;
}
