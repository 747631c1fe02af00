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

/* The same for a trial that may have been looked at before: `history` has an entry for each
 * variate (findings/looks_of.h). */
qx_status qx_analyse_looks(qx_ctx *cx,
                           const qx_protocol *protocol,
                           const qx_table *table,
                           const struct qx_layout *layout,
                           const qx_look_history history[],
                           qx_findings **out);

struct qx_variate_frame;

/* The same analysis of other values in a frame that is known: simulated trials, one after
 * the other, without a table (redraw.h). y: n values, counts (k of the frame's size), or
 * numbers of classes. What only a reader wants (profile intervals of components, residuals,
 * checks, simple effects, notes) is left out; tests, means, differences and verdicts are
 * those of qx_analyse. `result` is in `arena`; any number of threads, each with its cx and
 * arena. QX_E_NOMEM. */
qx_status qx_analyse_again(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_protocol *protocol,
                           size_t variate,
                           const struct qx_variate_frame *frame,
                           const double y[],
                           qx_result *result);

#endif
