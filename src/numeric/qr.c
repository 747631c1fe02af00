/* numeric/qr.c - Householder QR from left to right (Golub & Van Loan, Matrix Computations,
 * 4th ed. 2013, sections 5.1 and 5.2), with aliased columns set aside. */
#include "numeric/qr.h"

#include <math.h>
#include <string.h>

/* Rounding of coefficients that are small whole numbers in factor columns. */
#define ESTIMABLE 1e-8

/* Applies I - tau v v' (v = column c of V, zero above its pivot c) to y. */
static void reflect(const qx_qr *qr, size_t c, double y[])
{
    const double *v = &QX_AT(qr->V, 0, c);
    const size_t m = qr->n - c;
    const double scale = qr->tau[c] * qx_dot(m, v + c, y + c);
    for (size_t i = c; i < qr->n; i++) {
        y[i] -= scale * v[i];
    }
}

/* Householder vector that maps x[c..n) to a multiple of the unit vector; gives the value
 * that stands at the pivot afterwards. */
static double make_reflector(qx_qr *qr, size_t c, const double x[])
{
    double *v = &QX_AT(qr->V, 0, c);
    double largest = 0.0;
    for (size_t i = c; i < qr->n; i++) {
        largest = fmax(largest, fabs(x[i]));
    }
    double sum = 0.0;
    for (size_t i = c; i < qr->n; i++) {
        v[i] = x[i] / largest;
        sum += v[i] * v[i];
    }
    const double length = sqrt(sum);
    const double pivot = v[c] > 0.0 ? -length : length;
    v[c] -= pivot;
    qr->tau[c] = 2.0 / qx_dot(qr->n - c, v + c, v + c);
    return pivot * largest;
}

static double length_of(size_t n, const double x[])
{
    double largest = 0.0, sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        largest = fmax(largest, fabs(x[i]));
    }
    for (size_t i = 0; i < n && largest > 0.0; i++) {
        sum += (x[i] / largest) * (x[i] / largest);
    }
    return largest * sqrt(sum);
}

static qx_status factor(qx_ctx *cx, qx_mat X, qx_qr *out)
{
    double *x = NULL;
    QX_NEW(cx, x, X.rows);
    for (size_t j = 0; j < X.cols; j++) {
        if (X.rows > 0) {
            memcpy(x, &QX_AT(X, 0, j), X.rows * sizeof *x);
        }
        const double whole = length_of(X.rows, x);
        for (size_t c = 0; c < out->rank; c++) {
            reflect(out, c, x);
        }
        const size_t r = out->rank;
        const double rest = r < X.rows ? length_of(X.rows - r, x + r) : 0.0;
        for (size_t i = 0; i < r; i++) {
            QX_AT(out->R, i, j) = x[i];
        }
        out->aliased[j] = !(rest > QX_QR_ALIAS * whole);
        if (!out->aliased[j]) {
            QX_AT(out->R, r, j) = make_reflector(out, r, x);
            out->kept[out->rank++] = j;
        }
    }
    return QX_OK;
}

/* B: each aliased column as a sum of the kept ones before it. */
static void express_aliased(qx_qr *out)
{
    for (size_t j = 0; j < out->p; j++) {
        for (size_t r = out->aliased[j] ? out->rank : 0; r > 0; r--) {
            double x = QX_AT(out->R, r - 1, j);
            for (size_t s = r; s < out->rank; s++) {
                x -= QX_AT(out->R, r - 1, out->kept[s]) * QX_AT(out->B, s, j);
            }
            QX_AT(out->B, r - 1, j) = x / QX_AT(out->R, r - 1, out->kept[r - 1]);
        }
    }
}

/* Not-a-number would pass for an aliased column. */
static qx_status check_finite(qx_ctx *cx, qx_mat X)
{
    for (size_t j = 0; j < X.cols; j++) {
        for (size_t i = 0; i < X.rows; i++) {
            if (!isfinite(QX_AT(X, i, j))) {
                return qx_fail(cx,
                               QX_E_NUMERIC,
                               "row %zu, column %zu of the model matrix is not finite",
                               i + 1,
                               j + 1);
            }
        }
    }
    return QX_OK;
}

qx_status qx_qr_factor(qx_ctx *cx, qx_arena *arena, qx_mat X, qx_qr *out)
{
    const size_t most = X.rows < X.cols ? X.rows : X.cols;
    QX_TRY(check_finite(cx, X));
    *out = (qx_qr){.n = X.rows, .p = X.cols};
    QX_TRY(qx_mat_new(cx, arena, X.rows, most, &out->V));
    QX_TRY(qx_mat_new(cx, arena, most, X.cols, &out->R));
    QX_TRY(qx_mat_new(cx, arena, most, X.cols, &out->B));
    QX_NEW_IN(cx, arena, out->tau, most);
    QX_NEW_IN(cx, arena, out->kept, most);
    QX_NEW_IN(cx, arena, out->aliased, X.cols);
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, factor(cx, X, out));
    out->V.cols = out->rank;
    out->R.rows = out->rank;
    out->B.rows = out->rank;
    QX_TRY(status);
    express_aliased(out);
    return QX_OK;
}

void qx_qr_apply(const qx_qr *qr, char t, double y[])
{
    for (size_t c = 0; c < qr->rank; c++) {
        reflect(qr, t == 't' ? c : qr->rank - 1 - c, y);
    }
}

static qx_status
solve(qx_ctx *cx, const qx_qr *qr, const double y[], double beta[], double effects[])
{
    double *e = NULL;
    QX_NEW(cx, e, qr->n);
    if (qr->n > 0) {
        memcpy(e, y, qr->n * sizeof *e);
    }
    qx_qr_apply(qr, 't', e);
    for (size_t j = 0; j < qr->p; j++) {
        beta[j] = 0.0;
    }
    for (size_t r = qr->rank; r > 0; r--) {
        double x = e[r - 1];
        for (size_t s = r; s < qr->rank; s++) {
            x -= QX_AT(qr->R, r - 1, qr->kept[s]) * beta[qr->kept[s]];
        }
        beta[qr->kept[r - 1]] = x / QX_AT(qr->R, r - 1, qr->kept[r - 1]);
    }
    if (effects != NULL && qr->n > 0) {
        memcpy(effects, e, qr->n * sizeof *e);
    }
    return QX_OK;
}

qx_status qx_qr_solve(
    qx_ctx *cx, const qx_qr *qr, const double y[], double beta[], double effects[])
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, solve(cx, qr, y, beta, effects));
    return status;
}

/* c is in the row space of X when it treats each aliased column as the same sum of kept
 * ones that the column is itself. */
bool qx_qr_estimable(const qx_qr *qr, const double c[])
{
    double size = 0.0;
    for (size_t j = 0; j < qr->p; j++) {
        size = fmax(size, fabs(c[j]));
    }
    for (size_t j = 0; j < qr->p; j++) {
        double rest = c[j];
        for (size_t s = 0; qr->aliased[j] && s < qr->rank; s++) {
            rest -= QX_AT(qr->B, s, j) * c[qr->kept[s]];
        }
        if (qr->aliased[j] && fabs(rest) > ESTIMABLE * size) {
            return false;
        }
    }
    return true;
}

static void invert_r(const qx_qr *qr, qx_mat inverse)
{
    for (size_t k = 0; k < qr->rank; k++) {
        for (size_t r = k + 1; r > 0; r--) {
            double x = r - 1 == k ? 1.0 : 0.0;
            for (size_t s = r; s <= k; s++) {
                x -= QX_AT(qr->R, r - 1, qr->kept[s]) * QX_AT(inverse, s, k);
            }
            QX_AT(inverse, r - 1, k) = x / QX_AT(qr->R, r - 1, qr->kept[r - 1]);
        }
    }
}

static qx_status inverse_gram(qx_ctx *cx, const qx_qr *qr, qx_mat out)
{
    qx_mat inverse;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), qr->rank, qr->rank, &inverse));
    invert_r(qr, inverse);
    return qx_mat_multiply(cx, 'n', 't', 1.0, inverse, inverse, 0.0, out);
}

qx_status qx_qr_inverse_gram(qx_ctx *cx, const qx_qr *qr, qx_mat out)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, inverse_gram(cx, qr, out));
    return status;
}

static qx_status leverage(qx_ctx *cx, const qx_qr *qr, double out[])
{
    double *q = NULL;
    QX_NEW(cx, q, qr->n);
    for (size_t i = 0; i < qr->n; i++) {
        out[i] = 0.0;
    }
    for (size_t c = 0; c < qr->rank; c++) { /* column c of Q, one at a time */
        memset(q, 0, qr->n * sizeof *q);
        q[c] = 1.0;
        qx_qr_apply(qr, 'n', q);
        for (size_t i = 0; i < qr->n; i++) {
            out[i] += q[i] * q[i];
        }
    }
    return QX_OK;
}

qx_status qx_qr_leverage(qx_ctx *cx, const qx_qr *qr, double out[])
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, leverage(cx, qr, out));
    return status;
}
