/* findings/repeats.h - a response that repeats exactly, so that nothing can be tested. */
#ifndef QX_FINDINGS_REPEATS_H
#define QX_FINDINGS_REPEATS_H

#include "findings/work.h"

/* A note: once what is known, nothing is left that varies by chance, and why there are neither
 * errors nor tests. For a fit that is exhausted (model/lmm.h). */
qx_status qx_tell_repeats(qx_work *w);

#endif
