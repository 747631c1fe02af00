#include "model/kenward.h"

#include <math.h>

#include "model/information.h"
#include "model/rows.h"
#include "model/satterthwaite.h"
#include "numeric/chol.h"

/* Below this a factor of rho counts as zero: they are differences of numbers near 1. */
static const double FACTOR_ZERO = 1e-10;
/* Near two denominator degrees of freedom the scale factor's formula is 0/0; it tends to
 * 1 there. */
static const double NEAR_TWO = 1e-2;

qx_status qx_kenward_prepare(qx_ctx *cx, qx_lmm *fit)
{
    QX_TRY(qx_information_expected(cx, fit));
    return qx_information_adjust(cx, fit);
}

/* An unconstrained variance near nil in some direction makes the moments promise more df
 * than there are units: those with the component held at zero are the most. */
double qx_kenward_df(const qx_lmm *fit, const double row[])
{
    const struct qx_lmm_inner *in = fit->inner;
    const double df = qx_row_moment_df(fit, row);
    return in->constrained != NULL
               ? fmin(df, qx_row_view_df(in->constrained, in->parts, row))
               : df;
}

/* M := U^-1 M U'^-1 with the lower factor U of L phi L', for every part. */
static qx_status whiten(qx_ctx *cx, qx_mat factor, qx_mat M)
{
    QX_TRY(qx_chol_solve_lower(cx, 'n', factor, M));
    for (size_t j = 0; j < M.cols; j++) {
        for (size_t i = 0; i < j; i++) {
            const double keep = QX_AT(M, i, j);
            QX_AT(M, i, j) = QX_AT(M, j, i);
            QX_AT(M, j, i) = keep;
        }
    }
    return qx_chol_solve_lower(cx, 'n', factor, M);
}

/* A1 = sum W_kl tr(M_k) tr(M_l), A2 = sum W_kl tr(M_k M_l), with M_k similar to
 * Theta phi P_k phi of the paper (the sign cancels in the products). */
static qx_status moments(
    qx_ctx *cx, const qx_lmm_view *view, size_t parts, qx_mat L, double *a1, double *a2)
{
    const size_t r = L.rows;
    qx_mat factor;
    qx_mat *M;
    double *trace;
    QX_NEW(cx, M, parts);
    QX_NEW(cx, trace, parts);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), r, r, &factor));
    QX_TRY(qx_rows_sandwich(cx, L, view->phi, factor));
    QX_TRY(qx_chol_factor(cx, factor));
    for (size_t k = 0; k < parts; k++) {
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), r, r, &M[k]));
        QX_TRY(qx_rows_sandwich(cx, L, view->derivative[k], M[k]));
        QX_TRY(whiten(cx, factor, M[k]));
        for (size_t i = 0; i < r; i++) {
            trace[k] += QX_AT(M[k], i, i);
        }
    }
    *a1 = *a2 = 0.0;
    for (size_t k = 0; k < parts; k++) {
        for (size_t l = 0; l < parts; l++) {
            const double w = QX_AT(view->spread, k, l);
            *a1 += w * trace[k] * trace[l];
            *a2 += w * qx_mat_inner(M[k], M[l]);
        }
    }
    return QX_OK;
}

/* lambda and m of the paper from A1 and A2. */
static void match(double q, double a1, double a2, double *lambda, double *m)
{
    const double b = (a1 + 6.0 * a2) / (2.0 * q);
    const double g = ((q + 1.0) * a1 - (q + 4.0) * a2) / ((q + 2.0) * a2);
    const double divisor = 3.0 * q + 2.0 * (1.0 - g);
    const double v0 = 1.0 + g / divisor * b;
    const double v1 = 1.0 - (q - g) / divisor * b;
    const double v2 = 1.0 - (q + 2.0 - g) / divisor * b;
    const double e = 1.0 - a2 / q;
    const double ratio = fabs(e) < FACTOR_ZERO && fabs(v1) < FACTOR_ZERO ? 1.0 : e / v1;
    const double rho = ratio * ratio * (fabs(v0) < FACTOR_ZERO ? 0.0 : v0) / (q * v2);
    *m = 4.0 + (q + 2.0) / (q * rho - 1.0);
    *lambda = fabs(*m - 2.0) < NEAR_TWO ? 1.0 : *m * e / (*m - 2.0);
    if (!(*lambda > 0.0) || !isfinite(*lambda)) {
        *lambda = 1.0; /* fewer than two df: an F without a mean has no scale to match */
    }
}

/* lambda and m under one view. */
static qx_status matched(qx_ctx *cx,
                         const qx_lmm_view *view,
                         size_t parts,
                         qx_mat L,
                         double *lambda,
                         double *m)
{
    double a1 = 0.0;
    double a2 = 0.0;
    *lambda = 1.0;
    *m = INFINITY;
    QX_TRY(moments(cx, view, parts, L, &a1, &a2));
    if (a2 > 0.0) {
        match((double)L.rows, a1, a2, lambda, m);
    }
    return QX_OK;
}

static qx_status joint(qx_ctx *cx, const qx_lmm *fit, qx_mat L, double *lambda, double *m)
{
    const struct qx_lmm_inner *in = fit->inner;
    const qx_lmm_view view = {in->phi, in->derivative, in->spread};
    QX_TRY(matched(cx, &view, in->parts, L, lambda, m));
    if (!(*m > 0.0)) { /* no F has these moments: df of single rows, with the same W */
        qx_joint_test rows;
        QX_TRY(qx_satterthwaite_test(cx, fit, L, &rows));
        *m = rows.den_df;
        *lambda = 1.0;
    }
    if (in->constrained != NULL) {
        double most, unused;
        QX_TRY(matched(cx, in->constrained, in->parts, L, &unused, &most));
        *m = most > 0.0 ? fmin(*m, most) : *m;
    }
    return QX_OK;
}

static qx_status test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out)
{
    double wald;
    double lambda = 1.0;
    double m;
    if (L.rows == 1) {
        double *row;
        QX_NEW(cx, row, L.cols);
        for (size_t j = 0; j < L.cols; j++) {
            row[j] = QX_AT(L, 0, j);
        }
        m = qx_kenward_df(fit, row);
    } else {
        QX_TRY(joint(cx, fit, L, &lambda, &m));
    }
    QX_TRY(qx_rows_wald(cx, fit, L, fit->inner->adjusted, &wald));
    out->f = lambda * wald / (double)L.rows;
    out->den_df = m;
    out->method =
        fit->unconstrained ? "Kenward-Roger, unconstrained variances" : "Kenward-Roger";
    return QX_OK;
}

qx_status qx_kenward_test(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_joint_test *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, test(cx, fit, L, out));
    return status;
}
