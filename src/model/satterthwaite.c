#include "model/satterthwaite.h"

#include <math.h>

#include "model/information.h"
#include "model/rows.h"
#include "numeric/eigen.h"

/* df that agree to this are one number (a balanced layout). */
static const double SAME_DF = 1e-8;
/* Eigenvalues below this share of the largest: rows that depend on others. */
static const double DEPENDENT = 1e-12;

qx_status qx_satterthwaite_prepare(qx_ctx *cx, qx_lmm *fit)
{
    return qx_information_observed(cx, fit);
}

double qx_satterthwaite_df(const qx_lmm *fit, const double row[])
{
    return qx_row_moment_df(fit, row);
}

/* One denominator from the df of r independent t statistics. */
static double combine(size_t r, const double nu[])
{
    double e = 0.0;
    bool same = true;
    for (size_t i = 0; i < r; i++) {
        if (nu[i] <= 2.0) {
            return 2.0;
        }
        e += isfinite(nu[i]) ? nu[i] / (nu[i] - 2.0) : 1.0;
        same = same && (nu[i] == nu[0] || fabs(nu[i] - nu[0]) < SAME_DF * nu[0]);
    }
    return same ? nu[0] : 2.0 * e / (e - (double)r);
}

static qx_status test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out)
{
    const size_t r = L.rows;
    qx_mat square, U;
    double *value, *row, *nu;
    double sum = 0.0;
    QX_NEW(cx, value, r);
    QX_NEW(cx, nu, r);
    QX_NEW(cx, row, L.cols);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), r, r, &square));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), r, r, &U));
    QX_TRY(qx_rows_sandwich(cx, L, fit->inner->phi, square));
    QX_TRY(qx_eigen_symmetric(cx, square, value, U));
    for (size_t i = 0; i < r; i++) {
        if (value[i] < DEPENDENT * value[r - 1]) {
            return qx_fail(
                cx, QX_E_RANK, "the rows of a hypothesis depend on each other");
        }
        qx_mat_vector('t', 1.0, L, &QX_AT(U, 0, i), 0.0, row);
        const double estimate = qx_dot(L.cols, row, fit->inner->beta);
        sum += estimate * estimate / (value[i] * fit->inner->sigma2);
        nu[i] = qx_satterthwaite_df(fit, row);
    }
    out->f = sum / (double)r;
    out->den_df = combine(r, nu);
    out->method = "Satterthwaite";
    return QX_OK;
}

qx_status
qx_satterthwaite_test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, test(cx, fit, L, out));
    return status;
}
