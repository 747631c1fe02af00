/* model/trend.h - orthogonal polynomial coefficients for equal and unequal steps.
 *
 * The coefficients c of degree d over the scores x_1 ... x_k satisfy
 *
 *     c'1 = c'x = ... = c'x^(d-1) = 0,    c'c = 1,    c'x^d > 0  ("rising positive")
 *
 * Found by Gram-Schmidt on powers of the scores, which are first centred and scaled to
 * -1 ... 1, each step taken twice so that no digit is lost to high degrees.
 * Source: Narula 1979, Int Stat Rev 47:31-36. */
#ifndef QX_MODEL_TREND_H
#define QX_MODEL_TREND_H

#include "base/ctx.h"

#define QX_TREND_DEGREE_MOST 4

/* coefficient: k entries for degree 1 ... 4, degree < number of distinct scores.
 * QX_E_ARG otherwise, or when a score is not finite; QX_E_NOMEM. */
QX_API qx_status qx_trend_coefficients(
    qx_ctx *cx, size_t k, const double score[], int degree, double coefficient[]);

#endif
