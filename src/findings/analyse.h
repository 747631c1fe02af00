/* findings/analyse.h - a protocol and its data to findings: one straight way for each
 * variate: choose the model from the units, fit it, means, differences, verdicts, checks. */
#ifndef QX_FINDINGS_ANALYSE_H
#define QX_FINDINGS_ANALYSE_H

#include "findings/findings.h"

/* `layout` may be NULL. *out is freed by qx_findings_free. Data that cannot be analysed
 * (all missing, one level, no variation) give a result with notes and nulls, not an error.
 * QX_E_INPUT: nothing in the protocol can be analysed; QX_E_NOMEM. */
qx_status qx_analyse(qx_ctx *cx,
                     const qx_protocol *protocol,
                     const qx_table *table,
                     const struct qx_layout *layout,
                     qx_findings **out);

#endif
