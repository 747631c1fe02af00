/* findings/linearised_rows.c - what is allowed for in rows of a hypothesis (linearised.h). */
#include <math.h>

#include "findings/linearised.h"
#include "numeric/eigen.h"

/* A correction beyond this is no small one any more. */
#define FACTOR_MOST 4.0
/* A variance without the bound at nil is not less than this of that with it. */
#define SHARE_LEAST 0.1
/* More degrees of freedom than this are as good as endless. */
#define DF_MOST 2000.0
/* Directions of several rows that carry less than this share of the largest are none. */
#define NO_DIRECTION 1e-9
/* Mean of an F of a direction with two degrees of freedom or fewer, which has none. */
#define NO_MEAN 10.0

static double df_of(const qx_linearised *l, const double row[])
{
    const double V = qx_quadratic(l->C, row);
    double g[QX_LINEARISED_TERMS_MOST], spread = 0.0;
    for (size_t k = 0; k < l->parts; k++) {
        g[k] = qx_quadratic(l->slope[k], row);
    }
    for (size_t a = 0; a < l->parts; a++) {
        for (size_t b = 0; b < l->parts; b++) {
            spread += g[a] * g[b] * QX_AT(l->A, a, b);
        }
    }
    const double df = 2.0 * V * V / spread;
    return df < DF_MOST ? fmax(df, 1.0) : (double)INFINITY; /* also not-a-number */
}

static double factor_of(const qx_linearised *l, const double row[])
{
    const double x = qx_quadratic(l->C, row) / qx_quadratic(l->plain, row);
    return isfinite(x) ? fmin(fmax(x, 1.0), FACTOR_MOST) : 1.0;
}

static double share_of(const qx_linearised *l, const double row[])
{
    double by = 0.0;
    for (size_t k = 0; k < l->parts; k++) {
        by += l->beyond[k] * qx_quadratic(l->slope[k], row);
    }
    const double x = 1.0 + by / qx_quadratic(l->C, row);
    return isfinite(x) ? fmin(fmax(x, SHARE_LEAST), 1.0) : 1.0;
}

/* One direction of several rows, as a row of its own. */
static void direction(qx_mat L, qx_mat U, size_t k, double row[])
{
    for (size_t j = 0; j < L.cols; j++) {
        row[j] = 0.0;
        for (size_t i = 0; i < L.rows; i++) {
            row[j] += QX_AT(U, i, k) * QX_AT(L, i, j);
        }
    }
}

/* df of an F over directions whose t have df[k]: its mean is that of theirs (Fai & Cornelius). */
static double df_together(size_t count, const double df[])
{
    double sum = 0.0;
    bool limited = false;
    for (size_t k = 0; k < count; k++) {
        sum += isinf(df[k]) ? 1.0 : df[k] > 2.0 ? df[k] / (df[k] - 2.0) : NO_MEAN;
        limited = limited || isfinite(df[k]);
    }
    const double r = (double)count;
    if (!limited || count == 1) {
        return count == 1 ? df[0] : (double)INFINITY;
    }
    const double out =
        sum > r * (1.0 + 1e-9) ? fmax(2.0 * sum / (sum - r), 1.0) : HUGE_VAL;
    return out < DF_MOST ? out : (double)INFINITY;
}

static qx_status joint(qx_ctx *cx, const qx_linearised *l, qx_mat L, qx_allowance *out)
{
    qx_mat LC, V, U;
    double *value, *row, *df, factors = 0.0, shares = 0.0;
    size_t used = 0;
    QX_NEW(cx, value, L.rows);
    QX_NEW(cx, df, L.rows);
    QX_NEW(cx, row, l->p);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, l->p, &LC));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, L.rows, &V));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), L.rows, L.rows, &U));
    QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, L, l->C, 0.0, LC));
    QX_TRY(qx_mat_multiply(cx, 'n', 't', 1.0, LC, L, 0.0, V));
    QX_TRY(qx_eigen_symmetric(cx, V, value, U));
    for (size_t k = 0; k < L.rows; k++) {
        if (!(value[k] > NO_DIRECTION * fmax(value[0], value[L.rows - 1]))) {
            continue;
        }
        direction(L, U, k, row);
        factors += factor_of(l, row);
        shares += share_of(l, row);
        df[used++] = df_of(l, row);
    }
    *out = (qx_allowance){.df = INFINITY, .factor = 1.0, .share = 1.0};
    if (used > 0) {
        out->df = df_together(used, df);
        out->factor = factors / (double)used;
        out->share = shares / (double)used;
    }
    return QX_OK;
}

qx_status
qx_linearised_joint(qx_ctx *cx, const qx_linearised *l, qx_mat L, qx_allowance *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, joint(cx, l, L, out));
    return status;
}
