/* model/class_model.h - the likelihood of classes as a function of all its parameters.
 * Private to model/.
 *
 * Parameters z, length P + D:
 *
 *   parallel  d thresholds, then q slopes    eta_j = threshold_j - x'slope
 *   free      q for each predictor in turn   eta_j = x'beta_j        (P = d q)
 *   then D standard deviations of random terms (free: d for each term, predictor by
 *   predictor inside the term); the function is even in each
 *
 * x are the columns of the design made orthonormal over the things (parallel: centred
 * first), so that the parameters are of one size whatever the covariates' units:
 *
 *     x = root' (design row - centre),   beta = root slope,   threshold + centre'beta
 *
 * What is maximised is log L and, if penalised,
 *
 *     1/2 log|I(P parameters at u = 0)| - sum over D of sd^2 / (2 SD_SOFT^2)
 *
 * the first Jeffreys' prior, I the expected information; the second keeps the deviations of
 * units that are all or nothing from running away. */
#ifndef QX_MODEL_CLASS_MODEL_H
#define QX_MODEL_CLASS_MODEL_H

#include "model/class_cells.h"
#include "model/class_rows.h"
#include "model/laplace.h"

typedef struct qx_class_model {
    const qx_class_rows *rows;
    bool parallel, penalised;
    size_t K, d, q, P, D;
    size_t cells;
    const double *x;      /* cells x q, cell by cell */
    const double *number; /* cells x K */
    const double *total;  /* cells */
    qx_mat X;             /* cells x q: x by columns, for the plan */
    size_t random_count, quadrature;
    const qx_laplace_random *random; /* random_count d (parallel: random_count) */
    const qx_laplace_plan *plan;     /* NULL without random terms */
} qx_class_model;

/* Completes a model of which rows, parallel, K, cells, x, q, number, total, random_count,
 * random, quadrature and penalised are set: sizes, X and the plan, in `arena`. */
qx_status qx_class_model_finish(qx_ctx *cx, qx_arena *arena, qx_class_model *model);

/* Predictors (d) of a row x (q) at u = 0. */
void qx_class_predict(const qx_class_model *model,
                      const double x[],
                      const double z[],
                      double eta[]);

/* out (P) += the derivatives g of something by the predictors of a row, carried to the P
 * parameters. */
void qx_class_carry(const qx_class_model *model,
                    const double x[],
                    const double g[],
                    double out[]);

/* log L without penalty and, if not NULL, its gradient (P + D). -INFINITY where it cannot
 * be. */
qx_status qx_class_likelihood(qx_ctx *cx,
                              const qx_class_model *model,
                              const double z[],
                              double *value,
                              double gradient[]);

/* The penalty (0 without) and, added to it if not NULL, its gradient. */
qx_status qx_class_penalty(qx_ctx *cx,
                           const qx_class_model *model,
                           const double z[],
                           double *value,
                           double gradient[]);

/* Their sum. */
qx_status qx_class_objective(qx_ctx *cx,
                             const qx_class_model *model,
                             const double z[],
                             double *value,
                             double gradient[]);

/* Information of the P parameters at u = 0, P x P: expected, or minus the Hessian. */
qx_status qx_class_information(
    qx_ctx *cx, const qx_class_model *model, const double z[], bool expected, qx_mat out);

/* A start: the shares of the whole, no effects, deviations of 1/2. */
void qx_class_start(const qx_class_model *model, double z[]);

#endif
