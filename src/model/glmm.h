/* model/glmm.h - counts and shares: generalised linear (mixed) models.
 *
 *     link(mean) = x'beta + sum of u of the units        u ~ N(0, variance of the unit)
 *
 * One entry with and without random terms. The fit maximises the likelihood of model/laplace.h
 * over beta, standard deviations of units and the spread of the family together: the Laplace
 * approximation, or adaptive Gauss-Hermite quadrature for one scalar random term (without
 * random terms it is exact). McCullagh & Nelder 1989, Generalized Linear Models, 2nd ed.;
 * Breslow & Clayton 1993, J Am Stat Assoc 88:9-25; Lee, Nelder & Pawitan 2006, Generalized
 * Linear Models with Random Effects; Pinheiro & Bates 1995, J Comput Graph Stat 4:12-35.
 *
 * Variation beyond the family's own:
 *   none      binomial, Poisson
 *   scaled    standard errors times the square root of Pearson's chi-squared over its df,
 *             t and F (quasi-likelihood, Wedderburn 1974, Biometrika 61:439-447)
 *   modelled  beta-binomial, negative binomial; the spread is estimated with the rest
 *   unit      each row has a random effect of its own
 *
 * Standard errors: `covariance` is the beta part of the inverse Hessian of -log L over all
 * parameters together, so it holds the uncertainty of variances and spread; `conditional`
 * holds them at their estimates. Without random terms (beta-binomial excepted): the expected
 * information, in which beta and theta are orthogonal (McCullagh & Nelder 1989, section 2.5;
 * Lawless 1987, Can J Stat 15:209-225); with `penalise` at the penalised estimates, as Firth.
 *
 * Separation (a treatment where every bud broke, or none) gives estimates that run away. The
 * fit ends where log L no longer rises, `separated` says so and which columns are touched;
 * their standard errors mean nothing. `penalise` keeps them finite (Firth 1993, Biometrika
 * 80:27-38; whether to ask for it: model/separation.h). */
#ifndef QX_MODEL_GLMM_H
#define QX_MODEL_GLMM_H

#include "model/family.h"
#include "model/lmm.h"

typedef enum {
    QX_EXTRA_NONE,
    QX_EXTRA_SCALED,
    QX_EXTRA_MODELLED,
    QX_EXTRA_UNIT
} qx_extra;

typedef struct qx_glmm_spec {
    const qx_frame *frame; /* borrowed; must outlive the fit */
    const double *k;       /* n: count, or how many of `size` */
    const double *size;    /* n, shares only */
    const double *times;   /* n: how many alike things a row stands for (> 0), or NULL */
    size_t term_count;
    const qx_term *term;
    size_t random_count;
    const qx_random_term *random; /* from large to small units */
    const qx_family *family; /* with QX_EXTRA_MODELLED the plain family may be named: its
                                `modelled_by` is fitted; and naming that one says MODELLED */
    qx_link link;
    qx_extra extra;
    const char
        *unit_name;    /* QX_EXTRA_UNIT: path of the unit that a row is, "block:tree" */
    size_t quadrature; /* points; 0 or 1: Laplace */
    bool penalise;     /* Jeffreys' prior on beta */
    bool
        no_covariance; /* estimates and log L only (simulation, bootstrap): covariances are
                           NAN */
    bool quick;   /* simulated trials: log L to 1e-8, here and in the tests made from the
                   fit, rather than to the last digit; the deviance of families with a
                   spread is NAN */
    double level; /* of intervals, 0.95 */
} qx_glmm_spec;

/* Parameters in the order of `joint`: beta (p), standard deviations (m), psi (0 or 1). */
typedef struct qx_glmm {
    qx_arena *arena; /* owns everything below */
    qx_design design;
    const qx_family *family; /* as fitted */
    qx_link link;
    qx_extra extra;
    double level;
    size_t n, p;
    size_t m;           /* random terms, that of QX_EXTRA_UNIT (the last) included */
    size_t length;      /* p + m + (1 with a spread) */
    const double *beta; /* p */
    const double *sd;   /* m */
    double psi;         /* spread of the family; 0 without */
    qx_mat covariance;  /* p x p; with QX_EXTRA_SCALED already scaled */
    qx_mat conditional; /* p x p, variances and spread held */
    qx_mat joint;       /* length x length; 0 for what is at zero */
    qx_component
        *component; /* m; intervals and tests NAN until qx_glmm_profile_components */
    double log_likelihood; /* with all constants; with `penalise` without the penalty */
    double penalty;        /* 1/2 log|X'WX|; 0 without `penalise` */
    double deviance;       /* sum of unit deviances at `fitted` */
    double pearson_chisq;  /* sum of (k - mean)^2 / variance at `fitted` */
    double residual_df;    /* things (sum of times) - p - m */
    double dispersion; /* phi, theta (INFINITY: none to be seen), or with QX_EXTRA_SCALED
                          pearson_chisq / residual_df; else NAN */
    double dispersion_se;     /* phi, theta; NAN where there is none */
    bool dispersion_at_bound; /* modelled, and no extra variation to be seen */
    double df;         /* of t and F: residual_df with QX_EXTRA_SCALED, else INFINITY */
    const double *eta; /* n, linear predictor at the modes of the random effects */
    const double *fitted; /* n, its mean: share or count */
    const double *const
        *effect; /* m: modes of the random effects, on the scale of eta, one
                                    for each level */
    bool converged;
    bool separated;
    const bool *separated_column; /* p */
    size_t iterations;
    struct qx_glmm_inner *inner; /* private to model/ */
} qx_glmm;

/* Fits; *out is freed by qx_glmm_free. QX_E_INPUT (a value outside the support, told with
 * rows; a random term with one unit only is no error), QX_E_ARG (link, quadrature with
 * several random terms, times not > 0), QX_E_SHAPE, QX_E_NOMEM. Outcomes (no optimum, a
 * variance at zero, separation) are in the result. */
QX_API qx_status qx_glmm_fit(qx_ctx *cx, const qx_glmm_spec *spec, qx_glmm **out);
QX_API void qx_glmm_free(qx_glmm *fit);

/* row'beta on the link scale; df as in the fit. row: length p. */
QX_API qx_status qx_glmm_contrast(qx_ctx *cx,
                                  const qx_glmm *fit,
                                  const double row[],
                                  qx_estimate *out);

/* a' covariance b. */
QX_API double qx_glmm_covariance(const qx_glmm *fit, const double a[], const double b[]);

typedef struct qx_glmm_test {
    double num_df;
    double den_df; /* INFINITY; with QX_EXTRA_SCALED the residual df */
    double chisq;  /* likelihood ratio: 2 (log L - log L under L beta = 0), both with all
                        their parameters estimated */
    double f;      /* with QX_EXTRA_SCALED: change of deviance / num_df / dispersion; else
                        NAN */
    double p;      /* of f with QX_EXTRA_SCALED, else of chisq */
    double wald;   /* Wald's chi-squared (L b)'(L C L')^-1 (L b) */
    double wald_p; /* chi-squared; F with QX_EXTRA_SCALED */
    bool converged;     /* of the fit under the hypothesis */
    const char *method; /* "likelihood ratio", "quasi-likelihood F" */
} qx_glmm_test;

/* Test of L beta = 0 (L: r x p, full row rank), by a second fit on the null space of L.
 * QX_E_SHAPE, QX_E_RANK, QX_E_NOMEM. */
QX_API qx_status qx_glmm_test_rows(qx_ctx *cx,
                                   const qx_glmm *fit,
                                   qx_mat L,
                                   qx_glmm_test *out);

/* The model of `fit` with its standard deviations (sd: m) and spread (psi) held at these values,
 * beta at its best: a fit whose qx_glmm_test_rows hold them too. Covariances, means and what
 * follows from them stay those of `fit`, which must outlive *out; free with qx_glmm_free. What
 * `fit` itself holds (units that cannot be told apart) stays at nil. QX_E_ARG (a fit under a
 * hypothesis), QX_E_NUMERIC, QX_E_NOMEM. */
QX_API qx_status qx_glmm_hold(
    qx_ctx *cx, const qx_glmm *fit, const double sd[], double psi, qx_glmm **out);

/* Derivatives of log L (with the penalty, if there is one) by the standard deviations and,
 * with a spread, psi: slope, length - p of them. Nil at an optimum, and at nil. QX_E_NOMEM. */
QX_API qx_status qx_glmm_slope(qx_ctx *cx, const qx_glmm *fit, double slope[]);

/* Profile-likelihood intervals and likelihood ratio tests of all components (fills
 * component[].lower ... p, variances). */
QX_API qx_status qx_glmm_profile_components(qx_ctx *cx, qx_glmm *fit);

/* ---- means on the response scale ------------------------------------------------------- */

typedef struct qx_glmm_mean {
    double estimate;     /* share or count */
    double se;           /* delta method */
    double lower, upper; /* at the fit's level, made on the link scale and turned back */
    double link_estimate, link_se; /* of the link of `estimate` */
} qx_glmm_mean;

/* The equal-weighted average over the rows (columns of `rows`, p x r) of the mean there.
 *   population   averaged over the normal random terms: what is seen over many units;
 *                the se holds the uncertainty of the variances too
 *   else         typical: random effects of zero
 * Without random terms both are the same. `slope` (length fit->length, or NULL) receives
 * the derivatives by all parameters, for qx_glmm_slopes_covariance. QX_E_SHAPE, QX_E_NOMEM.
 */
QX_API qx_status qx_glmm_mean_of(qx_ctx *cx,
                                 const qx_glmm *fit,
                                 qx_mat rows,
                                 bool population,
                                 double slope[],
                                 qx_glmm_mean *out);

/* Covariance of two quantities with these derivatives by all parameters: a' joint b (scaled
 * with QX_EXTRA_SCALED). A difference of two means has slope a - b. */
QX_API double
qx_glmm_slopes_covariance(const qx_glmm *fit, const double a[], const double b[]);

/* ---- residuals ------------------------------------------------------------------------- */

typedef enum {
    QX_RESIDUAL_RESPONSE, /* k - mean */
    QX_RESIDUAL_PEARSON,  /* over the standard deviation */
    QX_RESIDUAL_DEVIANCE, /* signed root of the unit deviance */
    QX_RESIDUAL_QUANTILE /* randomised quantiles: standard normal if the model is right; Dunn
                             & Smyth 1996, J Comput Graph Stat 5:236-244 */
} qx_residual_kind;

/* out: n. `seed` is used by QX_RESIDUAL_QUANTILE only. Rows of size 0 get NAN. */
QX_API qx_status qx_glmm_residuals(
    qx_ctx *cx, const qx_glmm *fit, qx_residual_kind kind, uint64_t seed, double out[]);

/* ---- the same design again, for simulation and bootstrap ------------------------------- */

typedef struct qx_glmm_quick {
    double *beta; /* in: room for p estimates, or NULL */
    double *sd;   /* in: room for m, or NULL */
    double psi;
    double log_likelihood; /* with `penalise` the penalty is in it */
    bool converged;
} qx_glmm_quick;

/* Fits the model of `fit` to other responses k (n, in the support). `start_here`: begin at
 * the estimates of `fit` rather than from the data alone. `fit` is only read: any number of
 * threads, each with its cx and out. QX_E_INPUT (outside the support), QX_E_NUMERIC,
 * QX_E_NOMEM. Cost: about a tenth of a millisecond for 200 rows in 40 units. */
QX_API qx_status qx_glmm_refit(qx_ctx *cx,
                               const qx_glmm *fit,
                               const double k[],
                               bool start_here,
                               qx_glmm_quick *out);

/* The fit under L beta = 0: a model of its own, for qx_glmm_refit and qx_glmm_simulate
 * (its beta is in the coordinates of its own null space; means and tests refuse it with
 * QX_E_ARG). Lives as long as *out; `fit` must outlive it. Free with qx_glmm_free. */
QX_API qx_status qx_glmm_restrict(qx_ctx *cx,
                                  const qx_glmm *fit,
                                  qx_mat L,
                                  qx_glmm **out);

/* Responses drawn from the fitted model, random effects drawn anew. k: n. */
QX_API qx_status qx_glmm_simulate(qx_ctx *cx,
                                  const qx_glmm *fit,
                                  qx_rng *rng,
                                  double k[]);

#endif
