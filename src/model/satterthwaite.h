/* model/satterthwaite.h - degrees of freedom by matching the variance of a variance.
 *
 * var(l'beta) is itself estimated; matching two moments of a scaled chi-square,
 *
 *     df = 2 v^2 / (g'Ag),   v = l'phi l,   g = dv/dtheta
 *
 * A is the covariance of theta from observed REML information (twice its inverse in the
 * scale of -2 log-likelihood). Since df does not depend on how the variances are
 * parametrised inside the boundary, neither does ours; at the boundary the component stays
 * among the parameters (as a variance, not as its root, whose derivative vanishes there and
 * would hand a treatment the df of smaller units), and expected information takes over
 * where the observed one is not positive definite.
 *
 * Several rows: independent combinations from the eigenvectors of L phi L', each with its
 * own df nu_i; E = sum nu_i/(nu_i - 2), den_df = 2E/(E - r); 2 when a nu_i is 2 or less.
 *
 * Source: Satterthwaite 1946, Biometrics Bulletin 2:110-114; Giesbrecht & Burns 1985,
 * Biometrics 41:477-486; Fai & Cornelius 1996, J Stat Comput Simul 54:363-378. */
#ifndef QX_MODEL_SATTERTHWAITE_H
#define QX_MODEL_SATTERTHWAITE_H

#include "model/lmm.h"

/* Fills spread of the inner fit. */
qx_status qx_satterthwaite_prepare(qx_ctx *cx, qx_lmm *fit);

/* df of one row; INFINITY when its variance is known exactly. */
double qx_satterthwaite_df(const qx_lmm *fit, const double row[]);

qx_status
qx_satterthwaite_test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out);

#endif
