/* model/glmm_start.c - where the search begins: links of the responses, pulled a little to the
 * middle, by weighted least squares. */
#include <math.h>
#include <string.h>

#include "model/glmm_inner.h"
#include "numeric/chol.h"

/* Effects of units and spreads begin where most trials end: tenths on the link scale. */
static const double START_SD = 0.4, START_PSI = 0.3;
/* Weight of the pull to nil of each coefficient, in rows. */
static const double PULL = 1e-6;

/* Working response and weight of one row. */
static void working(
    const qx_family *family, const qx_family_rows *data, size_t j, double *z, double *w)
{
    const double weight = data->weight == NULL ? 1.0 : data->weight[j];
    if (family->serves == QX_SERVES_SHARE) {
        const double n = data->size[j], share = (data->k[j] + 0.5) / (n + 1.0);
        const double slope =
            qx_link_slope(data->link, qx_link_predictor(data->link, share), 1);
        *z = qx_link_predictor(data->link, share);
        *w = weight * n * slope * slope / (share * (1.0 - share));
        return;
    }
    const double mean = data->k[j] + 0.5 / weight;
    const bool identity = data->link == QX_LINK_IDENTITY;
    *z = identity ? mean : log(mean);
    *w = weight * (identity ? 1.0 / mean : mean);
}

/* X'WX and X'Wz of the engine's columns. */
static void normal_equations(const struct qx_glmm_inner *inner,
                             const qx_family *family,
                             const qx_family_rows *data,
                             qx_mat A,
                             double b[])
{
    const qx_mat X = inner->X;
    for (size_t j = 0; j < X.rows; j++) {
        double z, w;
        working(family, data, j, &z, &w);
        for (size_t l = 0; l < X.cols; l++) {
            const double wx = w * QX_AT(X, j, l);
            b[l] += wx * z;
            for (size_t k = l; k < X.cols; k++) {
                QX_AT(A, k, l) += wx * QX_AT(X, j, k);
            }
        }
    }
    for (size_t l = 0; l < X.cols; l++) {
        QX_AT(A, l, l) += PULL * (1.0 + QX_AT(A, l, l));
    }
}

qx_status qx_glmm_start(qx_ctx *cx,
                        const struct qx_glmm_inner *inner,
                        const qx_family *family,
                        const qx_family_rows *data,
                        double x[])
{
    const size_t columns = inner->X.cols, m = inner->problem.random_count;
    qx_mat A;
    memset(x, 0, qx_laplace_length(&inner->problem) * sizeof *x);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), columns, columns, &A));
    normal_equations(inner, family, data, A, x);
    QX_TRY(qx_chol_factor(cx, A));
    QX_TRY(qx_chol_solve(cx, A, qx_mat_of(x, columns, 1)));
    for (size_t j = 0; j < columns; j++) {
        x[j] = inner->held != NULL && inner->held[j] ? 0.0 : x[j];
    }
    for (size_t k = 0; k < m; k++) {
        x[columns + k] = inner->doubled[k] ? 0.0 : START_SD;
    }
    for (size_t j = 0; j < inner->problem.s; j++) {
        const size_t at = columns + m + j;
        x[at] = inner->held != NULL && inner->held[at] ? 0.0 : START_PSI;
    }
    return QX_OK;
}

qx_status qx_glmm_maximise(qx_ctx *cx,
                           qx_arena *arena,
                           const struct qx_glmm_inner *inner,
                           const qx_family *family,
                           const qx_family_rows *data,
                           const double start[],
                           const qx_laplace_options *options,
                           qx_laplace_fit *out)
{
    qx_laplace_options with = *options;
    double *x;
    with.rounding = data->rounding;
    QX_NEW(cx, x, qx_laplace_length(&inner->problem));
    if (start == NULL) {
        QX_TRY(qx_glmm_start(cx, inner, family, data, x));
    } else {
        memcpy(x, start, qx_laplace_length(&inner->problem) * sizeof *x);
    }
    return qx_laplace_maximise_here(cx, arena, inner->plan, data, x, &with, out);
}
