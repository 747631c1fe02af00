/* model/descend.h - Newton's method for a few parameters that must not be negative (or, with
 * `open`, may be).
 *
 * Minimises f(x), x >= 0, from its exact derivatives: an active set holds parameters at
 * zero while the gradient pushes them there; the Newton step solves the bound-constrained
 * quadratic model by fixing at zero what would turn negative; step halving (Armijo 1966,
 * Pac J Math 16:1-3) makes every step go down. Where the Hessian is not positive definite
 * the expected one takes its place (scoring). Near the optimum full Newton steps are taken
 * until they stand still at rounding, which is beyond what f itself can show. */
#ifndef QX_MODEL_DESCEND_H
#define QX_MODEL_DESCEND_H

#include <stdbool.h>

#include "base/ctx.h"
#include "numeric/dense.h"

#define QX_DESCENT_MOST 32 /* parameters */

typedef struct qx_descent {
    size_t m; /* parameters, at most QX_DESCENT_MOST */
    void *data;
    /* f at x; INFINITY where it is not defined. */
    qx_status (*value)(qx_ctx *cx, void *data, const double x[], double *f);
    /* f, gradient (m), Hessian and a positive semidefinite stand-in (m x m); f INFINITY
     * where it is not defined, then the rest is not read. */
    qx_status (*derive)(qx_ctx *cx,
                        void *data,
                        const double x[],
                        double *f,
                        double gradient[],
                        qx_mat hessian,
                        qx_mat expected);
    bool open;        /* no bounds at zero: f says INFINITY where it is not defined */
    bool loose;       /* stop at the first step that promises less than f can show */
    double *gradient; /* m, may be NULL: the gradient at the end (loose only) */
} qx_descent;

typedef struct qx_descent_end {
    double f;
    size_t iterations;
    bool converged;
} qx_descent_end;

/* x: start in (>= 0 unless open, f finite there), minimum out. fixed (m): parameters that stay; NULL
 * for none. */
qx_status qx_descend(qx_ctx *cx,
                     const qx_descent *problem,
                     const bool fixed[],
                     double x[],
                     qx_descent_end *out);

#endif
