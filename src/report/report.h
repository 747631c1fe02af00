/* report/report.h - findings as one self-contained HTML file: no network, no scripts,
 * for screens light and dark from a telephone upwards, for A4 and Letter, for ears. */
#ifndef QX_REPORT_REPORT_H
#define QX_REPORT_REPORT_H

#include "base/ctx.h"
#include "base/text.h"
#include "findings/findings.h"

/* Adds the file to `out`, which must not live in the scratch memory of cx. QX_E_NOMEM. */
qx_status qx_report_html(qx_ctx *cx, const qx_findings *f, qx_text *out);

/* The tables alone as CSV (RFC 4180), one below the other with their captions. */
qx_status qx_report_csv(qx_ctx *cx, const qx_findings *f, qx_text *out);

#endif
