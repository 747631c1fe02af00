/* findings/counts_told.h - what a user should know of a model of counts and shares: which
 * family and why, where there was nought or all, and the values behind the means. */
#ifndef QX_FINDINGS_COUNTS_TOLD_H
#define QX_FINDINGS_COUNTS_TOLD_H

#include "findings/choose_family.h"

/* The family in a sentence, and the check "extra variation". */
qx_status
qx_counts_tell_family(qx_work *w, const qx_family_choice *choice, const qx_glmm *fit);

/* Names the treatments that have nought or all throughout. */
qx_status qx_counts_tell_separation(qx_work *w);

/* result->point and result->residual: randomised quantile residuals (a standard normal if
 * the model is right), Pearson's beside them. */
qx_status qx_counts_points(qx_work *w, const qx_glmm *fit);

#endif
