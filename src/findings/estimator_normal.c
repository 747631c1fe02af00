/* findings/estimator_normal.c - continuous values: everything is linear in the fixed
 * effects, and each contrast has degrees of freedom of its own. */
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

const qx_estimator_kind qx_estimator_normal = {.contrast = contrast,
                                               .covariance = covariance};
