#include "model/rows.h"

#include <math.h>

#include "numeric/chol.h"

qx_status qx_rows_sandwich(qx_ctx *cx, qx_mat L, qx_mat M, qx_mat out)
{
    qx_mat LM;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, L.cols, &LM));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, L, M, 0.0, LM));
    QX_TRY(qx_mat_multiply(cx, 'n', 't', 1.0, LM, L, 0.0, out));
    for (size_t j = 0; j < out.cols; j++) {
        for (size_t i = 0; i < j; i++) {
            const double mean = 0.5 * (QX_AT(out, i, j) + QX_AT(out, j, i));
            QX_AT(out, i, j) = QX_AT(out, j, i) = mean;
        }
    }
    return QX_OK;
}

qx_status qx_rows_wald(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_mat M, double *out)
{
    qx_mat factor;
    double *value;
    QX_NEW(cx, value, L.rows);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, L.rows, &factor));
    QX_TRY(qx_rows_sandwich(cx, L, M, factor));
    qx_mat_vector('n', 1.0, L, fit->inner->beta, 0.0, value);
    const qx_status status = qx_chol_factor(cx, factor);
    if (status == QX_E_NOT_PD) {
        qx_ctx_forgive(cx);
        return qx_fail(cx, QX_E_RANK, "the rows of a hypothesis depend on each other");
    }
    QX_TRY(status);
    QX_TRY(qx_chol_solve_lower(cx, 'n', factor, qx_mat_of(value, L.rows, 1)));
    *out = qx_dot(L.rows, value, value) / fit->inner->sigma2;
    return QX_OK;
}

double qx_row_view_df(const qx_lmm_view *view, size_t parts, const double row[])
{
    double g[QX_RANDOM_MOST + 1];
    double sum = 0.0;
    const double v = qx_quadratic(view->phi, row);
    for (size_t k = 0; k < parts; k++) {
        g[k] = qx_quadratic(view->derivative[k], row);
    }
    for (size_t k = 0; k < parts; k++) {
        for (size_t l = 0; l < parts; l++) {
            sum += g[k] * QX_AT(view->spread, k, l) * g[l];
        }
    }
    return sum > 0.0 ? 2.0 * v * v / sum : (double)INFINITY;
}

double qx_row_moment_df(const qx_lmm *fit, const double row[])
{
    const struct qx_lmm_inner *in = fit->inner;
    const qx_lmm_view view = {in->phi, in->derivative, in->spread};
    return qx_row_view_df(&view, in->parts, row);
}
