/* findings/counts.h - counts and shares from the frame to the findings: family, fit, tests,
 * means and differences in the unit that was counted.
 *
 * The fixed and random part are those that the units give (choose.h); the family follows
 * the rules of choose_family.h. Where a treatment has nought or all throughout (every bud
 * broke), maximum likelihood has no finite estimate: the fit is made again with Jeffreys'
 * prior, which keeps it finite, and a note tells where. Not here: grades.h. */
#ifndef QX_FINDINGS_COUNTS_H
#define QX_FINDINGS_COUNTS_H

#include "findings/work.h"

/* The whole of one variate after the frame and the choice; data that the model cannot hold
 * are told in a note. QX_E_NOMEM, QX_E_CANCELLED. */
qx_status qx_counts_of(qx_work *w);

#endif
