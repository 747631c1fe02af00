/* findings/estimator_normal.c - continuous values: everything is linear in the fixed
 * effects, and each contrast has degrees of freedom of its own. */
#include <math.h>

#include "findings/estimator.h"

static qx_status contrast(qx_ctx *cx,
                          const qx_estimator *e,
                          const double row[],
                          double shift_weight,
                          qx_estimate *out)
{
    return qx_lmm_contrast(cx, e->fit, row, shift_weight, out);
}

static double covariance(const qx_estimator *e, const double a[], const double b[])
{
    return qx_lmm_covariance(e->fit, a, b);
}

static qx_status
joint(qx_ctx *cx, const qx_estimator *e, qx_mat L, qx_estimator_test *out)
{
    qx_joint_test test;
    QX_TRY(qx_lmm_test(cx, e->fit, L, &test));
    *out = (qx_estimator_test){.statistic = "F",
                               .num_df = test.num_df,
                               .den_df = test.den_df,
                               .value = test.f,
                               .p = test.p,
                               .chisq = NAN,
                               .sum_of_squares = test.sum_of_squares,
                               .method = test.method};
    return QX_OK;
}

const qx_estimator_kind qx_estimator_normal = {
    .contrast = contrast, .covariance = covariance, .joint = joint};
