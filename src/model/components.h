/* model/components.h - how well the variance components are known.
 *
 * With the component (not its ratio) held at v and all others at their best,
 *
 *     D(v) = min (n - p) log s + log|A| + y'Py / s,   s the residual variance,
 *
 * the interval is where D(v) - D <= chi-square_1(level); its lower end is 0 where that
 * holds at v = 0. The restricted likelihood ratio D(0) - D has p from the half-and-half
 * mixture of chi-square 0 and 1 (Self & Liang 1987, J Am Stat Assoc 82:605-610; Stram & Lee
 * 1994, Biometrics 50:1171-1177). Least squares: the chi-square interval of the residual.
 *
 * Derivatives of D in the variances follow from those of model/profile.h with V as a part,
 * s I = V - sum sigma_k^2 G_k. */
#ifndef QX_MODEL_COMPONENTS_H
#define QX_MODEL_COMPONENTS_H

#include "model/lmm_inner.h"

qx_status qx_components_profile(qx_ctx *cx, qx_lmm *fit, double level);

#endif
