/* model/leverage.h - how much each row of the data decides about its own fitted value.
 *
 * W^-1, T, M, g_i and shrunk as in model/weighting.h:
 *
 *     pull     (W^-1 - Q)_ii = |g_i|^2
 *     leverage 1 - Q_ii      = shrunk_ii + pull
 *
 * Least squares has W = I: leverage = pull = the diagonal of X (X'X)^-1 X', from Q of the
 * QR factors. The quantities are explained in residual.h. */
#ifndef QX_MODEL_LEVERAGE_H
#define QX_MODEL_LEVERAGE_H

#include "model/lmm.h"

/* leverage, pull: out, n each; NAN where the variance ratios are so large that nothing but
 * rounding is left of T (an outcome). Errors and cost: qx_residuals_make. */
qx_status qx_leverage_of(qx_ctx *cx, const qx_lmm *fit, double leverage[], double pull[]);

#endif
