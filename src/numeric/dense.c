/* numeric/dense.c - views and products of dense matrices, over BLAS. */
#include "numeric/dense.h"

#include <cblas.h>
#include <limits.h>
#include <pthread.h>
#include <string.h>

#include "numeric/blas.h"

/* Sums in this many lanes: shorter chains of rounding, and the lanes run side by side. */
#define LANES 4

static void use_one_thread(void)
{
    openblas_set_num_threads(1);
}

void qx_blas_ready(void)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    (void)pthread_once(&once, use_one_thread);
}

int qx_blas_int(size_t n)
{
    QX_ASSERT(n <= INT_MAX);
    return (int)n;
}

int qx_blas_ld(qx_mat a)
{
    return qx_blas_int(a.ld > 0 ? a.ld : 1);
}

qx_status qx_blas_fits(qx_ctx *cx, const char *name, qx_mat a)
{
    if (a.rows > INT_MAX || a.cols > INT_MAX || a.ld > INT_MAX) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "matrix %s of %zu by %zu is too large for this computation",
                       name,
                       a.rows,
                       a.cols);
    }
    if (a.ld < a.rows) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "matrix %s has %zu rows, but a stride of only %zu",
                       name,
                       a.rows,
                       a.ld);
    }
    return QX_OK;
}

qx_status qx_mat_new(qx_ctx *cx, qx_arena *arena, size_t rows, size_t cols, qx_mat *out)
{
    if (rows > INT_MAX || cols > INT_MAX) {
        return qx_fail(cx, QX_E_SHAPE, "a matrix of %zu by %zu is too large", rows, cols);
    }
    double *at = NULL;
    QX_NEW_IN(cx, arena, at, rows * cols);
    *out = qx_mat_of(at, rows, cols);
    return QX_OK;
}

qx_mat qx_mat_of(double *at, size_t rows, size_t cols)
{
    return (qx_mat){.at = at, .rows = rows, .cols = cols, .ld = rows};
}

qx_mat qx_mat_part(qx_mat a, size_t row, size_t col, size_t rows, size_t cols)
{
    QX_ASSERT(row <= a.rows && rows <= a.rows - row);
    QX_ASSERT(col <= a.cols && cols <= a.cols - col);
    return (qx_mat){.at = &QX_AT(a, row, col), .rows = rows, .cols = cols, .ld = a.ld};
}

void qx_mat_copy(qx_mat to, qx_mat from)
{
    QX_ASSERT(to.rows == from.rows && to.cols == from.cols);
    if (from.rows == 0) {
        return;
    }
    for (size_t j = 0; j < from.cols; j++) {
        memmove(&QX_AT(to, 0, j), &QX_AT(from, 0, j), from.rows * sizeof(double));
    }
}

void qx_mat_zero(qx_mat a)
{
    for (size_t j = 0; j < a.cols; j++) {
        for (size_t i = 0; i < a.rows; i++) {
            QX_AT(a, i, j) = 0.0;
        }
    }
}

void qx_mat_mirror_lower(qx_mat a)
{
    for (size_t j = 0; j < a.cols; j++) {
        for (size_t i = j + 1; i < a.rows; i++) {
            QX_AT(a, j, i) = QX_AT(a, i, j);
        }
    }
}

static qx_status check_op(qx_ctx *cx, char op)
{
    if (op != 'n' && op != 't') {
        return qx_fail(cx, QX_E_ARG, "operation '%c' is neither 'n' nor 't'", op);
    }
    return QX_OK;
}

/* op(A) is m x k, op(B) k x n and C m x n. */
static qx_status check_product(qx_ctx *cx, char ta, char tb, qx_mat A, qx_mat B, qx_mat C)
{
    QX_TRY(check_op(cx, ta));
    QX_TRY(check_op(cx, tb));
    QX_TRY(qx_blas_fits(cx, "A", A));
    QX_TRY(qx_blas_fits(cx, "B", B));
    QX_TRY(qx_blas_fits(cx, "C", C));
    const size_t m = ta == 'n' ? A.rows : A.cols;
    const size_t k = ta == 'n' ? A.cols : A.rows;
    const size_t l = tb == 'n' ? B.rows : B.cols;
    const size_t n = tb == 'n' ? B.cols : B.rows;
    if (k != l || m != C.rows || n != C.cols) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "a product of %zu by %zu and %zu by %zu does not fit %zu by %zu",
                       m,
                       k,
                       l,
                       n,
                       C.rows,
                       C.cols);
    }
    return QX_OK;
}

static CBLAS_TRANSPOSE blas_op(char op)
{
    return op == 't' ? CblasTrans : CblasNoTrans;
}

/* C = beta C, where a beta of 0 also wipes out what is not a number. */
static void scale(double beta, qx_mat C)
{
    for (size_t j = 0; j < C.cols; j++) {
        for (size_t i = 0; i < C.rows; i++) {
            QX_AT(C, i, j) = beta == 0.0 ? 0.0 : beta * QX_AT(C, i, j);
        }
    }
}

/* NOLINTNEXTLINE(readability-function-size): the arguments of a product, as in BLAS. */
qx_status qx_mat_multiply(
    qx_ctx *cx, char ta, char tb, double alpha, qx_mat A, qx_mat B, double beta, qx_mat C)
{
    QX_TRY(check_product(cx, ta, tb, A, B, C));
    const size_t k = ta == 'n' ? A.cols : A.rows;
    if (C.rows == 0 || C.cols == 0 || k == 0) {
        scale(beta, C);
        return QX_OK;
    }
    qx_blas_ready();
    cblas_dgemm(CblasColMajor,
                blas_op(ta),
                blas_op(tb),
                qx_blas_int(C.rows),
                qx_blas_int(C.cols),
                qx_blas_int(k),
                alpha,
                A.at,
                qx_blas_ld(A),
                B.at,
                qx_blas_ld(B),
                beta,
                C.at,
                qx_blas_ld(C));
    return QX_OK;
}

qx_status qx_mat_crossprod(qx_ctx *cx, qx_mat A, qx_mat C)
{
    QX_TRY(qx_blas_fits(cx, "A", A));
    QX_TRY(qx_blas_fits(cx, "C", C));
    if (C.rows != A.cols || C.cols != A.cols) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "the cross product of %zu columns does not fit %zu by %zu",
                       A.cols,
                       C.rows,
                       C.cols);
    }
    if (A.cols == 0 || A.rows == 0) {
        qx_mat_zero(C);
        return QX_OK;
    }
    qx_blas_ready();
    cblas_dsyrk(CblasColMajor,
                CblasLower,
                CblasTrans,
                qx_blas_int(A.cols),
                qx_blas_int(A.rows),
                1.0,
                A.at,
                qx_blas_ld(A),
                0.0,
                C.at,
                qx_blas_ld(C));
    qx_mat_mirror_lower(C);
    return QX_OK;
}

void qx_mat_vector(
    char ta, double alpha, qx_mat A, const double x[], double beta, double y[])
{
    QX_ASSERT(ta == 'n' || ta == 't');
    if (A.rows == 0 || A.cols == 0) {
        scale(beta, qx_mat_of(y, ta == 'n' ? A.rows : A.cols, 1));
        return;
    }
    qx_blas_ready();
    cblas_dgemv(CblasColMajor,
                blas_op(ta),
                qx_blas_int(A.rows),
                qx_blas_int(A.cols),
                alpha,
                A.at,
                qx_blas_ld(A),
                x,
                1,
                beta,
                y,
                1);
}

/* Not by BLAS: the same bits on every processor, which the QR factors rest on. */
double qx_dot(size_t n, const double x[], const double y[])
{
    double lane[LANES] = {0.0};
    size_t i = 0;
    for (; i + LANES <= n; i += LANES) {
        for (size_t l = 0; l < LANES; l++) {
            lane[l] += x[i + l] * y[i + l];
        }
    }
    for (; i < n; i++) {
        lane[0] += x[i] * y[i];
    }
    return (lane[0] + lane[1]) + (lane[2] + lane[3]);
}

double qx_quadratic(qx_mat A, const double x[])
{
    QX_ASSERT(A.rows == A.cols);
    double sum = 0.0;
    for (size_t j = 0; j < A.cols; j++) {
        sum += x[j] * qx_dot(A.rows, &QX_AT(A, 0, j), x);
    }
    return sum;
}

double qx_mat_inner(qx_mat A, qx_mat B)
{
    QX_ASSERT(A.rows == B.rows && A.cols == B.cols);
    double sum = 0.0;
    for (size_t j = 0; j < A.cols; j++) {
        sum += qx_dot(A.rows, &QX_AT(A, 0, j), &QX_AT(B, 0, j));
    }
    return sum;
}
