/* model/class_climb.h - the parameters at which the likelihood of classes is highest.
 * Private to model/.
 *
 * Coordinates y: the P fixed parameters along a basis, z = base + basis y (all of them when
 * there is no basis), then the deviations that are not held. Without random terms and
 * penalty Newton's method on the exact Hessian; else a quasi-Newton method (Broyden,
 * Fletcher, Goldfarb, Shanno: Nocedal & Wright 2006, Numerical Optimization, ch. 6) on the
 * exact gradient that ends on Newton steps with a Hessian of central differences of the
 * gradient. Each step is halved until it goes up (Armijo 1966, Pac J Math 16:1-3). A
 * deviation that ends at zero is held there if the likelihood falls away from it. */
#ifndef QX_MODEL_CLASS_CLIMB_H
#define QX_MODEL_CLASS_CLIMB_H

#include "model/class_model.h"

typedef struct qx_class_climb {
    const qx_class_model *model;
    qx_mat basis;       /* P x f, orthonormal columns; at = NULL: all P */
    const double *base; /* P; NULL: zero */
    const bool *held;   /* D: deviations that stay at their start; NULL: none */
    const qx_mat
        *guess; /* minus the Hessian over z to set out with, (P + D) square, as of a
                            fit to like data; NULL: from the model. Not read where it has a
                            zero on its diagonal */
    bool loose; /* stop when a step promises less than 1e-7 of log L, not 1e-9 */
} qx_class_climb;

typedef struct qx_class_summit {
    double value; /* log L + penalty */
    bool converged;
    bool
        runaway; /* a parameter left what any data can tell (|deviation| or |z| too large) */
    size_t iterations;
    bool *at_zero;  /* D, given by the caller or NULL */
    qx_mat hessian; /* minus the Hessian over y (f + all D; rows of held deviations and of
                       those at zero are 0); given by the caller, or at = NULL: log L alone is
                       wanted, and z is not polished */
} qx_class_summit;

/* z (P + D): start in, which must lie on base + basis y; summit out. QX_E_NUMERIC: the
 * start is not allowed. */
qx_status qx_class_climb_up(qx_ctx *cx,
                            const qx_class_climb *climb,
                            double z[],
                            qx_class_summit *out);

#endif
