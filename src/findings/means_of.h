/* findings/means_of.h - equal-weighted means of every treatment term, and the differences
 * between them: adjusted, tested for equivalence, with a verdict each. */
#ifndef QX_FINDINGS_MEANS_OF_H
#define QX_FINDINGS_MEANS_OF_H

#include "findings/work.h"

/* Fills result->mean and result->difference. */
qx_status qx_means_of(qx_work *w);

/* Fills result->simple: one factor inside each level of the others, where they interact. */
qx_status qx_simple_effects_of(qx_work *w);

/* The factors that interact with `factor` in the model, in order; how many. `out`:
 * QX_TERM_FACTORS_MOST. */
size_t qx_partners(const qx_work *w, size_t factor, size_t out[]);

#endif
