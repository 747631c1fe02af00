#include "model/trend.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "numeric/dense.h"

static size_t count_distinct(size_t k, const double score[])
{
    size_t distinct = 0;
    for (size_t i = 0; i < k; i++) {
        bool is_new = true;
        for (size_t j = 0; j < i; j++) {
            is_new = is_new && score[j] != score[i];
        }
        distinct += is_new ? 1U : 0U;
    }
    return distinct;
}

static qx_status check_scores(qx_ctx *cx, size_t k, const double score[], int degree)
{
    for (size_t i = 0; i < k; i++) {
        if (!isfinite(score[i])) {
            return qx_fail(cx, QX_E_ARG, "level %zu of a trend is not a number", i + 1);
        }
    }
    const size_t distinct = count_distinct(k, score);
    if (degree < 1 || degree > QX_TREND_DEGREE_MOST || (size_t)degree >= distinct) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "a trend of degree %d needs more than %d different levels, "
                       "there are %zu",
                       degree,
                       degree,
                       distinct);
    }
    return QX_OK;
}

/* Scores moved and stretched to -1 ... 1: halves first, so that extreme ones stay finite. */
static void scale_scores(size_t k, const double score[], double x[])
{
    double low = score[0], high = score[0];
    for (size_t i = 1; i < k; i++) {
        low = fmin(low, score[i]);
        high = fmax(high, score[i]);
    }
    const double middle = low / 2.0 + high / 2.0;
    const double half = high / 2.0 - low / 2.0;
    for (size_t i = 0; i < k; i++) {
        x[i] = (score[i] - middle) / half;
    }
}

static void take_away(size_t k, const double unit[], double v[])
{
    const double along = qx_dot(k, unit, v);
    for (size_t i = 0; i < k; i++) {
        v[i] -= along * unit[i];
    }
}

static void make_unit(size_t k, double v[])
{
    const double length = sqrt(qx_dot(k, v, v));
    for (size_t i = 0; i < k; i++) {
        v[i] /= length;
    }
}

/* Column d of `basis` becomes x times column d - 1, less its parts along all before it:
 * the next power has a positive share of it, so the sign rises by itself. */
static void add_degree(size_t k, const double x[], qx_mat basis, size_t d)
{
    double *v = &QX_AT(basis, 0, d);
    for (size_t i = 0; i < k; i++) {
        v[i] = x[i] * QX_AT(basis, i, d - 1);
    }
    for (int pass = 0; pass < 2; pass++) {
        for (size_t j = 0; j < d; j++) {
            take_away(k, &QX_AT(basis, 0, j), v);
        }
    }
    make_unit(k, v);
}

static qx_status
coefficients(qx_ctx *cx, size_t k, const double score[], int degree, double out[])
{
    const size_t last = (size_t)degree;
    double *x;
    qx_mat basis;
    QX_TRY(check_scores(cx, k, score, degree));
    QX_NEW(cx, x, k);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, last + 1, &basis));
    scale_scores(k, score, x);
    for (size_t i = 0; i < k; i++) {
        QX_AT(basis, i, 0) = 1.0 / sqrt((double)k);
    }
    for (size_t d = 1; d <= last; d++) {
        add_degree(k, x, basis, d);
    }
    memcpy(out, &QX_AT(basis, 0, last), k * sizeof out[0]);
    return QX_OK;
}

qx_status qx_trend_coefficients(
    qx_ctx *cx, size_t k, const double score[], int degree, double coefficient[])
{
    qx_status status;
    QX_SCRATCH(cx, status, coefficients(cx, k, score, degree, coefficient));
    return status;
}
