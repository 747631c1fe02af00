/* report/render.h - contract of a report format, and the list (renderers.def).
 *
 * A renderer gets the nodes of a document (doc.h) one after the other and adds to one text.
 * It changes no text: it escapes it for its format and sets it. To add one: a file
 * render_<key>.c with a descriptor qx_renderer_<key>, a line in renderers.def, a line in
 * meson.build. The contract test feeds every renderer a document with every node. */
#ifndef QX_REPORT_RENDER_H
#define QX_REPORT_RENDER_H

#include "base/ctx.h"
#include "base/text.h"
#include "report/doc.h"

typedef struct qx_writer {
    qx_text *out;
    const qx_doc *doc;
    size_t charts; /* written so far: makes identifiers unique */
    size_t tables;
    int level; /* of the last heading */
    bool in_charts,
        in_findings; /* pictures, findings that follow each other are grouped */
} qx_writer;

typedef void qx_render_node(qx_writer *w, const qx_doc_node *node);

typedef struct qx_renderer {
    const char *key, *title, *mime, *extension;
    void (*begin)(qx_writer *w);
    qx_render_node *heading, *paragraph, *finding, *note, *caution, *definitions, *table,
        *chart;
    void (*end)(qx_writer *w);
} qx_renderer;

#define X(key) extern const qx_renderer qx_renderer_##key;
#include "report/renderers.def"
#undef X

size_t qx_renderer_count(void);
const qx_renderer *qx_renderer_at(size_t i);

/* The whole document at the end of `out`. QX_E_NOMEM. */
qx_status
qx_render(qx_ctx *cx, const qx_renderer *renderer, const qx_doc *doc, qx_text *out);

#endif
