/* model/refit.h - one design, many responses: what does not depend on y is made once.
 *
 * Simulated trials, bootstraps and permutations fit the same X and Z again and again. A
 * plan holds the design, its QR, the cross-products of X and Z, which random terms can be
 * told apart, and the likelihood's first point; a fit from it is the one of qx_lmm_fit,
 * number for number, at the cost of what depends on y.
 *
 *     qx_lmm_plan *plan;
 *     QX_TRY(qx_lmm_plan_new(cx, &spec, &plan));         once; spec.y is not looked at
 *     QX_TRY(qx_lmm_refit(cx, plan, y, shift, &fit));    in any thread, with its own cx
 *
 * A plan is constant once it is made: any number of threads may fit from it. */
#ifndef QX_MODEL_REFIT_H
#define QX_MODEL_REFIT_H

#include "model/lmm.h"

typedef struct qx_lmm_plan qx_lmm_plan;

/* spec: y and shift are not used; the frame is borrowed and must outlive the plan, terms
 * and random terms are copied. Notes about the design are told here and not by the fits.
 * Errors: those of qx_lmm_fit that do not come from y. Free with qx_lmm_plan_free. */
QX_API qx_status qx_lmm_plan_new(qx_ctx *cx, const qx_lmm_spec *spec, qx_lmm_plan **out);
QX_API void qx_lmm_plan_free(qx_lmm_plan *plan);

/* The fit of y (n, shifted by `shift`). It borrows the design from the plan, which must
 * outlive it; free with qx_lmm_free. Errors: those of qx_lmm_fit that come from y. */
QX_API qx_status qx_lmm_refit(
    qx_ctx *cx, const qx_lmm_plan *plan, const double y[], double shift, qx_lmm **out);

/* The plan behind a fit, for further responses to its design; lives as long as the fit. */
QX_API const qx_lmm_plan *qx_lmm_plan_of(const qx_lmm *fit);

/* reml_criterion of that fit and nothing else, which costs a fraction of it; NAN where the
 * fit has none. Errors: those of qx_lmm_refit. */
QX_API qx_status qx_lmm_refit_criterion(qx_ctx *cx,
                                        const qx_lmm_plan *plan,
                                        const double y[],
                                        double *out);

#endif
