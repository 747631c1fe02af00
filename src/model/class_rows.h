/* model/class_rows.h - log-likelihood of one cell of alike things and its derivatives in
 * the d = K - 1 linear predictors eta, for each kind of answer. Private to model/.
 *
 * A cell holds number[k] things of class k (K of them).
 *
 *   value             l
 *   slope             gradient (d) and minus the Hessian (d x d)
 *   information       expected minus Hessian J of `total` things (d x d)
 *   information_slope sum over a, b of Q_ab dJ_ab / d eta_j (d)
 *   probability       of the K classes
 *
 * Matrices are square, symmetric and dense. Predictors out of order (cumulative) give the
 * value -INFINITY; then the rest may not be asked. */
#ifndef QX_MODEL_CLASS_ROWS_H
#define QX_MODEL_CLASS_ROWS_H

#include <stddef.h>

#include "model/laplace.h"

#define QX_PREDICTORS_MOST QX_LAPLACE_PREDICTORS_MOST

typedef struct qx_class_rows {
    double (*value)(size_t d, const double number[], const double eta[]);
    void (*slope)(
        size_t d, const double number[], const double eta[], double g[], double w[]);
    void (*information)(size_t d, double total, const double eta[], double j[]);
    void (*information_slope)(
        size_t d, double total, const double eta[], const double q[], double out[]);
    void (*probability)(size_t d, const double eta[], double out[]);
    /* The same for model/laplace.h; `data` are the numbers, K for each cell. */
    qx_row_likelihood *likelihood;
} qx_class_rows;

extern const qx_class_rows qx_rows_cumulative; /* logit P(Y <= j) = eta_j, increasing */
extern const qx_class_rows qx_rows_baseline;   /* log P(j) / P(first) = eta_j */

/* What the likelihood is handed. Cumulative: one predictor, the place x'beta + u, and the
 * thresholds as psi; baseline: d predictors. */
typedef struct qx_class_numbers {
    size_t d;
    const double *number; /* cells x K, cell by cell */
} qx_class_numbers;

#endif
