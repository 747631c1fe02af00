/* model/kenward.h - small-sample inference for fixed effects: Kenward & Roger 1997,
 * Biometrics 53:983-997.
 *
 *     phi_A = phi + 2 phi { sum_kl W_kl (Q_kl - P_k phi P_l) } phi,   W = 2 I_E^-1
 *
 * (variances as parameters: V is linear in them, so there is no R_kl). A hypothesis L (r
 * rows): F* = lambda / r (L beta)'(L phi_A L')^-1 (L beta) ~ F(r, m), lambda and m from
 * matching two moments, with the constants as the authors modified them so that known
 * exact cases come out exact. One row: lambda = 1, m = 2 v^2 / (g'Wg), v = l'phi l, g =
 * dv/dtheta.
 *
 * A component estimated at zero stays among the parameters. Where the two moments are those
 * of no F distribution (m not above zero: hardly any unit left), m comes from the df of
 * single rows (model/satterthwaite.h, with W) and lambda is 1. */
#ifndef QX_MODEL_KENWARD_H
#define QX_MODEL_KENWARD_H

#include "model/lmm.h"

/* Fills spread and adjusted of the inner fit. */
qx_status qx_kenward_prepare(qx_ctx *cx, qx_lmm *fit);

/* df of one row; INFINITY when its variance is known exactly. */
double qx_kenward_df(const qx_lmm *fit, const double row[]);

qx_status qx_kenward_test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out);

#endif
