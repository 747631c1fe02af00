/* model/normality.h - are values drawn from a normal distribution?
 *
 * Shapiro and Wilk's W (1965, Biometrika 52:591-611) is the squared correlation of the
 * ordered values with the values that a normal sample would be expected to have. Its
 * coefficients and its p (a normalising transformation of 1 - W) are approximations in
 * polynomials of n: Royston 1995, Appl Stat 44:547-551, algorithm AS R94; exact p at n = 3.
 * Residuals of a model are correlated a little and have fewer degrees of freedom than
 * values, so W of residuals is a guide, not an exact test. */
#ifndef QX_MODEL_NORMALITY_H
#define QX_MODEL_NORMALITY_H

#include "base/ctx.h"
#include "model/check_value.h"

#define QX_SHAPIRO_WILK_LEAST 3
#define QX_SHAPIRO_WILK_MOST  5000

/* value is W, no df. x: n values in any order, not changed.
 * QX_E_ARG when n is not 3 ... 5000, a value is not finite or all are equal; QX_E_NOMEM. */
QX_API qx_status qx_shapiro_wilk(qx_ctx *cx,
                                 size_t n,
                                 const double x[],
                                 qx_check_value *out);

#endif
