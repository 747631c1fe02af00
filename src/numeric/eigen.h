/* numeric/eigen.h - eigenvalues of symmetric matrices (LAPACK dsyevd). */
#ifndef QX_NUMERIC_EIGEN_H
#define QX_NUMERIC_EIGEN_H

#include "numeric/dense.h"

/* A (destroyed) = U diag(values) U', values ascending, U p x p. QX_E_NUMERIC. */
QX_API qx_status qx_eigen_symmetric(qx_ctx *cx, qx_mat A, double values[], qx_mat U);

#endif
