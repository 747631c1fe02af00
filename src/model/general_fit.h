/* model/general_fit.h - a mixed model with a covariance of model/covariance.h, put in the
 * place of the fit of variance components that it starts from. Private to model/.
 *
 * Everything that reads a fit (means, tests, residuals) works from what stands in
 * model/lmm_inner.h: phi, its derivatives by theta, the covariance of theta. For V that is
 * not linear in a correlation, Kenward & Roger's correction of phi has second derivatives
 * and the bias of theta in it: qx_general_bias (model/general.h), with W = 2 I^-1 and I_ij =
 * tr P V_i P V_j. Satterthwaite takes the observed information in its place, containment
 * the df of the strata.
 *
 * A variance at zero stays among the parameters. A correlation at its bound, and those of a
 * field without variance, which nothing tells, count as known. */
#ifndef QX_MODEL_GENERAL_FIT_H
#define QX_MODEL_GENERAL_FIT_H

#include "model/general.h"
#include "model/lmm_inner.h"

struct qx_general_fit {
    qx_general general;
    qx_general_point at;  /* at the optimum */
    double *theta;        /* general.m */
    double f;             /* least criterion */
    size_t *component;    /* general.m: number of the component, or QX_NO_COLUMN */
    size_t *correlation;  /* general.m: number of the correlation, or QX_NO_COLUMN */
    double *standardised; /* n: Py / root of P_ii; NAN where P_ii is nil */
    double *leverage;     /* n: 1 - P_ii / (R^-1)_ii */
    double *cook;         /* n */
};

/* Replaces what the fit of variance components says. r: n, out: conditional residuals of
 * y / scale. Nothing happens when the response has no variation left. */
qx_status qx_general_refit(
    qx_ctx *cx, const qx_lmm_spec *spec, const double y[], qx_lmm *fit, double r[]);

/* The parameters in the order units, residuals, correlation of dates, field and its
 * correlations. QX_E_INPUT: a unit has two rows on one date; QX_E_SHAPE: too many. */
qx_status
qx_general_parts(qx_ctx *cx, const qx_lmm_spec *spec, const qx_lmm *fit, qx_parts *out);

/* Covariance of theta at the optimum (m x m): twice the inverse of the expected information,
 * or of the observed one where that is positive definite. */
qx_status qx_general_spread(qx_ctx *cx,
                            const struct qx_general_fit *own,
                            bool observed,
                            qx_mat out);

/* Intervals of variances and correlations, likelihood ratios of the structures. */
qx_status qx_general_profile(qx_ctx *cx, qx_lmm *fit, double level);

/* Least criterion over theta from several starts; `fixed` (m, or NULL) stay as they are handed
 * in; theta (m) out. */
qx_status qx_general_search(qx_ctx *cx,
                            const qx_general *g,
                            qx_general_point *room,
                            const bool fixed[],
                            double theta[],
                            qx_descent_end *out);

/* standardised, leverage, cook of the inner fit (qx_residuals_make publishes them):
 *
 *     standardised  (Py)_i / root of P_ii      the residual of row i from the other rows
 *     cook          (Py_i / P_ii)^2 (V^-1 - P)_ii / p
 *     leverage      1 - P_ii / (R^-1)_ii       R the residual part of V
 *
 * For R = sigma2 I they are those of model/residual.h. */
qx_status qx_general_diagnose(qx_ctx *cx, const qx_lmm *fit);

#endif
