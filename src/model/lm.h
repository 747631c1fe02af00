/* model/lm.h - the least squares part of every fit: QR of X, coefficients, residuals.
 *
 * y is divided by a power of two near its largest size and solved by Householder QR; the
 * residuals are Q times the effects that X does not take, so that they lose nothing to
 * large coefficients. Data come shifted (numeric/sums.h).
 * Source: Golub & Van Loan 2013, Matrix Computations, 4th ed., ch. 5. */
#ifndef QX_MODEL_LM_H
#define QX_MODEL_LM_H

#include "model/plan.h"

/* Design, R and log |R| of a plan whose spec and arena are set. QX_E_INPUT: n <= p. */
qx_status qx_lm_plan(qx_ctx *cx, qx_lmm_plan *plan);

/* A power of two near the largest size of y. QX_E_INPUT: y not finite. */
qx_status qx_lm_scale(qx_ctx *cx, size_t n, const double y[], double *scale);

/* Scale, beta and r = My (n, of y / scale). QX_E_INPUT: y not finite. */
qx_status qx_lm_solve(
    qx_ctx *cx, const qx_lmm_plan *plan, const double y[], qx_lmm *fit, double r[]);

/* Variance, covariance and the rest of a model without random terms. */
void qx_lm_finish(const qx_lmm_plan *plan, qx_lmm *fit, const double r[]);

/* Minus twice the restricted log-likelihood at the evaluated point of the inner fit; NAN
 * without residual variation. */
double qx_lm_reml_criterion(const qx_lmm *fit);

/* Did X take all variation, but for rounding? (r: n, of y / scale) */
bool qx_lm_exhausted(size_t n, const double r[]);

#endif
