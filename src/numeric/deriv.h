/* numeric/deriv.h - derivatives by Richardson-extrapolated central differences (Ridders
 * 1982, Adv Eng Softw 4:75-76): to check analytic gradients and Hessians in tests, and
 * for Satterthwaite where no analytic form is known. */
#ifndef QX_NUMERIC_DERIV_H
#define QX_NUMERIC_DERIV_H

#include "numeric/bobyqa.h"
#include "numeric/dense.h"

QX_API qx_status qx_gradient(qx_ctx *cx,
                             size_t m,
                             qx_objective *f,
                             void *data,
                             const double x[],
                             double gradient[]);
QX_API qx_status qx_hessian(
    qx_ctx *cx, size_t m, qx_objective *f, void *data, const double x[], qx_mat hessian);

#endif
