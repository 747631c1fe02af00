/* model/residual.h - residuals that show odd values.
 *
 * Least squares: e = y - X beta, h = diag of X (X'X)^-1 X', s2 = e'e / (n - p):
 *
 *     standardised  r = e / (s sqrt(1 - h))                     (internally studentised)
 *     studentised   t = r sqrt((n - p - 1) / (n - p - r^2))     (externally: s without the
 *                       row), t distribution with n - p - 1 df
 *     cook          D = r^2 h / ((1 - h) p)
 *
 * Mixed models, with the variance ratios held at their estimates and W = V / sigma2 the
 * covariance of y in units of the residual variance, Q = W^-1 - W^-1 X (X'W^-1 X)^-1 X'W^-1:
 *
 *     e = y - X beta - Z u = Q y         conditional on the random terms
 *     h = 1 - Q_ii                       the diagonal of the matrix that makes y - e from y,
 *                                        so that var(e_i) = sigma2 (1 - h_i) exactly
 *     r, t as above with s2 = sigma2     leaving row i out takes e_i^2 / (1 - h_i) from
 *                                        y'Qy = (n - p) sigma2, as in least squares
 *     D = (e_i / (1 - h_i))^2 (W^-1 - Q)_ii / (p sigma2)
 *                                        the move of beta when row i is left out, measured
 *                                        by its covariance; (W^-1 - Q)_ii is h for W = I
 *
 * A row that the model fits by itself (1 - h below QX_LEVERAGE_FREE) has no residual of its
 * own: standardised, studentised and cook are NAN. So are all of them, and the leverages,
 * when the random terms carry practically all variation (ratios beyond about 1e16).
 *
 * Not here: tests of assumptions (normality.h, spread.h, ranks.h, boxcox.h; included
 * below, since whoever wants the residuals wants those too).
 * Source: Cook & Weisberg 1982, Residuals and Influence in Regression, ch. 2-3; for mixed
 * models: Haslett & Dillane 2004, J R Stat Soc B 66:131-143, with the derivation above. */
#ifndef QX_MODEL_RESIDUAL_H
#define QX_MODEL_RESIDUAL_H

#include "model/boxcox.h"
#include "model/lmm.h"
#include "model/normality.h"
#include "model/ranks.h"
#include "model/spread.h"

/* Where 1 - h is rounding only: h itself is good to about 1e-15 times a few. */
#define QX_LEVERAGE_FREE 1e-10

typedef struct qx_residuals {
    size_t n;
    const double *raw;          /* e */
    const double *leverage;     /* h */
    const double *standardised; /* r */
    const double *studentised;  /* t; NAN for all when n - p < 2 */
    const double *cook;         /* D */
    size_t df;                  /* of one external residual's t: n - p - 1; 0 if none */
} qx_residuals;

/* Residuals of a fit, in the order of its rows; all in `arena`.
 * The random terms are found in the frame of the fit by their names.
 * Errors: QX_E_SHAPE (a random term is not in the frame), QX_E_NOMEM.
 * Cost: least squares O(n p^2); mixed O(q^3 + n p^2) with q levels of all random terms. */
QX_API qx_status qx_residuals_make(qx_ctx *cx,
                                   qx_arena *arena,
                                   const qx_lmm *fit,
                                   qx_residuals *out);

#endif
