/* model/unconstrained.h - inference where a variance component is estimated as zero.
 *
 * A variance cannot be negative, but its unconstrained estimate can: the mean square of
 * trees falls below that of limbs. Held at zero, the component makes the fit pool the two
 * mean squares, and the variance of a treatment on trees comes out too large: the tests
 * are conservative (limbs in trees without tree variance: 1.7 % errors at 5 %). The
 * analysis of variance divides by the trees' own mean square whatever the limbs' is, and
 * is exact. This does the same for any layout:
 *
 *   1. the unconstrained restricted likelihood estimates: gamma_k may be negative as long
 *      as V is positive definite for the residuals (model/spectral.h);
 *   2. beta stays what it is, weighted by the constrained gamma; since beta = A'y,
 *      A'V A = sum rho_k N_k'N_k + rho_e (phi - sum gamma_k N_k'N_k) is linear in the
 *      variances, and is taken at the unconstrained ones;
 *   3. their covariance (twice the inverse information) is taken there too, and tests and
 *      degrees of freedom follow from the moments of Kenward & Roger; but df are never
 *      more than with the component held at zero, since a variance near nil in some
 *      direction promises more than there are units.
 *
 * In a balanced layout this gives the F tests of the analysis of variance, exactly. The
 * component that is reported is zero, with the unconstrained estimate beside it. Where the
 * covariance is not positive definite at the unconstrained estimates (possible in
 * unbalanced layouts), or there is no such estimate, the constrained inference stays.
 *
 * Compared by simulation with what else there is: docs/methods/zero-components.md. */
#ifndef QX_MODEL_UNCONSTRAINED_H
#define QX_MODEL_UNCONSTRAINED_H

#include "model/plan.h"

/* After the inference of the constrained fit has been prepared. `plan`: whose fit it is. */
qx_status qx_unconstrained_prepare(qx_ctx *cx, const qx_lmm_plan *plan, qx_lmm *fit);

#endif
