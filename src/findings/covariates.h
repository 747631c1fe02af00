/* findings/covariates.h - covariates are analysed as (x - centre) / scale, so that neither a
 * large mean (dates, heights above the sea) nor an odd unit costs digits, and told as they
 * were measured.
 *
 * With f the indicator of a treatment's level (1 for the intercept), slope b of f x' and
 * effect a of f on the inner scale, the ones of the measured x are
 *
 *     b / scale   and   a - b centre / scale */
#ifndef QX_FINDINGS_COVARIATES_H
#define QX_FINDINGS_COVARIATES_H

#include "findings/work.h"

/* The row (length p, zeroed here) whose product with the fit's coefficients is coefficient
 * `column` for the covariates as measured. */
void qx_covariate_row(const qx_work *w, size_t column, double row[]);

/* The row whose product with the fit's coefficients is the slope in `number` (of the frame)
 * on the inner scale: of level `level` of frame factor `factor`, of all for QX_NO_COLUMN;
 * averaged with equal weights over the levels that are not named. `estimable`: all slopes
 * that the protocol asks for are in the model. */
void qx_covariate_slope(const qx_work *w,
                        size_t number,
                        size_t factor,
                        size_t level,
                        double row[],
                        bool *estimable);

/* What the scales took from log|X'V^-1 X|: to be added to the restricted criterion. */
double qx_covariate_log_det(const qx_work *w);

#endif
