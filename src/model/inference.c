/* The tests and estimates of model/lmm.h, by the method that the fit was made for. */
#include <math.h>

#include "model/components.h"
#include "model/confounded.h"
#include "model/containment.h"
#include "model/general_fit.h"
#include "model/kenward.h"
#include "model/lmm.h"
#include "model/rows.h"
#include "model/satterthwaite.h"
#include "numeric/dist.h"

/* A sum is exact to some roundings of 1e-16 of what is added. */
static const double ROUNDING = 2e-15;
/* Only sums smaller than this (of a response of size 1) may be rounding. */
static const double TINY = 1e-10;
/* Columns of X up to which such a sum is looked at more closely. */
#define COLUMNS_MOST 400

/* Length of the combination of y that row'beta is in least squares: |R'^-1 row|. */
static double length_of(const qx_lmm *fit, const double row[])
{
    const qx_mat r_transposed = fit->inner->r_transposed;
    double x[COLUMNS_MOST];
    double sum = 0.0;
    for (size_t j = 0; j < fit->p; j++) {
        x[j] = row[j];
        for (size_t k = 0; k < j; k++) {
            x[j] -= QX_AT(r_transposed, j, k) * x[k];
        }
        x[j] /= QX_AT(r_transposed, j, j);
        sum += x[j] * x[j];
    }
    return sqrt(sum);
}

/* row'beta plus the shift; nil where that is the rounding of its parts, or of the response
 * that it is a combination of. */
static double sum_of_parts(const qx_lmm *fit, const double row[], double shift_weight)
{
    const struct qx_lmm_inner *in = fit->inner;
    const double shift = shift_weight * fit->shift;
    const double sum = qx_dot(fit->p, row, in->beta) * in->scale + shift;
    double size = fabs(shift / in->scale);
    for (size_t j = 0; j < fit->p; j++) {
        size += fabs(row[j] * in->beta[j]);
    }
    if (fabs(sum) < TINY * in->scale && fit->p <= COLUMNS_MOST) {
        size = fmax(size, length_of(fit, row) * sqrt((double)fit->n));
    }
    return fabs(sum) <= ROUNDING * size * in->scale ? 0.0 : sum;
}

static double row_df(const qx_lmm *fit, const double row[])
{
    if (fit->inner->parts == 0) {
        return fit->residual_df;
    }
    switch (fit->df) {
    case QX_KENWARD_ROGER:
        return qx_kenward_df(fit, row);
    case QX_SATTERTHWAITE:
        return qx_satterthwaite_df(fit, row);
    case QX_CONTAINMENT:
        return qx_containment_df(fit, row);
    }
    return NAN;
}

qx_status qx_lmm_contrast(qx_ctx *cx,
                          const qx_lmm *fit,
                          const double row[],
                          double shift_weight,
                          qx_estimate *out)
{
    const struct qx_lmm_inner *in = fit->inner;
    bool confounded;
    QX_TRY(qx_confounded_row(cx, fit, row, &confounded));
    const double v = qx_quadratic(in->adjusted, row);
    out->estimate = sum_of_parts(fit, row, shift_weight);
    if (confounded || !(in->sigma2 > 0.0) || !(v > 0.0)) {
        out->se = out->df = NAN;
        return QX_OK;
    }
    out->se = in->scale * sqrt(in->sigma2 * v);
    out->df = row_df(fit, row);
    return QX_OK;
}

double qx_lmm_covariance(const qx_lmm *fit, const double a[], const double b[])
{
    double sum = 0.0;
    for (size_t j = 0; j < fit->p; j++) {
        sum += qx_dot(fit->p, a, &QX_AT(fit->phi_adjusted, 0, j)) * b[j];
    }
    return sum;
}

static qx_status
least_squares_test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out)
{
    const double scale = fit->inner->scale;
    double wald;
    QX_TRY(qx_rows_wald(cx, fit, L, fit->inner->phi, &wald));
    out->f = wald / (double)L.rows;
    out->den_df = fit->residual_df;
    out->sum_of_squares = wald * fit->inner->sigma2 * scale * scale;
    out->method = "least squares";
    return QX_OK;
}

static qx_status by_method(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out)
{
    if (fit->inner->parts == 0) {
        return least_squares_test(cx, fit, L, out);
    }
    switch (fit->df) {
    case QX_KENWARD_ROGER:
        return qx_kenward_test(cx, fit, L, out);
    case QX_SATTERTHWAITE:
        return qx_satterthwaite_test(cx, fit, L, out);
    case QX_CONTAINMENT:
        return qx_containment_test(cx, fit, L, out);
    }
    return qx_fail(cx, QX_E_ARG, "there is no such method of degrees of freedom");
}

static qx_status rows_rank(qx_ctx *cx, qx_mat L, size_t *rank)
{
    qx_mat turned;
    qx_qr qr;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.cols, L.rows, &turned));
    for (size_t i = 0; i < L.rows; i++) {
        for (size_t j = 0; j < L.cols; j++) {
            QX_AT(turned, j, i) = QX_AT(L, i, j);
        }
    }
    QX_TRY(qx_qr_factor(cx, qx_ctx_scratch(cx), turned, &qr));
    *rank = qr.rank;
    return QX_OK;
}

/* Independent rows whose covariance has lost its rank: the fit is at the end of what
 * double arithmetic holds (no residual variation). An outcome, told by not-a-number. */
static qx_status pardon(qx_ctx *cx, qx_status status, qx_mat L, qx_joint_test *test)
{
    size_t rank;
    qx_status ranked;
    if (status != QX_E_RANK && status != QX_E_NOT_PD && status != QX_E_NUMERIC) {
        return status;
    }
    QX_SCRATCH(cx, ranked, rows_rank(cx, L, &rank));
    if (ranked != QX_OK || rank < L.rows) {
        return status;
    }
    qx_ctx_forgive(cx);
    test->f = test->den_df = NAN;
    return QX_OK;
}

qx_status qx_lmm_test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out)
{
    qx_joint_test test = {.num_df = (double)L.rows,
                          .den_df = NAN,
                          .f = NAN,
                          .p = NAN,
                          .sum_of_squares = NAN,
                          .method = "none"};
    qx_status status;
    bool confounded;
    if (L.cols != fit->p) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "a hypothesis has %zu columns, the model %zu",
                       L.cols,
                       fit->p);
    }
    QX_TRY(qx_confounded_rows(cx, fit, L, &confounded));
    if (L.rows > 0 && fit->inner->sigma2 > 0.0 && !confounded) {
        QX_SCRATCH(cx, status, by_method(cx, fit, L, &test));
        QX_TRY(pardon(cx, status, L, &test));
        test.p = qx_f_p(test.f, test.num_df, test.den_df, QX_UPPER);
    }
    *out = test;
    return QX_OK;
}

qx_status qx_lmm_profile_components(qx_ctx *cx, qx_lmm *fit, double level)
{
    return fit->inner->general != NULL ? qx_general_profile(cx, fit, level)
                                       : qx_components_profile(cx, fit, level);
}
