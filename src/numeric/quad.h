/* numeric/quad.h - nodes and weights of Gauss rules (Golub & Welsch 1969, Math Comp
 * 23:221-230, refined by Newton on the orthogonal polynomial). */
#ifndef QX_NUMERIC_QUAD_H
#define QX_NUMERIC_QUAD_H

#include "base/ctx.h"

/* Weight exp(-x^2) on the whole line; k = 1 ... 100 nodes ascending. QX_E_ARG. */
QX_API qx_status qx_gauss_hermite(qx_ctx *cx, size_t k, double node[], double weight[]);

/* Weight 1 on [-1, 1]; k = 1 ... 200. QX_E_ARG. */
QX_API qx_status qx_gauss_legendre(qx_ctx *cx, size_t k, double node[], double weight[]);

#endif
