/* model/lmm.h - the linear (mixed) model  y = X beta + sum Z_i u_i + e.
 *
 *   u_i ~ N(0, variance_i I)  one independent set for each random term (a unit)
 *   e   ~ N(0, sigma2 I)      the lowest unit
 *
 * Fitted by restricted maximum likelihood on variance ratios gamma_i = variance_i/sigma2
 * >= 0, profiled over beta and sigma2 (Bates et al. 2015, J Stat Softw 67(1):1-48), from
 * cross-products formed once, with exact gradient and Hessian. Without random terms it is
 * least squares by QR. A balanced orthogonal layout gives the numbers of the classical
 * analysis of variance (model/strata.h).
 *
 * A component at zero stays in the information matrix: limbs never become replicates of a
 * treatment put on trees (model/kenward.h). */
#ifndef QX_MODEL_LMM_H
#define QX_MODEL_LMM_H

#include <stdbool.h>

#include "base/ctx.h"
#include "model/design.h"

typedef enum { QX_KENWARD_ROGER, QX_SATTERTHWAITE, QX_CONTAINMENT } qx_df_method;

typedef struct qx_random_term {
    const char *name; /* path of the unit: "block:tree" */
    size_t factor;    /* frame factor number */
} qx_random_term;

/* The arithmetic of the random part. Both give the same numbers; AUTO takes the quicker one
 * (docs/methods/sparse.md), the others are for checks of the arithmetic. */
typedef enum { QX_PATH_AUTO, QX_PATH_DENSE, QX_PATH_SPARSE } qx_path;

typedef struct qx_lmm_spec {
    const qx_frame *frame; /* borrowed; must outlive the fit */
    const double *y;       /* n, already shifted */
    double shift;          /* added back to the intercept and to every mean */
    size_t term_count;
    const qx_term *term;
    size_t random_count;          /* 0: least squares */
    const qx_random_term *random; /* from large to small units */
    qx_df_method df;
    bool unconstrained; /* Kenward-Roger: where a component is at zero, infer from the
                           unconstrained variances (model/unconstrained.h) */
    double level;       /* of the intervals of variance components, 0.95 */
    qx_path path;       /* AUTO is 0 */
    const struct qx_covariance
        *covariance; /* correlated dates or neighbours, residual variances by season
                        (model/covariance.h); NULL: independent units alone */
} qx_lmm_spec;

/* Is there anything to estimate a variation from? */
typedef enum {
    QX_VARIES,
    QX_NIL_BESIDE_FIXED, /* the fixed part takes all of the response, but for rounding */
    QX_NIL_WITHIN_UNITS  /* fixed part and random terms do */
} qx_exhausted;

typedef struct qx_component {
    const char *name; /* random term, or "residual" for the last */
    double variance;  /* >= 0; beyond the numbers there are where sd is not: then 0 or
                            INFINITY */
    double sd;
    double lower, upper; /* profile-likelihood interval; NAN where there is none */
    double lrt, p;       /* restricted likelihood ratio against its absence; NAN for
                                   the residual */
    bool at_zero;
    double unconstrained; /* estimate without the bound at zero, as in the analysis of
                             variance; NAN where there is none */
} qx_component;

typedef struct qx_correlation {
    const char *name;
    double estimate;     /* of neighbours one step apart; NAN: a field without variance */
    double lower, upper; /* profile-likelihood interval; NAN where there is none */
    bool broken;         /* some values between the limits are not allowed */
    double lrt, p;       /* restricted likelihood ratio against nil; NAN: no such law */
    bool at_limit;       /* at the end of what can be told from +-1 (or nil) */
} qx_correlation;

typedef struct qx_lmm {
    qx_arena *arena; /* owns everything below */
    qx_design design;
    size_t n, p, random_count;
    double shift;
    const double *beta;  /* p, on the shifted scale (see qx_lmm_contrast) */
    qx_mat phi;          /* p x p covariance of beta at the estimates */
    qx_mat phi_adjusted; /* Kenward-Roger's; = phi for the other methods */
    qx_df_method df;
    bool unconstrained; /* tests and standard errors come from unconstrained variances */
    size_t component_count; /* random_count + 1; with a covariance: the random terms, the
                               field if there is one, the residuals of all levels */
    qx_component *component;
    size_t correlation_count; /* with a covariance only */
    qx_correlation *correlation;
    double residual_lrt, residual_lrt_df, residual_lrt_p; /* residual variances by level
                                   against one for all; NAN where there are none */
    double reml_criterion; /* -2 restricted log-likelihood with all constants, treatment
                                   coding; NAN without random terms */
    double log_likelihood; /* restricted with random terms, else maximum likelihood */
    double residual_df;    /* n - p */
    double residual_ss;    /* least squares only, else NAN */
    double cv_percent; /* 100 sqrt(sigma2) / |mean of y|; NAN if the mean is not > 0 */
    bool converged;
    size_t iterations;
    qx_exhausted exhausted; /* then standard errors, df and p are NAN */
    const double *fitted;   /* n, X beta + shift */
    const double
        *residual; /* n, y - X beta - Z u (conditional); least squares: y - X beta */
    struct qx_lmm_inner *inner; /* what the df methods need; private to model/ */
} qx_lmm;

/* Fits; *out is freed by qx_lmm_free. QX_E_SHAPE, QX_E_INPUT (nothing to estimate the
 * residual from: n <= p; a response that is not finite), QX_E_NOMEM. A boundary or missed optimum is in the result. */
QX_API qx_status qx_lmm_fit(qx_ctx *cx, const qx_lmm_spec *spec, qx_lmm **out);
QX_API void qx_lmm_free(qx_lmm *fit);

typedef struct qx_estimate {
    double estimate; /* row'beta, plus `shift_weight` times the shift */
    double se, df;   /* df may be INFINITY; se, df NAN if the variance is not estimable */
} qx_estimate;

/* An estimate of row'beta (row: length p). shift_weight: 1 for a mean or the intercept, 0
 * for a difference. */
QX_API qx_status qx_lmm_contrast(qx_ctx *cx,
                                 const qx_lmm *fit,
                                 const double row[],
                                 double shift_weight,
                                 qx_estimate *out);

/* Covariance of two rows under the adjusted covariance: a' phi_adjusted b. */
QX_API double qx_lmm_covariance(const qx_lmm *fit, const double a[], const double b[]);

typedef struct qx_joint_test {
    double num_df, den_df, f, p;
    double sum_of_squares; /* least squares only, else NAN */
    const char *method;    /* "least squares", "Kenward-Roger", ... */
} qx_joint_test;

/* F test of L beta = 0 (L: r x p, full row rank). */
QX_API qx_status qx_lmm_test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out);

/* Profile-likelihood intervals and restricted likelihood ratio tests of all components
 * (fills component[].lower ... p). Separate, since simulations do without. */
QX_API qx_status qx_lmm_profile_components(qx_ctx *cx, qx_lmm *fit, double level);

#endif
