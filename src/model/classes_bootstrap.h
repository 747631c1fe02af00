/* model/classes_bootstrap.h - small-sample p of a likelihood ratio of classes by parametric
 * bootstrap: B responses drawn under the hypothesis, both models fitted to each,
 *
 *     p = (1 + ratios at least as large as the observed one) / (B + 1)
 *
 * Davison & Hinkley 1997, Bootstrap Methods and their Application, sec. 4.2.3. Replicate r
 * has stream r of the seed: the number of cores changes nothing. */
#ifndef QX_MODEL_CLASSES_BOOTSTRAP_H
#define QX_MODEL_CLASSES_BOOTSTRAP_H

#include "model/classes.h"

typedef struct qx_classes_bootstrap {
    double observed; /* likelihood ratio, penalised where the fit is */
    double p;
    size_t replicates;
    uint64_t seed;
} qx_classes_bootstrap;

/* Test of L beta = 0, on all cores. `ratio` (`replicates` numbers, or NULL) receives the
 * ratios. QX_E_ARG (no replicates), QX_E_SHAPE, QX_E_RANK, QX_E_CANCELLED, QX_E_NOMEM. */
QX_API qx_status qx_classes_bootstrap_rows(qx_ctx *cx,
                                           const qx_classes *fit,
                                           qx_mat L,
                                           size_t replicates,
                                           uint64_t seed,
                                           double ratio[],
                                           qx_classes_bootstrap *out);

#endif
