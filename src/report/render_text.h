/* report/render_text.h - findings for a terminal: sentences first, then aligned tables. */
#ifndef QX_REPORT_RENDER_TEXT_H
#define QX_REPORT_RENDER_TEXT_H

#include "base/ctx.h"
#include "base/text.h"
#include "findings/findings.h"

/* Plain UTF-8 without colours, paragraphs at most 80 wide, added to `out`, which must not
 * live in the scratch memory of cx. QX_E_NOMEM. */
qx_status qx_render_text(qx_ctx *cx, const qx_findings *f, qx_text *out);

/* The question and the findings in sentences alone. */
qx_status qx_render_answer(qx_ctx *cx, const qx_findings *f, qx_text *out);

#endif
