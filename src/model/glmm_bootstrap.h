/* model/glmm_bootstrap.h - small-sample p of a likelihood ratio by parametric bootstrap.
 *
 * B data sets are drawn from the fit under the hypothesis, both models fitted to each, and
 *
 *     p = (1 + number of ratios at least as large as the observed one) / (B + 1)
 *
 * (Davison & Hinkley 1997, Bootstrap Methods and their Application, section 4.2.3). Replicate r has
 * stream r of the seed, so that the number of cores changes nothing. */
#ifndef QX_MODEL_GLMM_BOOTSTRAP_H
#define QX_MODEL_GLMM_BOOTSTRAP_H

#include "model/glmm.h"

typedef struct qx_glmm_bootstrap {
    double observed; /* 2 (log L1 - log L0) */
    double p;
    size_t replicates; /* fitted with success */
    size_t failed;     /* left out: no optimum in one of the fits */
    uint64_t seed;
} qx_glmm_bootstrap;

/* Test of L beta = 0 in `fit`. On all cores. `ratio` (`replicates` numbers, or NULL) receives the
 * ratios, NAN where a fit failed. QX_E_ARG (replicates of 0), QX_E_CANCELLED, QX_E_NOMEM. */
QX_API qx_status qx_glmm_bootstrap_rows(qx_ctx *cx,
                                        const qx_glmm *fit,
                                        qx_mat L,
                                        size_t replicates,
                                        uint64_t seed,
                                        double ratio[],
                                        qx_glmm_bootstrap *out);

#endif
