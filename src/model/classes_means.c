#include "model/classes.h"

#include <math.h>
#include <string.h>

#include "model/class_average.h"
#include "model/classes_inner.h"
#include "numeric/dist.h"

void qx_classes_row(const qx_classes *fit, const double row[], double weight, double x[])
{
    const struct qx_classes_inner *in = fit->inner;
    const size_t q = in->model.q;
    for (size_t j = 0; j < q; j++) {
        x[j] = 0.0;
        for (size_t k = 0; k <= j; k++) {
            x[j] += QX_AT(in->root, k, j) * (row[in->skip + k] - weight * in->centre[k]);
        }
    }
}

/* Probabilities and their derivatives by the predictors and by the deviation of the sum of
 * random effects of each (parallel: of all). */
typedef struct spread {
    double p[QX_CLASSES_MOST];
    double tau[QX_CLASSES_MOST];
    double by_eta[QX_CLASSES_MOST * QX_CLASSES_MOST]; /* K x d */
    double by_tau[QX_CLASSES_MOST * QX_CLASSES_MOST]; /* K x effects */
} spread;

static size_t effects_of(const qx_class_model *model)
{
    return model->parallel ? 1 : model->d;
}

static void evaluate(const qx_classes *fit, const double x[], bool typical, spread *out)
{
    const struct qx_classes_inner *in = fit->inner;
    const qx_class_model *model = &in->model;
    const size_t effects = effects_of(model);
    double eta[QX_PREDICTORS_MOST];
    qx_class_predict(model, x, in->z, eta);
    for (size_t e = 0; e < effects; e++) {
        double variance = 0.0;
        for (size_t k = e; k < model->D; k += effects) {
            variance += in->z[model->P + k] * in->z[model->P + k];
        }
        out->tau[e] = typical ? 0.0 : sqrt(variance);
    }
    if (model->parallel) {
        qx_average_cumulative(
            model->d, eta, out->tau[0], out->p, out->by_eta, out->by_tau);
        return;
    }
    bool plain = true;
    for (size_t e = 0; e < effects; e++) {
        plain = plain && !(out->tau[e] > 0.0);
    }
    if (!plain) {
        qx_average_baseline(model->d, eta, out->tau, out->p, out->by_eta, out->by_tau);
        return;
    }
    model->rows->probability(model->d, eta, out->p);
    memset(out->by_tau, 0, model->K * model->d * sizeof *out->by_tau);
    for (size_t j = 0; j < model->d; j++) {
        for (size_t k = 0; k < model->K; k++) {
            out->by_eta[k + j * model->K] =
                out->p[k] * ((k == j + 1 ? 1.0 : 0.0) - out->p[j + 1]);
        }
    }
}

/* Derivatives of class k by all parameters (P + D). */
static void
slope_of(const qx_classes *fit, const double x[], const spread *at, size_t k, double g[])
{
    const struct qx_classes_inner *in = fit->inner;
    const qx_class_model *model = &in->model;
    const size_t effects = effects_of(model), K = model->K;
    QX_ASSERT(effects > 0);
    double by[QX_PREDICTORS_MOST];
    memset(g, 0, (model->P + model->D) * sizeof *g);
    for (size_t j = 0; j < model->d; j++) {
        by[j] = at->by_eta[k + j * K];
    }
    qx_class_carry(model, x, by, g);
    for (size_t r = 0; r < model->D; r++) {
        const size_t e = r % effects;
        if (at->tau[e] > 0.0) {
            g[model->P + r] = at->by_tau[k + e * K] * in->z[model->P + r] / at->tau[e];
        }
    }
}

static qx_status means(qx_ctx *cx,
                       const qx_classes *fit,
                       qx_mat rows,
                       bool typical,
                       double estimate[],
                       qx_mat covariance)
{
    const struct qx_classes_inner *in = fit->inner;
    const size_t K = in->model.K, m = in->model.P + in->model.D;
    qx_mat slopes, half;
    double *x, *row;
    spread *at;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), m, rows.rows * K, &slopes));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), m, rows.rows * K, &half));
    QX_NEW(cx, x, in->model.q);
    QX_NEW(cx, row, rows.cols);
    QX_NEW(cx, at, 1);
    for (size_t i = 0; i < rows.rows; i++) {
        for (size_t j = 0; j < rows.cols; j++) {
            row[j] = QX_AT(rows, i, j);
        }
        qx_classes_row(fit, row, 1.0, x);
        evaluate(fit, x, typical, at);
        for (size_t k = 0; k < K; k++) {
            estimate[i * K + k] = at->p[k];
            slope_of(fit, x, at, k, slopes.at + (i * K + k) * slopes.ld);
        }
    }
    if (covariance.at == NULL) {
        return QX_OK;
    }
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, in->joint, slopes, 0.0, half));
    return qx_mat_multiply(cx, 't', 'n', 1.0, slopes, half, 0.0, covariance);
}

qx_status qx_classes_means(qx_ctx *cx,
                           const qx_classes *fit,
                           qx_mat rows,
                           bool typical,
                           double estimate[],
                           qx_mat covariance)
{
    const size_t cells = rows.rows * fit->class_count;
    qx_status status;
    if (rows.cols != fit->design.p ||
        (covariance.at != NULL &&
         (covariance.rows != cells || covariance.cols != cells))) {
        return qx_fail(
            cx,
            QX_E_SHAPE,
            "rows of %zu entries and a covariance of %zu do not fit a model of "
            "%zu columns and %zu classes",
            rows.cols,
            covariance.rows,
            fit->design.p,
            fit->class_count);
    }
    QX_SCRATCH(cx, status, means(cx, fit, rows, typical, estimate, covariance));
    return status;
}

void qx_classes_probability_interval(
    double estimate, double se, double level, double *lower, double *upper)
{
    *lower = NAN;
    *upper = NAN;
    if (!(estimate > 0.0 && estimate < 1.0 && se >= 0.0)) {
        return;
    }
    const double z = qx_normal_q(0.5 * (1.0 - level), QX_UPPER);
    const double reach = z * se / (estimate * (1.0 - estimate));
    const double centre = log(estimate / (1.0 - estimate));
    *lower = 1.0 / (1.0 + exp(-(centre - reach)));
    *upper = 1.0 / (1.0 + exp(-(centre + reach)));
}

static qx_status contrast(
    qx_ctx *cx, const qx_classes *fit, const double row[], size_t which, qx_estimate *out)
{
    const struct qx_classes_inner *in = fit->inner;
    const size_t q = in->model.q, P = in->model.P;
    double *a;
    QX_NEW(cx, a, P);
    const size_t first = in->model.parallel ? in->model.d : (which - 1) * q;
    qx_classes_row(fit, row, 0.0, a + first);
    *out = (qx_estimate){
        .estimate = qx_dot(P, a, in->z),
        .se = sqrt(qx_quadratic(qx_mat_part(in->joint, 0, 0, P, P), a)),
        .df = INFINITY,
    };
    return QX_OK;
}

qx_status qx_classes_contrast(
    qx_ctx *cx, const qx_classes *fit, const double row[], size_t which, qx_estimate *out)
{
    qx_status status;
    if (fit->kind == QX_BASELINE && (which == 0 || which >= fit->class_count)) {
        return qx_fail(
            cx, QX_E_ARG, "class %zu has no log odds against the first", which);
    }
    QX_SCRATCH(cx, status, contrast(cx, fit, row, which, out));
    return status;
}
