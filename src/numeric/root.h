/* numeric/root.h - a root or a minimum between two points (Brent 1973, Algorithms for
 * Minimization without Derivatives, ch. 4 and 5). */
#ifndef QX_NUMERIC_ROOT_H
#define QX_NUMERIC_ROOT_H

#include "base/ctx.h"

typedef double qx_function(void *data, double x);

/* Root of f in [low, high] with a change of sign, to `tolerance` in x (0: as far as double
 * arithmetic goes). QX_E_ARG without a change of sign; QX_E_NUMERIC on not-a-number. */
QX_API qx_status qx_root(qx_ctx *cx,
                         qx_function *f,
                         void *data,
                         double low,
                         double high,
                         double tolerance,
                         double *x);

/* Place of a minimum of f in [low, high], to about sqrt(epsilon) or `tolerance`. */
QX_API qx_status qx_minimum(qx_ctx *cx,
                            qx_function *f,
                            void *data,
                            double low,
                            double high,
                            double tolerance,
                            double *x);

#endif
