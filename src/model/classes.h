/* model/classes.h - answers that are classes: what grades (model/ordinal.h) and classes
 * without order (model/multinomial.h) have in common, from the question to the result.
 *
 * Row i lies in one of K classes, or stands for many alike things counted by class. Its
 * probabilities follow from K - 1 linear predictors
 *
 *     cumulative  P(Y <= j) = logistic(threshold_j - x'beta - sum u)
 *     baseline    log P(Y = j) / P(Y = first) = x'beta_j + sum u_j
 *
 * with u ~ N(0, variance I) for each random term (and, baseline, for each class against the
 * first). The random effects are integrated out by Laplace's method or, with one random
 * term and one effect a unit, by adaptive Gauss-Hermite quadrature; fixed part and standard
 * deviations are found together by Newton's method on exact gradients.
 *
 * Where the classes are told apart perfectly (model/separation.h) maximum likelihood has no
 * finite estimate. The fit then maximises the likelihood times Jeffreys' prior of the fixed
 * part at u = 0, |I(beta)|^(1/2): finite, unchanged by recoding, and vanishing as the trial
 * grows; `penalised` and a note tell it, and every test and interval uses that likelihood.
 *
 * Log-likelihoods are those of the single things in their order: no multinomial constants.
 * Standard errors come from the joint Hessian over fixed part and standard deviations; a
 * deviation at zero is held there. `df` of estimates is INFINITY throughout.
 *
 * Source: McCullagh 1980, J R Stat Soc B 42:109-142; Agresti 2013, Categorical Data
 *         Analysis, 3rd ed., ch. 8 and 13; Firth 1993, Biometrika 80:27-38; Heinze &
 *         Schemper 2002, Stat Med 21:2409-2419; with random terms: Sterzinger & Kosmidis
 *         2023, Stat Comput 33:53. */
#ifndef QX_MODEL_CLASSES_H
#define QX_MODEL_CLASSES_H

#include <stdbool.h>
#include <stdint.h>

#include "base/ctx.h"
#include "model/design.h"
#include "model/lmm.h"
#include "numeric/rng.h"

typedef enum { QX_CUMULATIVE, QX_BASELINE } qx_classes_kind;

typedef enum {
    QX_PENALTY_AUTO,  /* only where maximum likelihood has no finite estimate */
    QX_PENALTY_ALWAYS /* Jeffreys' prior in any case */
} qx_penalty;

/* The response is given in one of two ways:
 *   code, times  the class of each row and how many alike things it stands for
 *   count        how many things of each class a row has (k of n: n - k and k) */
typedef struct qx_classes_spec {
    const qx_frame *frame; /* borrowed; must outlive the fit */
    size_t class_count;    /* 2 ... QX_CLASSES_MOST */
    const char *const *class_name;
    const uint32_t *code; /* n: 0 ... class_count - 1; NULL with `count` */
    const double *times;  /* n: >= 0; NULL: one each */
    const double *count;  /* n x class_count, column-major, >= 0; NULL with `code` */
    size_t term_count;
    const qx_term *term;
    size_t random_count;
    const qx_random_term *random; /* from large to small units */
    size_t quadrature; /* points; 0 or 1: Laplace. More only with one effect a unit */
    qx_penalty penalty;
} qx_classes_spec;

#define QX_CLASSES_MOST 16

typedef struct qx_classes {
    qx_arena *arena; /* owns everything below */
    qx_classes_kind kind;
    qx_design design;
    size_t n;           /* rows */
    double total;       /* things */
    size_t class_count; /* classes that were seen: K */
    const char *const *class_name;
    const size_t *class_of;  /* spec.class_count: its number among the K, or QX_NO_COLUMN:
                               never seen, probability 0 */
    size_t p;                /* cumulative: K - 1 thresholds, then a slope for each column
                                 but the intercept; baseline: K - 1 times design.p */
    const char *const *name; /* p: "threshold:low|medium", "temp=warm"; baseline
                                 "lateral:intercept", "lateral:angle=60" */
    const double *coef;      /* p */
    qx_mat covariance;       /* p x p */
    size_t component_count;  /* random terms; baseline: times K - 1, "lateral:block:tree",
                                 the classes of the first term first */
    qx_component *component; /* no residual; lower ... p NAN until profiled */
    double log_likelihood;   /* without the penalty, at the estimates */
    double penalty;          /* log of Jeffreys' prior there, 0 without */
    bool penalised;
    const char *separation; /* why, in words for a sentence: "treatment=none (all 20
                               asleep)"; "" where it was asked for or is not so */
    const char *method;     /* "maximum likelihood", "Laplace", "adaptive quadrature" */
    bool converged;
    size_t iterations;
    struct qx_classes_inner *inner; /* private to model/ */
} qx_classes;

/* Freed whole; NULL is accepted. Made by qx_ordinal_fit and qx_multinomial_fit. */
QX_API void qx_classes_free(qx_classes *fit);

/* row'beta (row: length design.p, made by model/design.h) on the scale of the link: the
 * place on the cumulative scale, without the thresholds, high towards the last class
 * (`which` is not read); or the log odds of class `which` (1 ... K - 1) against the first.
 * QX_E_ARG. */
QX_API qx_status qx_classes_contrast(qx_ctx *cx,
                                     const qx_classes *fit,
                                     const double row[],
                                     size_t which,
                                     qx_estimate *out);

/* Profile likelihood interval (penalised where the fit is) of the same quantity; an end
 * that the data leave open is infinite. Cost: some ten fits. */
QX_API qx_status qx_classes_interval(qx_ctx *cx,
                                     const qx_classes *fit,
                                     const double row[],
                                     size_t which,
                                     double level,
                                     double *lower,
                                     double *upper);

typedef struct qx_classes_test {
    size_t df;
    double chisq, p;
    const char *method; /* "likelihood ratio", "penalised likelihood ratio", ... */
} qx_classes_test;

/* Likelihood ratio test of L beta = 0 (L: r x design.p, full row rank, nothing but rounding on
 * the intercept where the kind is cumulative); baseline: for every class, r (K - 1) df.
 * QX_E_SHAPE, QX_E_RANK. Cost: one fit. */
QX_API qx_status qx_classes_lrt(qx_ctx *cx,
                                const qx_classes *fit,
                                qx_mat L,
                                qx_classes_test *out);

/* Mean of the likelihood ratio of L beta = 0 over its degrees of freedom when the hypothesis
 * holds, to the order 1 / n (classes_bartlett.c): the ratio over it is nearer to chi-squared
 * (Bartlett 1937, Proc R Soc A 160:268-282; Lawley 1956, Biometrika 43:295-303). Random
 * effects are taken as zero; 1 where the data are too many to need it. L as above.
 * QX_E_SHAPE, QX_E_RANK, QX_E_NOMEM. Cost: one fit, and cells^2 (K - 1)^4. */
QX_API qx_status qx_classes_bartlett(qx_ctx *cx,
                                     const qx_classes *fit,
                                     qx_mat L,
                                     double *factor);

/* The highest log-likelihood (with the penalty, where the fit has one) under L beta = 0, L as
 * above: for ratios of hypotheses that hold each other, as of terms one after the other. */
QX_API qx_status qx_classes_under(qx_ctx *cx,
                                  const qx_classes *fit,
                                  qx_mat L,
                                  double *value);

/* The model of `fit` with the deviations of its random terms (sd: component_count) held at these
 * values, the fixed part at its best: a fit whose qx_classes_lrt and qx_classes_under hold them
 * too. Covariances and means stay those of `fit`, which must outlive *out; log_likelihood has
 * the penalty in it. Free with qx_classes_free. QX_E_NUMERIC, QX_E_NOMEM. */
QX_API qx_status qx_classes_hold(qx_ctx *cx,
                                 const qx_classes *fit,
                                 const double sd[],
                                 qx_classes **out);

/* Derivatives of the objective by the deviations: slope, component_count of them. */
QX_API qx_status qx_classes_slope(qx_ctx *cx, const qx_classes *fit, double slope[]);

/* Probabilities of the K classes at each row of `rows` (m x design.p): `typical` at random
 * effects of zero, else averaged over them (what is seen over many trees; the same without
 * random terms). estimate: m K, class k of row i at [i K + k]; covariance: m K square by
 * the delta method, deviations of the random terms included, or at = NULL. QX_E_SHAPE. */
QX_API qx_status qx_classes_means(qx_ctx *cx,
                                  const qx_classes *fit,
                                  qx_mat rows,
                                  bool typical,
                                  double estimate[],
                                  qx_mat covariance);

/* Interval of a probability from its standard error, by the logit: inside 0 ... 1. NAN
 * where the probability is 0 or 1 or se is not a number. */
QX_API void qx_classes_probability_interval(
    double estimate, double se, double level, double *lower, double *upper);

/* Profile-likelihood intervals and likelihood ratio tests (half chi-squared 0, half 1) of
 * the components: fills component[].lower ... p. */
QX_API qx_status qx_classes_profile_components(qx_ctx *cx, qx_classes *fit, double level);

/* Parametric bootstrap of qx_classes_lrt: `null` is the fit under L beta = 0; each draw
 * simulates a response from it and gives the likelihood ratio of that response. `null`
 * borrows the fit, is never written to, and may be shared by threads (each its own cx and
 * rng). p = (1 + draws >= observed) / (draws + 1). */
typedef struct qx_classes_null qx_classes_null;
QX_API qx_status qx_classes_null_make(qx_ctx *cx,
                                      qx_arena *arena,
                                      const qx_classes *fit,
                                      qx_mat L,
                                      const qx_classes_null **out);
QX_API qx_status qx_classes_null_draw(qx_ctx *cx,
                                      const qx_classes_null *null,
                                      qx_rng *rng,
                                      double *chisq);
/* The observed likelihood ratio that the draws are held against. */
QX_API double qx_classes_null_observed(const qx_classes_null *null);

#endif
