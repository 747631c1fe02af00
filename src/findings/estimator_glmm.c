/* findings/estimator_glmm.c - counts and shares. */
#include <math.h>

#include "findings/estimator.h"
#include "model/glmm.h"

static qx_status contrast(qx_ctx *cx,
                          const qx_estimator *e,
                          const double row[],
                          double shift_weight,
                          qx_estimate *out)
{
    (void)shift_weight; /* the linear predictor has no shift */
    return qx_glmm_contrast(cx, e->fit, row, out);
}

static double covariance(const qx_estimator *e, const double a[], const double b[])
{
    return qx_glmm_covariance(e->fit, a, b);
}

static qx_status ratio(qx_ctx *cx, const qx_estimator *e, qx_mat L, double *chisq)
{
    qx_glmm_test test;
    const qx_status status =
        qx_glmm_test_rows(cx, e->held != NULL ? e->held : e->fit, L, &test);
    *chisq = status == QX_OK && test.converged ? test.chisq : (double)NAN;
    if (status == QX_E_NUMERIC) {
        qx_ctx_forgive(cx);
        return QX_OK;
    }
    return status;
}

static qx_status
joint(qx_ctx *cx, const qx_estimator *e, qx_mat L, qx_estimator_test *out)
{
    const qx_glmm *fit = e->fit;
    const bool scaled = fit->extra == QX_EXTRA_SCALED;
    qx_glmm_test test;
    QX_TRY(qx_glmm_test_rows(cx, fit, L, &test));
    *out = (qx_estimator_test){.statistic = scaled ? "F" : "chisq",
                               .num_df = test.num_df,
                               .den_df = scaled ? test.den_df : (double)NAN,
                               .value = scaled ? test.f : test.chisq,
                               .p = test.p,
                               .chisq = test.chisq,
                               .sum_of_squares = NAN,
                               .method = test.method};
    return QX_OK;
}

static qx_status slopes(qx_ctx *cx,
                        const qx_estimator *e,
                        qx_mat rows,
                        bool typical,
                        double value[],
                        qx_mat *slope)
{
    const qx_glmm *fit = e->fit;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->length, rows.cols, slope));
    for (size_t i = 0; i < rows.cols; i++) {
        const qx_mat one = {
            .rows = rows.rows, .cols = 1, .ld = rows.ld, .at = &QX_AT(rows, 0, i)};
        qx_glmm_mean mean;
        QX_TRY(qx_glmm_mean_of(cx, fit, one, !typical, &QX_AT(*slope, 0, i), &mean));
        value[i] = mean.estimate;
    }
    return QX_OK;
}

static qx_status respond(qx_ctx *cx,
                         const qx_estimator *e,
                         qx_mat rows,
                         bool typical,
                         double value[],
                         qx_mat out)
{
    qx_mat slope;
    QX_TRY(slopes(cx, e, rows, typical, value, &slope));
    for (size_t j = 0; j < rows.cols; j++) {
        for (size_t i = 0; i <= j; i++) {
            QX_AT(out, i, j) = QX_AT(out, j, i) = qx_glmm_slopes_covariance(
                e->fit, &QX_AT(slope, 0, i), &QX_AT(slope, 0, j));
        }
    }
    return QX_OK;
}

static double to(const qx_estimator *e, double response, double *slope)
{
    const qx_glmm *fit = e->fit;
    const double eta = qx_link_predictor(fit->link, response);
    *slope = 1.0 / qx_link_slope(fit->link, eta, 1);
    return eta;
}

static double from(const qx_estimator *e, double transformed)
{
    return qx_link_mean(((const qx_glmm *)e->fit)->link, transformed);
}

const qx_estimator_kind qx_estimator_glmm = {.contrast = contrast,
                                             .covariance = covariance,
                                             .ratio = ratio,
                                             .joint = joint,
                                             .respond = respond,
                                             .to = to,
                                             .from = from};
