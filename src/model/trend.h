/* model/trend.h - orthogonal polynomial coefficients for equal and unequal steps, unit
 * length, the highest power's coefficient positive ("rising positive"); by Gram-Schmidt on
 * the centred scores (Narula 1979, Int Stat Rev 47:31-36). */
#ifndef QX_MODEL_TREND_H
#define QX_MODEL_TREND_H

#include "base/ctx.h"

/* coefficient: k entries for degree 1 ... 4, degree < number of distinct scores.
 * QX_E_ARG otherwise. */
QX_API qx_status qx_trend_coefficients(qx_ctx *cx, size_t k, const double score[],
                                       int degree, double coefficient[]);

#endif
