/* How well the variances and correlations of a general covariance are known. */
#include <math.h>

#include "model/general_fit.h"
#include "model/reml.h"
#include "numeric/chol.h"

static void twice(qx_mat M)
{
    for (size_t i = 0; i < M.rows * M.cols; i++) {
        M.at[i] *= 2.0;
    }
}

/* A correlation at its bound is no maximum of the likelihood: it counts as known, or what
 * little there is of its information would make everything unknown. */
static bool at_bound(const struct qx_general_fit *own, size_t i)
{
    const qx_part *part = &own->general.parts.part[i];
    const double theta = own->theta[i];
    return !qx_part_is_variance(part->kind) &&
           (theta <= part->low || theta >= part->high);
}

static qx_status expected_spread(qx_ctx *cx, const struct qx_general_fit *own, qx_mat out)
{
    const qx_mat expected = own->at.expected;
    qx_mat copy;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), expected.rows, expected.cols, &copy));
    qx_mat_copy(copy, expected);
    for (size_t i = 0; i < copy.rows; i++) {
        for (size_t j = 0; j < copy.rows && at_bound(own, i); j++) {
            QX_AT(copy, i, j) = QX_AT(copy, j, i) = 0.0;
        }
    }
    QX_TRY(qx_small_inverse(cx, copy, out));
    twice(out);
    return QX_OK;
}

/* From the Hessian, each parameter measured by its own curvature; from the expected one
 * where that is not positive definite. */
static qx_status observed_spread(qx_ctx *cx, const struct qx_general_fit *own, qx_mat out)
{
    const qx_mat hessian = own->at.hessian;
    const size_t m = hessian.rows;
    qx_mat scaled;
    double *root;
    QX_NEW(cx, root, m);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), m, m, &scaled));
    for (size_t i = 0; i < m; i++) {
        if (!(QX_AT(hessian, i, i) > 0.0) || at_bound(own, i)) {
            return expected_spread(cx, own, out);
        }
        root[i] = sqrt(QX_AT(hessian, i, i));
    }
    for (size_t j = 0; j < m; j++) {
        for (size_t i = 0; i < m; i++) {
            QX_AT(scaled, i, j) = QX_AT(hessian, i, j) / (root[i] * root[j]);
        }
    }
    const qx_status status = qx_chol_factor(cx, scaled);
    if (status == QX_E_NOT_PD) {
        qx_ctx_forgive(cx);
        return expected_spread(cx, own, out);
    }
    QX_TRY(status);
    QX_TRY(qx_chol_inverse(cx, scaled, out));
    for (size_t j = 0; j < m; j++) {
        for (size_t i = 0; i < m; i++) {
            QX_AT(out, i, j) *= 2.0 / (root[i] * root[j]);
        }
    }
    return QX_OK;
}

qx_status
qx_general_spread(qx_ctx *cx, const struct qx_general_fit *own, bool observed, qx_mat out)
{
    qx_status status;
    QX_SCRATCH(cx,
               status,
               observed ? observed_spread(cx, own, out) : expected_spread(cx, own, out));
    return status;
}
