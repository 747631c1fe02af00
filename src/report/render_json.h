/* report/render_json.h - findings as one JSON document, key by key contract section 3.
 *
 *     {"quincunx": 1, "title": ..., "results": [one object a variate]}
 *
 * Numbers carry 17 significant digits; not-a-number and infinities are null, texts that are
 * not given are null. Every key of the contract stands in every object, null where it does
 * not apply, except those that belong to some entries only: `class` (ordinal and nominal
 * means), `within` (simple effects), `unit` (residual lines of `tests`), `row` (outlier),
 * `lower` and `upper` of checks (box-cox). */
#ifndef QX_REPORT_RENDER_JSON_H
#define QX_REPORT_RENDER_JSON_H

#include "base/text.h"
#include "findings/findings.h"

/* Adds the document and a newline to `out`. QX_E_NOMEM; `out` then holds a part of it. */
QX_API qx_status qx_render_json(qx_ctx *cx, const qx_findings *findings, qx_text *out);

#endif
