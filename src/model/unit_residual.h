/* model/unit_residual.h - odd units: whole trees or blocks that stand apart from the others.
 *
 * For a unit with rows S, z its 0/1 vector, and Q of model/weighting.h (e = Qy are the
 * conditional residuals, variance ratios held at their estimates):
 *
 *     total        w = z'e = sum of e over S,   var w = sigma2 v,  v = z'Qz
 *     standardised r = w / sqrt(v MS),          MS = sum w^2 / sum v over the units
 *     studentised  t = r sqrt((df - 1) / (df - r^2)),   df - 1 degrees of freedom
 *     leverage     1 - z'Qz / z'W^-1z           share of the fixed part in its own fit
 *     cook         what leaving out all of S does to beta: the mean-shift model for the rows
 *                  of S gives delta = Q_SS^-1 e_S and
 *                  D = delta'(W^-1 - Q)_SS delta / (p sigma2)
 *
 * r is the predicted effect of the unit over its own standard deviation, and stays defined
 * where the component is estimated at zero: at an estimate above zero the likelihood equation
 * of the component makes MS = sigma2. df = (tr T)^2 / |T|^2 for T = Z'QZ of these units: the
 * degrees of freedom of the stratum in a balanced layout (T is a multiple of a projection),
 * an approximation otherwise; with more than QX_UNITS_MOST units or 2000 rows, the number of
 * units less p.
 *
 * Source: Cook & Weisberg 1982, Residuals and Influence in Regression, sec. 2.2 and 3.6
 * (groups of cases); Haslett & Dillane 2004, J R Stat Soc B 66:131-143 (mixed models);
 * Satterthwaite 1946, Biometrics Bulletin 2:110-114 (df of a sum of squares). */
#ifndef QX_MODEL_UNIT_RESIDUAL_H
#define QX_MODEL_UNIT_RESIDUAL_H

#include "model/lmm.h"

#define QX_UNITS_MOST 1000 /* beyond: df by counting */
#define QX_UNIT_ROWS_MOST                                                                \
    300 /* rows of a unit beyond which cook is NAN: costs their cube */

typedef struct qx_unit_residuals {
    size_t count;
    double df;                  /* of the stratum, as above; NAN where there is none */
    const double *standardised; /* count each; NAN where the fixed part holds the unit */
    const double *studentised;  /* NAN also where df < 2 */
    const double *leverage;
    const double *cook; /* NAN: without the unit not all of beta can be estimated */
} qx_unit_residuals;

/* Residuals of the units of a factor of the fit's frame; all in `arena`. Everything is NAN
 * where Q is lost (model/weighting.h) or the fit has a covariance of its own.
 * Errors: QX_E_ARG (no such factor), QX_E_SHAPE, QX_E_NOMEM.
 * Cost: that of qx_residuals_make, and the cube of the rows of each unit. */
QX_API qx_status qx_unit_residuals_make(qx_ctx *cx,
                                        qx_arena *arena,
                                        const qx_lmm *fit,
                                        size_t factor,
                                        qx_unit_residuals *out);

#endif
