/* numeric/chol.c - covers of LAPACK dpotrf, dpotrs, dpotri and BLAS dtrsm. The _work forms
 * are called: the others allocate and scan for not-a-number on their own. */
#include "numeric/chol.h"

#include <cblas.h>
#include <lapacke.h>
#include <math.h>

#include "numeric/blas.h"

static qx_status check_square(qx_ctx *cx, const char *name, qx_mat A)
{
    QX_TRY(qx_blas_fits(cx, name, A));
    if (A.rows != A.cols) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "matrix %s is %zu by %zu; a square one is needed",
                       name,
                       A.rows,
                       A.cols);
    }
    return QX_OK;
}

static qx_status check_system(qx_ctx *cx, qx_mat L, qx_mat B)
{
    QX_TRY(check_square(cx, "L", L));
    QX_TRY(qx_blas_fits(cx, "B", B));
    if (B.rows != L.rows) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "a right-hand side of %zu rows does not fit a factor of %zu",
                       B.rows,
                       L.rows);
    }
    return QX_OK;
}

/* First pivot that is not a positive number, or L.rows. LAPACK lets not-a-number pass. */
static size_t first_bad_pivot(qx_mat L)
{
    for (size_t i = 0; i < L.rows; i++) {
        if (!(QX_AT(L, i, i) > 0.0 && isfinite(QX_AT(L, i, i)))) {
            return i;
        }
    }
    return L.rows;
}

static qx_status not_definite(qx_ctx *cx, size_t pivot)
{
    return qx_fail(
        cx, QX_E_NOT_PD, "matrix is not positive definite at its row %zu", pivot + 1);
}

qx_status qx_chol_factor(qx_ctx *cx, qx_mat A)
{
    QX_TRY(check_square(cx, "A", A));
    if (A.rows == 0) {
        return QX_OK;
    }
    qx_blas_ready();
    const int info = LAPACKE_dpotrf_work(
        LAPACK_COL_MAJOR, 'L', qx_blas_int(A.rows), A.at, qx_blas_ld(A));
    if (info > 0) {
        return not_definite(cx, (size_t)info - 1);
    }
    const size_t bad = first_bad_pivot(A);
    if (bad < A.rows) {
        return not_definite(cx, bad);
    }
    for (size_t j = 1; j < A.cols; j++) {
        for (size_t i = 0; i < j; i++) {
            QX_AT(A, i, j) = 0.0;
        }
    }
    return QX_OK;
}

qx_status qx_chol_solve(qx_ctx *cx, qx_mat L, qx_mat B)
{
    QX_TRY(check_system(cx, L, B));
    QX_TRY(qx_chol_solve_lower(cx, 'n', L, B));
    return qx_chol_solve_lower(cx, 't', L, B);
}

qx_status qx_chol_solve_lower(qx_ctx *cx, char t, qx_mat L, qx_mat B)
{
    if (t != 'n' && t != 't') {
        return qx_fail(cx, QX_E_ARG, "operation '%c' is neither 'n' nor 't'", t);
    }
    QX_TRY(check_system(cx, L, B));
    if (L.rows == 0 || B.cols == 0) {
        return QX_OK;
    }
    qx_blas_ready();
    cblas_dtrsm(CblasColMajor,
                CblasLeft,
                CblasLower,
                t == 't' ? CblasTrans : CblasNoTrans,
                CblasNonUnit,
                qx_blas_int(B.rows),
                qx_blas_int(B.cols),
                1.0,
                L.at,
                qx_blas_ld(L),
                B.at,
                qx_blas_ld(B));
    return QX_OK;
}

qx_status qx_chol_inverse(qx_ctx *cx, qx_mat L, qx_mat out)
{
    QX_TRY(check_square(cx, "L", L));
    QX_TRY(qx_blas_fits(cx, "out", out));
    if (out.rows != L.rows || out.cols != L.cols) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "the inverse of a factor of %zu rows does not fit %zu by %zu",
                       L.rows,
                       out.rows,
                       out.cols);
    }
    if (L.rows == 0) {
        return QX_OK;
    }
    const size_t bad = first_bad_pivot(L);
    if (bad < L.rows) {
        return not_definite(cx, bad);
    }
    qx_mat_copy(out, L);
    qx_blas_ready();
    (void)LAPACKE_dpotri_work(
        LAPACK_COL_MAJOR, 'L', qx_blas_int(out.rows), out.at, qx_blas_ld(out));
    qx_mat_mirror_lower(out);
    return QX_OK;
}

double qx_chol_logdet(qx_mat L)
{
    double sum = 0.0;
    for (size_t i = 0; i < L.rows; i++) {
        sum += log(QX_AT(L, i, i));
    }
    return 2.0 * sum;
}
