/* findings/means_of.h - equal-weighted means of every treatment term, and the differences
 * between them: adjusted, tested for equivalence, with a verdict each. */
#ifndef QX_FINDINGS_MEANS_OF_H
#define QX_FINDINGS_MEANS_OF_H

#include "findings/work.h"

/* Fills result->mean and result->difference. */
qx_status qx_means_of(qx_work *w);

/* Fills result->simple: one factor inside each level of the others, where they interact. */
qx_status qx_simple_effects_of(qx_work *w);

#endif
