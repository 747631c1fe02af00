/* findings/contrast_family.h - the contrasts of a protocol as one family.
 *
 * p_adjusted is the probability that the largest |t| of all contrasts of the variate reaches
 * this one's when nothing differs: multivariate t with the contrasts' own correlations, each
 * contrast with its own degrees of freedom (numeric/mvt.h; Genz & Bretz 2009). It is never
 * above Sidak's or Bonferroni's value. p itself stays the p of a contrast that was planned. */
#ifndef QX_FINDINGS_CONTRAST_FAMILY_H
#define QX_FINDINGS_CONTRAST_FAMILY_H

#include "findings/work.h"

/* Fills p_adjusted of `count` contrasts. gradient: parameters x count, as their estimates
 * were judged by w->estimator. A contrast that cannot be made keeps NAN. */
qx_status
qx_contrast_family(qx_work *w, qx_mat gradient, size_t count, qx_contrast_line line[]);

#endif
