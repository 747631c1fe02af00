/* model/boxcox.h - which power of the response makes it behave like a normal linear model?
 *
 *     y(lambda) = (y^lambda - 1) / lambda, log y at 0
 *     l(lambda) = -n/2 log(RSS of z(lambda)),  z = ((y/g)^lambda - 1) / lambda,
 *                 g the geometric mean of y (which takes care of the Jacobian)
 *
 * The estimate is where l is largest; the interval holds every lambda with
 * 2 (l(best) - l) below the chi-squared quantile with 1 df.
 * Source: Box & Cox 1964, J R Stat Soc B 26:211-252. */
#ifndef QX_MODEL_BOXCOX_H
#define QX_MODEL_BOXCOX_H

#include "model/lmm.h"

/* Powers that are looked at: beyond these a power is no answer to anything. */
#define QX_BOX_COX_MOST 10.0

typedef struct qx_box_cox {
    double lambda, lower,
        upper; /* profile likelihood estimate and interval at `level`; NAN
                                    where it does not lie within +-QX_BOX_COX_MOST or the
                                    model leaves no residual */
} qx_box_cox;

/* All y (unshifted, n of the design) > 0 and finite, else QX_E_ARG. Fixed part by least
 * squares. QX_E_NOMEM. Cost: about 200 projections, O(n p) each. */
QX_API qx_status qx_box_cox_profile(
    qx_ctx *cx, const qx_design *design, const double y[], double level, qx_box_cox *out);

/* The same with random parts: the restricted likelihood of z(lambda), whose geometric mean
 * takes care of the Jacobian, is profiled over the fixed effects and the components; each
 * lambda is a fit of its own from one plan (model/refit.h). y as above; spec->y and
 * spec->shift are not looked at. NAN also where a fit fails.
 * Source: Gurka, Edwards, Muller & Kupper 2006, J R Stat Soc A 169:273-288. Errors: those of
 * qx_lmm_plan_new, QX_E_ARG as above. Cost: about 40 fits. */
QX_API qx_status qx_box_cox_restricted(
    qx_ctx *cx, const qx_lmm_spec *spec, const double y[], double level, qx_box_cox *out);

/* The same from a plan that is there already (qx_lmm_plan_of: that of a fit); n: its rows. */
struct qx_lmm_plan;
QX_API qx_status qx_box_cox_by_plan(qx_ctx *cx,
                                    const struct qx_lmm_plan *plan,
                                    size_t n,
                                    const double y[],
                                    double level,
                                    qx_box_cox *out);

/* Powers that are looked at with random parts. */
#define QX_BOX_COX_RESTRICTED_MOST 3.0

#endif
