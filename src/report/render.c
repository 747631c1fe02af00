#include "report/render.h"

static const qx_renderer *const renderers[] = {
#define X(key) &qx_renderer_##key,
#include "report/renderers.def"
#undef X
};

size_t qx_renderer_count(void)
{
    return QX_COUNT(renderers);
}

const qx_renderer *qx_renderer_at(size_t i)
{
    return renderers[i];
}

static qx_render_node *function_for(const qx_renderer *r, qx_node_kind kind)
{
    switch (kind) {
    case QX_NODE_HEADING:
        return r->heading;
    case QX_NODE_PARAGRAPH:
        return r->paragraph;
    case QX_NODE_FINDING:
        return r->finding;
    case QX_NODE_NOTE:
        return r->note;
    case QX_NODE_CAUTION:
        return r->caution;
    case QX_NODE_DEFINITIONS:
        return r->definitions;
    case QX_NODE_TABLE:
        return r->table;
    case QX_NODE_CHART:
        break;
    }
    return r->chart;
}

qx_status
qx_render(qx_ctx *cx, const qx_renderer *renderer, const qx_doc *doc, qx_text *out)
{
    qx_writer w = {.out = out, .doc = doc, .level = 1};
    if (doc == NULL || doc->failed) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the report");
    }
    renderer->begin(&w);
    for (size_t i = 0; i < doc->node.count; i++) {
        const qx_doc_node *node = qx_array_at(&doc->node, i);
        function_for(renderer, node->kind)(&w, node);
    }
    renderer->end(&w);
    return qx_text_failed(out) ? qx_fail(cx, QX_E_NOMEM, "no memory for the report")
                               : QX_OK;
}
