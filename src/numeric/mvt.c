/* numeric/mvt.c - checks, the choice between the two computations, and the quantile. */
#include "numeric/mvt.h"

#include <math.h>

#include "numeric/brent.h"
#include "numeric/dist.h"
#include "numeric/mvt_inner.h"

/* How well products b_i b_j must give the correlations: far above their rounding, and far
 * below what a probability could show. */
#define FORM 1e-9

/* How far a correlation matrix may be from symmetry and from ones on its diagonal. */
#define CORRELATION 1e-8

/* Relative error of the one-factor form, see tests/unit/numeric/test_mvt.c. */
#define FACTOR_ERROR 1e-11

/* How far beyond the bounds of a quantile its search goes. */
#define BEYOND 1e-6

static bool is_shape(qx_mat R)
{
    return R.rows == R.cols && R.rows > 0;
}

/* The largest |R_ij| beside the diagonal, with its place. */
static double largest_pair(qx_mat R, size_t *p, size_t *q)
{
    double largest = 0.0;
    for (size_t j = 0; j < R.cols; j++) {
        for (size_t i = j + 1; i < R.rows; i++) {
            if (fabs(QX_AT(R, i, j)) > largest) {
                largest = fabs(QX_AT(R, i, j));
                *p = j;
                *q = i;
            }
        }
    }
    return largest;
}

/* A third row with strong ties to p and q: of its two the weaker is returned. */
static double third_row(qx_mat R, size_t p, size_t q, size_t *k)
{
    double strongest = 0.0;
    for (size_t i = 0; i < R.rows; i++) {
        if (i == p || i == q) {
            continue;
        }
        const double weaker = fmin(fabs(QX_AT(R, i, p)), fabs(QX_AT(R, i, q)));
        if (weaker > strongest) {
            strongest = weaker;
            *k = i;
        }
    }
    return strongest;
}

/* b_p^2 = R_pq R_pk / R_qk; with two tied rows alone both take half of the tie. */
static double leading_square(qx_mat R, size_t p, size_t q, double pair)
{
    size_t k = 0;
    if (third_row(R, p, q, &k) <= FORM) {
        return pair;
    }
    return QX_AT(R, p, q) * QX_AT(R, p, k) / QX_AT(R, q, k);
}

static bool has_form(qx_mat R, const double b[])
{
    for (size_t j = 0; j < R.cols; j++) {
        if (!(fabs(b[j]) <= 1.0) || !(fabs(QX_AT(R, j, j) - 1.0) <= CORRELATION)) {
            return false;
        }
        for (size_t i = 0; i < R.rows; i++) {
            if (i != j && !(fabs(QX_AT(R, i, j) - b[i] * b[j]) <= FORM)) {
                return false;
            }
        }
    }
    return true;
}

bool qx_mvt_one_factor_of(qx_mat R, double b[])
{
    if (!is_shape(R)) {
        return false;
    }
    size_t p = 0;
    size_t q = 0;
    const double pair = largest_pair(R, &p, &q);
    const double square = pair > FORM ? leading_square(R, p, q, pair) : 0.0;
    /* Rounding may carry b beyond 1 where a row repeats another. */
    const double lead = square > 0.0 ? sqrt(fmin(square, 1.0)) : 0.0;
    for (size_t j = 0; j < R.rows; j++) {
        const double share = lead > 0.0 ? QX_AT(R, p, j) / lead : 0.0;
        b[j] = j == p ? lead : fmax(-1.0, fmin(1.0, share));
    }
    return has_form(R, b);
}

static qx_status check_point(qx_ctx *cx, double df, double x)
{
    if (!(df >= 1.0)) {
        return qx_fail(cx, QX_E_ARG, "%g degrees of freedom; expected 1 or more", df);
    }
    if (isnan(x)) {
        return qx_fail(cx, QX_E_ARG, "the statistic is not a number");
    }
    return QX_OK;
}

qx_status qx_mvt_one_factor_p(
    qx_ctx *cx, size_t m, const double b[], double df, double x, double *p)
{
    QX_TRY(check_point(cx, df, x));
    if (m == 0) {
        return qx_fail(cx, QX_E_SHAPE, "a family without comparisons");
    }
    for (size_t j = 0; j < m; j++) {
        if (!(fabs(b[j]) <= 1.0)) {
            return qx_fail(
                cx, QX_E_ARG, "factor %zu is %g; expected -1 to 1", j + 1, b[j]);
        }
    }
    if (x <= 0.0 || isinf(x)) {
        *p = x <= 0.0 ? 1.0 : 0.0;
        return QX_OK;
    }
    *p = m == 1 ? qx_t_two_sided(x, df) : qx_mvt_factor_tail(m, b, df, x);
    return QX_OK;
}

static qx_status check_correlation(qx_ctx *cx, qx_mat R)
{
    if (!is_shape(R)) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "a correlation matrix of %zu by %zu; a square one is needed",
                       R.rows,
                       R.cols);
    }
    for (size_t j = 0; j < R.cols; j++) {
        for (size_t i = 0; i < R.rows; i++) {
            const double want = i == j ? 1.0 : QX_AT(R, j, i);
            const bool is_close = fabs(QX_AT(R, i, j) - want) <= CORRELATION;
            if (!is_close || !(fabs(QX_AT(R, i, j)) <= 1.0 + CORRELATION)) {
                return qx_fail(cx,
                               QX_E_ARG,
                               "entry %zu, %zu of the correlations is %g",
                               i + 1,
                               j + 1,
                               QX_AT(R, i, j));
            }
        }
    }
    return QX_OK;
}

struct qx_mvt_family {
    size_t m;
    double *b;            /* one-factor form, or NULL */
    qx_mvt_sphere sphere; /* when `b` is NULL */
};

qx_status qx_mvt_family_new(qx_ctx *cx, qx_arena *arena, qx_mat R, qx_mvt_family **out)
{
    QX_TRY(check_correlation(cx, R));
    qx_mvt_family *f = NULL;
    QX_NEW_IN(cx, arena, f, 1);
    QX_NEW_IN(cx, arena, f->b, R.rows);
    f->m = R.rows;
    if (f->m > 1 && !qx_mvt_one_factor_of(R, f->b)) {
        f->b = NULL;
        QX_TRY(qx_mvt_sphere_new(cx, arena, R, &f->sphere));
    }
    *out = f;
    return QX_OK;
}

/* One comparison alone is less likely, all of them together are at most this likely. */
static double within_bounds(const qx_mvt_family *f, double df, double x, double p)
{
    const double one = qx_t_two_sided(x, df);
    return fmin(fmax(p, one), fmin(1.0, one * (double)f->m));
}

/* At x > 0. */
static double tail(const qx_mvt_family *f, double df, double x, double *error)
{
    if (f->b == NULL) {
        return within_bounds(f, df, x, qx_mvt_sphere_tail(&f->sphere, df, x, error));
    }
    const double p =
        f->m == 1 ? qx_t_two_sided(x, df) : qx_mvt_factor_tail(f->m, f->b, df, x);
    *error = FACTOR_ERROR * p;
    return p;
}

qx_status qx_mvt_family_p(qx_ctx *cx,
                          const qx_mvt_family *family,
                          double df,
                          double x,
                          double *p,
                          double *error)
{
    QX_TRY(check_point(cx, df, x));
    double uncertain = 0.0;
    if (x <= 0.0 || isinf(x)) {
        *p = x <= 0.0 ? 1.0 : 0.0;
    } else {
        *p = tail(family, df, x, &uncertain);
    }
    if (error != NULL) {
        *error = uncertain;
    }
    return QX_OK;
}

typedef struct question {
    const qx_mvt_family *family;
    double df, log_alpha;
} question;

static double excess(void *data, double x)
{
    const question *q = data;
    double error = 0.0;
    return log(tail(q->family, q->df, x, &error)) - q->log_alpha;
}

qx_status qx_mvt_family_q(
    qx_ctx *cx, const qx_mvt_family *family, double df, double alpha, double *x)
{
    QX_TRY(check_point(cx, df, 0.0));
    if (!(alpha > 0.0 && alpha < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "a level of %g; expected between 0 and 1", alpha);
    }
    const double low = qx_t_q(0.5 * alpha, df, QX_UPPER);
    const double high = qx_t_q(0.5 * alpha / (double)family->m, df, QX_UPPER);
    /* A little beyond the bounds: rounding must not hide the change of sign. */
    question asked = {.family = family, .df = df, .log_alpha = log(alpha)};
    if (qx_brent_root(
            excess, &asked, low * (1.0 - BEYOND), high * (1.0 + BEYOND), 0.0, x) !=
        QX_BRENT_FOUND) {
        return qx_fail(cx, QX_E_NUMERIC, "no critical value was found for %g", alpha);
    }
    return QX_OK;
}

static qx_status
probability(qx_ctx *cx, qx_mat R, double df, double x, double *p, double *error)
{
    qx_mvt_family *family = NULL;
    QX_TRY(qx_mvt_family_new(cx, qx_ctx_scratch(cx), R, &family));
    return qx_mvt_family_p(cx, family, df, x, p, error);
}

qx_status qx_mvt_p(qx_ctx *cx, qx_mat R, double df, double x, double *p, double *error)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, probability(cx, R, df, x, p, error));
    return status;
}

static qx_status quantile(qx_ctx *cx, qx_mat R, double df, double alpha, double *x)
{
    qx_mvt_family *family = NULL;
    QX_TRY(qx_mvt_family_new(cx, qx_ctx_scratch(cx), R, &family));
    return qx_mvt_family_q(cx, family, df, alpha, x);
}

qx_status qx_mvt_q(qx_ctx *cx, qx_mat R, double df, double alpha, double *x)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, quantile(cx, R, df, alpha, x));
    return status;
}
