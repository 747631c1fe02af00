/* findings/estimator.h - what a fitted model says about means and their differences,
 * whatever the kind of the variate.
 *
 * Means, families of differences, letters and verdicts ask these functions and nothing
 * else of a fit, so that centimetres, counts, shares, grades and classes go the same way:
 *
 *   contrast   row'beta on the scale of the linear predictor, with its standard error and
 *              degrees of freedom; NULL for classes without order, which are compared by
 *              the logits of their shares
 *   joint      the test of several rows at once: F of the mixed model, or a likelihood ratio
 *   respond    means in the unit that was measured, with their covariance: averaged over
 *              the random terms (what is seen over many trees), or typical (random effects
 *              of zero). A grade or class has one number for each class. NULL where the
 *              link is the identity: then the contrast is all there is
 *
 *   estimator_normal.c    continuous values   (model/lmm.h)
 *   estimator_glmm.c      counts and shares   (model/glmm.h)
 *   estimator_classes.c   grades and classes  (model/classes.h)
 *
 * Not here: which rows are a term (tests_of.h), limits on the response scale (limits.h). */
#ifndef QX_FINDINGS_ESTIMATOR_H
#define QX_FINDINGS_ESTIMATOR_H

#include "model/lmm.h"

typedef struct qx_estimator qx_estimator;

/* A joint test of several rows. */
typedef struct qx_estimator_test {
    const char *statistic; /* "F" or "chisq" */
    double num_df, den_df; /* den_df NAN for "chisq" */
    double value, p;
    double chisq;          /* likelihood ratio, what small samples start from; or NAN */
    double sum_of_squares; /* least squares only, else NAN */
    const char *method;
} qx_estimator_test;

typedef struct qx_estimator_kind {
    /* `row`: design->p entries. shift_weight: 1 for a mean, 0 for a difference. */
    qx_status (*contrast)(qx_ctx *cx,
                          const qx_estimator *e,
                          const double row[],
                          double shift_weight,
                          qx_estimate *out);

    /* Covariance of two rows on the same scale. */
    double (*covariance)(const qx_estimator *e, const double a[], const double b[]);

    /* Likelihood ratio of L beta = 0 (L: r x p, nothing on the intercept of grades; classes
     * without order: for every class), by a fit of its own, NAN where that fails. With `held`
     * the variances are the same under both. NULL: not to be had. */
    qx_status (*ratio)(qx_ctx *cx, const qx_estimator *e, qx_mat L, double *chisq);

    /* L beta = 0 (L: r x design->p, full row rank); classes without order: in every class. */
    qx_status (*joint)(qx_ctx *cx,
                       const qx_estimator *e,
                       qx_mat L,
                       qx_estimator_test *out);

    /* `rows`: design->p x count, one mean a column. value: count x class_count, the classes
     * of a mean side by side; covariance: square of that size, zeroed. */
    qx_status (*respond)(qx_ctx *cx,
                         const qx_estimator *e,
                         qx_mat rows,
                         bool typical,
                         double value[],
                         qx_mat covariance);

    /* The transform on which responses are nearly normal, its slope, and the way back. */
    double (*to)(const qx_estimator *e, double response, double *slope);
    double (*from)(const qx_estimator *e, double transformed);
} qx_estimator_kind;

struct qx_estimator {
    const qx_estimator_kind *kind;
    const void *fit;         /* of the kind; borrowed */
    const void *held;        /* the same with its variances at their restricted estimates,
                                which ratios are made by (small_sample.h), or NULL: fit */
    const qx_design *design; /* of the fit */
    size_t class_count;      /* 1, or how many classes a grade has */
    double df;               /* where there is no contrast: of every mean */
    bool averaged;           /* the response averages over random terms */
};

extern const qx_estimator_kind qx_estimator_normal;  /* fit: qx_lmm */
extern const qx_estimator_kind qx_estimator_glmm;    /* fit: qx_glmm */
extern const qx_estimator_kind qx_estimator_grades;  /* fit: qx_classes, cumulative */
extern const qx_estimator_kind qx_estimator_classes; /* fit: qx_classes, baseline */

#endif
