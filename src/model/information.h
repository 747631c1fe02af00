/* model/information.h - how phi moves with the variances, and how well they are known.
 *
 * In the notation of model/profile.h and the parts of model/lmm_inner.h, with
 *
 *     Y = K^-1 L C,   N = Z'V^-1 Q phi_Q = C - B'Y
 *
 *     phi_Q = I + Y'Y                     (Q'V^-1 Q)^-1
 *     dphi_Q/dtheta_k = N_k'N_k           and phi_Q for the part V
 *     expected information  |T_kl|^2,  tr T_kk with V,  n - p for V with V
 *     observed              2 w_k'T_kl w_l / s2 - |T_kl|^2, 2 w_k'w_k / s2 - tr T_kk, n - p
 *     sum_kl W_kl phi (Q_kl - P_k phi P_l) phi = sum_kl W_kl N_k'T_kl N_l  (V gives nothing)
 *
 * (twice the usual information: W = 2 I^-1.) The expected form is the one of Kenward &
 * Roger 1997, Biometrics 53:983-997, since tr(V^-1 G_k V^-1 G_l) - 2 tr(phi Q_kl) +
 * tr(phi P_k phi P_l) = |T_kl|^2; derived in docs/methods/mixed-models.md. */
#ifndef QX_MODEL_INFORMATION_H
#define QX_MODEL_INFORMATION_H

#include "model/lmm_inner.h"

/* phi, derivative[] and parts of fit->inner, and adjusted = phi; in the fit's arena. */
qx_status qx_information_make(qx_ctx *cx, qx_lmm *fit);

/* spread = 2 I^-1 from expected information. */
qx_status qx_information_expected(qx_ctx *cx, qx_lmm *fit);

/* spread = 2 I^-1 from observed information; where that is not positive definite (a fit on
 * its boundary), from expected. */
qx_status qx_information_observed(qx_ctx *cx, qx_lmm *fit);

/* adjusted = phi + 2 sum_kl spread_kl N_k'T_kl N_l. */
qx_status qx_information_adjust(qx_ctx *cx, qx_lmm *fit);

#endif
