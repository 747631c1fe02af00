/* numeric/blas.h - the one place where sizes become the ints of BLAS and LAPACK, and where
 * their thread count is set.
 *
 * Internal to numeric/: included by dense.c, chol.c, eigen.c and spchol.c only. */
#ifndef QX_NUMERIC_BLAS_H
#define QX_NUMERIC_BLAS_H

#include "numeric/dense.h"

/* A size as BLAS wants it. Callers that can fail ask qx_blas_fits first. */
int qx_blas_int(size_t n);

/* QX_E_SHAPE when a size of `a` is beyond an int, or ld < rows; `name` for the message. */
qx_status qx_blas_fits(qx_ctx *cx, const char *name, qx_mat a);

/* The leading dimension, at least 1 as BLAS demands even of empty matrices. */
int qx_blas_ld(qx_mat a);

/* Sets one BLAS thread, once in the process. Call before the first call into BLAS. */
void qx_blas_ready(void);

/* Copies the strictly lower triangle to the upper. */
void qx_mat_mirror_lower(qx_mat a);

#endif
