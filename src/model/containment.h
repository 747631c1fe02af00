/* model/containment.h - degrees of freedom from the stratum that holds a fixed term.
 *
 * A random term holds a fixed term when the term's columns do not vary inside its units
 * (a treatment put on trees does not vary inside trees). The df of a random term is what
 * it adds to the rank of [X Z], larger units first:
 *
 *     df_i = rank [X Z_1 ... Z_i] - rank [X Z_1 ... Z_(i-1)],   residual: n - rank [X Z]
 *
 * A fixed term takes the least df of the random terms that hold it, or the residual's. A
 * difference takes the least over the terms that it has weight on, so that two small-plot
 * treatments are compared by small plots. A mean (weight on the intercept) lies in the
 * strata of all terms and takes the least over all of them, whichever level the coding
 * takes as reference. Standard errors are those of phi, not adjusted. Exact for
 * balanced layouts as long as a row lies in one stratum, conservative otherwise. */
#ifndef QX_MODEL_CONTAINMENT_H
#define QX_MODEL_CONTAINMENT_H

#include "model/lmm.h"

/* Fills containment of the inner fit (df of every column). codes: those of the random
 * terms in the profile. */
qx_status qx_containment_prepare(qx_ctx *cx, qx_lmm *fit, const uint32_t *const code[]);

double qx_containment_df(const qx_lmm *fit, const double row[]);

qx_status
qx_containment_test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out);

#endif
