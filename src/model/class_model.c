#include "model/class_model.h"

#include <math.h>
#include <string.h>

static const double SD_START = 0.5;

qx_status qx_class_model_finish(qx_ctx *cx, qx_arena *arena, qx_class_model *model)
{
    const size_t d = model->K - 1, effects = model->parallel ? 1 : d;
    model->d = d;
    model->P = model->parallel ? d + model->q : d * model->q;
    model->D = model->random_count * effects;
    QX_TRY(qx_mat_new(cx, arena, model->cells, model->q, &model->X));
    for (size_t c = 0; c < model->cells; c++) {
        for (size_t j = 0; j < model->q; j++) {
            QX_AT(model->X, c, j) = model->x[c * model->q + j];
        }
    }
    model->plan = NULL;
    if (model->random_count == 0) {
        return QX_OK;
    }
    return qx_laplace_plan_make(cx,
                                arena,
                                &(qx_laplace_problem){
                                    .n = model->cells,
                                    .p = model->q,
                                    .d = effects,
                                    .s = model->parallel ? d : 0,
                                    .X = model->X,
                                    .random_count = model->D,
                                    .random = model->random,
                                    .likelihood = model->rows->likelihood,
                                    .quadrature = model->quadrature,
                                },
                                &model->plan);
}

void qx_class_predict(const qx_class_model *model,
                      const double x[],
                      const double z[],
                      double eta[])
{
    const size_t d = model->d, q = model->q;
    if (model->parallel) {
        const double place = qx_dot(q, x, z + d);
        for (size_t j = 0; j < d; j++) {
            eta[j] = z[j] - place;
        }
        return;
    }
    for (size_t j = 0; j < d; j++) {
        eta[j] = qx_dot(q, x, z + j * q);
    }
}

void qx_class_carry(const qx_class_model *model,
                    const double x[],
                    const double g[],
                    double out[])
{
    const size_t d = model->d, q = model->q;
    double sum = 0.0;
    for (size_t j = 0; j < d; j++) {
        if (model->parallel) {
            out[j] += g[j];
            sum += g[j];
        } else {
            for (size_t i = 0; i < q; i++) {
                out[j * q + i] += g[j] * x[i];
            }
        }
    }
    for (size_t i = 0; model->parallel && i < q; i++) {
        out[d + i] -= sum * x[i];
    }
}

static void fixed_likelihood(const qx_class_model *model,
                             const double z[],
                             double *value,
                             double gradient[])
{
    double eta[QX_PREDICTORS_MOST], g[QX_PREDICTORS_MOST];
    double w[QX_PREDICTORS_MOST * QX_PREDICTORS_MOST];
    *value = 0.0;
    if (gradient != NULL) {
        memset(gradient, 0, model->P * sizeof *gradient);
    }
    for (size_t c = 0; c < model->cells; c++) {
        const double *x = model->x + c * model->q, *number = model->number + c * model->K;
        qx_class_predict(model, x, z, eta);
        *value += model->rows->value(model->d, number, eta);
        if (gradient != NULL && *value > -HUGE_VAL) {
            model->rows->slope(model->d, number, eta, g, w);
            qx_class_carry(model, x, g, gradient);
        }
    }
    if (isnan(*value)) {
        *value = -HUGE_VAL;
    }
}

/* The engine's order of parameters is slopes, deviations, thresholds, and its place adds
 * where ours is taken off: a threshold minus (x'slope + u). */
static void to_engine(const qx_class_model *model, const double z[], double x[])
{
    const size_t d = model->d, q = model->q;
    if (!model->parallel) {
        memcpy(x, z, (model->P + model->D) * sizeof *x);
        return;
    }
    memcpy(x, z + d, q * sizeof *x);
    memcpy(x + q, z + model->P, model->D * sizeof *x);
    memcpy(x + q + model->D, z, d * sizeof *x);
}

static void from_engine(const qx_class_model *model, const double x[], double z[])
{
    const size_t d = model->d, q = model->q;
    if (!model->parallel) {
        memcpy(z, x, (model->P + model->D) * sizeof *x);
        return;
    }
    memcpy(z + d, x, q * sizeof *x);
    memcpy(z + model->P, x + q, model->D * sizeof *x);
    memcpy(z, x + q + model->D, d * sizeof *x);
}

static qx_status mixed_likelihood(qx_ctx *cx,
                                  const qx_class_model *model,
                                  const double z[],
                                  double *value,
                                  double gradient[])
{
    const qx_class_numbers data = {model->d, model->number};
    double *x, *g;
    QX_NEW(cx, x, model->P + model->D);
    QX_NEW(cx, g, model->P + model->D);
    to_engine(model, z, x);
    QX_TRY(qx_laplace_evaluate(
        cx, model->plan, &data, x, NULL, value, gradient == NULL ? NULL : g));
    if (gradient != NULL) {
        from_engine(model, g, gradient);
    }
    return QX_OK;
}

qx_status qx_class_likelihood(qx_ctx *cx,
                              const qx_class_model *model,
                              const double z[],
                              double *value,
                              double gradient[])
{
    qx_status status;
    if (model->plan == NULL) {
        fixed_likelihood(model, z, value, gradient);
        return QX_OK;
    }
    QX_SCRATCH(cx, status, mixed_likelihood(cx, model, z, value, gradient));
    return status;
}

/* out += A' w A of a cell, w d x d. */
static void add_information(const qx_class_model *model,
                            const double x[],
                            const double w[],
                            qx_mat out)
{
    const size_t d = model->d, q = model->q;
    if (!model->parallel) {
        for (size_t b = 0; b < d * q; b++) {
            for (size_t a = 0; a < d * q; a++) {
                QX_AT(out, a, b) += w[a / q + (b / q) * d] * x[a % q] * x[b % q];
            }
        }
        return;
    }
    double all = 0.0;
    for (size_t j = 0; j < d; j++) {
        double row = 0.0;
        for (size_t k = 0; k < d; k++) {
            QX_AT(out, k, j) += w[k + j * d];
            row += w[k + j * d];
        }
        for (size_t i = 0; i < q; i++) {
            QX_AT(out, j, d + i) -= row * x[i];
            QX_AT(out, d + i, j) -= row * x[i];
        }
        all += row;
    }
    for (size_t i = 0; i < q; i++) {
        for (size_t k = 0; k < q; k++) {
            QX_AT(out, d + k, d + i) += all * x[i] * x[k];
        }
    }
}

qx_status qx_class_information(
    qx_ctx *cx, const qx_class_model *model, const double z[], bool expected, qx_mat out)
{
    double eta[QX_PREDICTORS_MOST], g[QX_PREDICTORS_MOST];
    double w[QX_PREDICTORS_MOST * QX_PREDICTORS_MOST];
    if (out.rows != model->P || out.cols != model->P) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "the information is %zu x %zu, not %zu x %zu",
                       model->P,
                       model->P,
                       out.rows,
                       out.cols);
    }
    qx_mat_zero(out);
    for (size_t c = 0; c < model->cells; c++) {
        const double *x = model->x + c * model->q;
        qx_class_predict(model, x, z, eta);
        if (expected) {
            model->rows->information(model->d, model->total[c], eta, w);
        } else {
            model->rows->slope(model->d, model->number + c * model->K, eta, g, w);
        }
        add_information(model, x, w, out);
    }
    return QX_OK;
}

void qx_class_start(const qx_class_model *model, double z[])
{
    const size_t K = model->K, d = model->d;
    double share[QX_PREDICTORS_MOST + 1] = {0.0}, all = 0.0, below = 0.0;
    memset(z, 0, (model->P + model->D) * sizeof *z);
    for (size_t c = 0; c < model->cells; c++) {
        for (size_t k = 0; k < K; k++) {
            share[k] += model->number[c * K + k];
        }
        all += model->total[c];
    }
    for (size_t j = 0; j < d; j++) {
        below += share[j];
        if (model->parallel) {
            z[j] = log(below / (all - below));
        }
    }
    for (size_t k = 0; k < model->D; k++) {
        z[model->P + k] = SD_START;
    }
}
