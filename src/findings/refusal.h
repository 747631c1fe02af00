/* findings/refusal.h - data that a model cannot hold: told in a note of the variate, while the
 * others are analysed. */
#ifndef QX_FINDINGS_REFUSAL_H
#define QX_FINDINGS_REFUSAL_H

#include "findings/work.h"

/* `status` is what a fit of w->variate came to. Input, rank, argument and numeric refusals
 * become a note that says why; *possible is false then and the failure is forgotten.
 * Anything else (no memory, cancelled) is passed on. */
qx_status qx_tell_refusal(qx_work *w, qx_status status, bool *possible);

#endif
