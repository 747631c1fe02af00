/* numeric/eigen.c - cover of LAPACK dsyevd with scratch of our own. */
#include "numeric/eigen.h"

#include <lapacke.h>
#include <math.h>

#include "numeric/blas.h"

static qx_status solve(qx_ctx *cx, qx_mat A, double values[])
{
    const lapack_int n = qx_blas_int(A.rows);
    qx_blas_ready();
    double best = 0.0;
    lapack_int best_whole = 0;
    double *work = NULL;
    lapack_int *whole = NULL;
    if (LAPACKE_dsyevd_work(LAPACK_COL_MAJOR,
                            'V',
                            'L',
                            n,
                            A.at,
                            qx_blas_ld(A),
                            values,
                            &best,
                            -1,
                            &best_whole,
                            -1) != 0) {
        return qx_fail(cx, QX_E_NUMERIC, "eigenvalues: LAPACK refused the sizes");
    }
    const size_t room = (size_t)best;
    QX_NEW(cx, work, room);
    QX_NEW(cx, whole, (size_t)best_whole);
    if (LAPACKE_dsyevd_work(LAPACK_COL_MAJOR,
                            'V',
                            'L',
                            n,
                            A.at,
                            qx_blas_ld(A),
                            values,
                            work,
                            (lapack_int)room,
                            whole,
                            best_whole) != 0) {
        return qx_fail(cx, QX_E_NUMERIC, "eigenvalues did not converge");
    }
    return QX_OK;
}

qx_status qx_eigen_symmetric(qx_ctx *cx, qx_mat A, double values[], qx_mat U)
{
    qx_status status = QX_OK;
    QX_TRY(qx_blas_fits(cx, "A", A));
    QX_TRY(qx_blas_fits(cx, "U", U));
    if (A.rows != A.cols || U.rows != A.rows || U.cols != A.cols) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "eigenvalues of %zu x %zu into %zu x %zu",
                       A.rows,
                       A.cols,
                       U.rows,
                       U.cols);
    }
    for (size_t j = 0; j < A.cols; j++) {
        for (size_t i = j; i < A.rows; i++) {
            if (!isfinite(QX_AT(A, i, j))) {
                return qx_fail(cx,
                               QX_E_NUMERIC,
                               "eigenvalues of a matrix with a value "
                               "that is not finite");
            }
        }
    }
    if (A.rows == 0) {
        return QX_OK;
    }
    QX_SCRATCH(cx, status, solve(cx, A, values));
    QX_TRY(status);
    qx_mat_copy(U, A);
    return QX_OK;
}
