/* report/plan_report.h - what a trial can show, for people: text, page with power curves,
 * JSON. The numbers come from findings/planning.h. */
#ifndef QX_REPORT_PLAN_REPORT_H
#define QX_REPORT_PLAN_REPORT_H

#include "base/text.h"
#include "findings/planning.h"

/* Each adds to `out`, which lives in an arena of its own. QX_E_NOMEM. */
qx_status qx_plan_text(qx_ctx *cx, const qx_planned *planned, qx_text *out);
qx_status qx_plan_html(qx_ctx *cx, const qx_planned *planned, qx_text *out);
qx_status qx_plan_json(qx_ctx *cx, const qx_planned *planned, qx_text *out);

#endif
