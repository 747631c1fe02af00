/* findings/counts_zeros.h - are there more zeros than the family of a count allows: the check
 * "extra zeros" with what to look at (model/zero_inflation.h). */
#ifndef QX_FINDINGS_COUNTS_ZEROS_H
#define QX_FINDINGS_COUNTS_ZEROS_H

#include "findings/work.h"
#include "model/glmm.h"

/* Adds the line to result->check; nothing for shares, for counts that are never zero, and
 * where it cannot be asked. QX_E_NOMEM, QX_E_CANCELLED. */
qx_status qx_counts_check_zeros(qx_work *w, const qx_glmm *fit);

#endif
