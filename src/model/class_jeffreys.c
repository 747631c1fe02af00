#include "model/class_model.h"

#include <math.h>
#include <string.h>

#include "numeric/chol.h"

/* A deviation of 5 on the logit takes a share of one half to 0.7 or 99.3 per cent: wider
 * than what limbs of one orchard show. */
static const double SD_SOFT = 5.0;

/* w (d x d) = A V A': what V (P x P) makes of the predictors of a row x. */
static void
carry_square(const qx_class_model *model, const double x[], qx_mat V, double w[])
{
    const size_t d = model->d, q = model->q;
    if (!model->parallel) {
        for (size_t k = 0; k < d; k++) {
            for (size_t j = 0; j < d; j++) {
                w[j + k * d] = qx_quadratic(qx_mat_part(V, j * q, k * q, q, q), x);
            }
        }
        return;
    }
    double slopes = 0.0, with[QX_PREDICTORS_MOST];
    for (size_t i = 0; i < q; i++) {
        slopes += x[i] * qx_dot(q, x, &QX_AT(V, d, d + i));
    }
    for (size_t j = 0; j < d; j++) {
        with[j] = qx_dot(q, x, &QX_AT(V, d, j));
    }
    for (size_t k = 0; k < d; k++) {
        for (size_t j = 0; j < d; j++) {
            w[j + k * d] = QX_AT(V, j, k) - with[j] - with[k] + slopes;
        }
    }
}

/* d/dz 1/2 log|I| = 1/2 sum over cells of tr(A V A' dJ). */
static qx_status jeffreys(qx_ctx *cx,
                          const qx_class_model *model,
                          const double z[],
                          double *value,
                          double gradient[])
{
    double eta[QX_PREDICTORS_MOST], slope[QX_PREDICTORS_MOST];
    double w[QX_PREDICTORS_MOST * QX_PREDICTORS_MOST];
    qx_mat information, inverse;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), model->P, model->P, &information));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), model->P, model->P, &inverse));
    QX_TRY(qx_class_information(cx, model, z, true, information));
    const qx_status factored = qx_chol_factor(cx, information);
    if (factored == QX_E_NOT_PD || factored == QX_E_NUMERIC) {
        qx_ctx_forgive(cx);
        *value = -HUGE_VAL;
        return QX_OK;
    }
    QX_TRY(factored);
    *value = 0.5 * qx_chol_logdet(information);
    if (gradient == NULL) {
        return QX_OK;
    }
    QX_TRY(qx_chol_inverse(cx, information, inverse));
    for (size_t c = 0; c < model->cells; c++) {
        const double *x = model->x + c * model->q;
        qx_class_predict(model, x, z, eta);
        carry_square(model, x, inverse, w);
        model->rows->information_slope(model->d, 0.5 * model->total[c], eta, w, slope);
        qx_class_carry(model, x, slope, gradient);
    }
    return QX_OK;
}

qx_status qx_class_penalty(qx_ctx *cx,
                           const qx_class_model *model,
                           const double z[],
                           double *value,
                           double gradient[])
{
    qx_status status;
    *value = 0.0;
    if (!model->penalised) {
        return QX_OK;
    }
    QX_SCRATCH(cx, status, jeffreys(cx, model, z, value, gradient));
    for (size_t k = model->P; k < model->P + model->D; k++) {
        *value -= 0.5 * z[k] * z[k] / (SD_SOFT * SD_SOFT);
        if (gradient != NULL) {
            gradient[k] -= z[k] / (SD_SOFT * SD_SOFT);
        }
    }
    return status;
}

qx_status qx_class_objective(qx_ctx *cx,
                             const qx_class_model *model,
                             const double z[],
                             double *value,
                             double gradient[])
{
    double penalty = 0.0;
    QX_TRY(qx_class_likelihood(cx, model, z, value, gradient));
    if (!model->penalised || !(*value > -HUGE_VAL)) {
        return QX_OK;
    }
    QX_TRY(qx_class_penalty(cx, model, z, &penalty, gradient));
    *value += penalty;
    return QX_OK;
}
