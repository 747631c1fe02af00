/* model/leverage.h - how much each row of the data decides about its own fitted value.
 *
 * With W = I + Z G Z' (G the variance ratios), A = I + L Z'Z L, L = sqrt(G):
 *
 *     W^-1 = I - Z L A^-1 L Z'                       (Woodbury)
 *     T    = W^-1 X,   X'T = M M'
 *     pull     (W^-1 - Q)_ii = |M^-1 t_i|^2          t_i the i-th row of T
 *     leverage 1 - Q_ii      = 1 - W^-1_ii + pull
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
