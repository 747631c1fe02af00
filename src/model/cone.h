/* model/cone.h - is there a direction along which nothing gets worse? Private to model/.
 *
 * Given m rows a_i (length P), looks for delta with a_i'delta >= 0 for all i and > 0 for
 * some. By Stiemke's alternative there is none exactly when some lambda >= 1 has
 * A'lambda = 0; so minimise |A'(1 + mu)| over mu >= 0 (non-negative least squares, Lawson &
 * Hanson 1974, Solving Least Squares Problems, ch. 23): where the least is zero there is no
 * such delta, else delta = A'(1 + mu) is one. The rows it satisfies strictly are set aside
 * and the rest is asked again, so that in the end `strict` holds every row that any such
 * direction satisfies strictly. */
#ifndef QX_MODEL_CONE_H
#define QX_MODEL_CONE_H

#include <stdbool.h>

#include "numeric/dense.h"

typedef struct qx_cone {
    size_t strict_count; /* 0: no such direction */
    bool *strict;        /* m, given by the caller */
    bool *moves; /* P, given by the caller: entries that are not zero in some delta
                            after `back`, or NULL */
    const qx_mat
        *back; /* P x P: coordinates in which `moves` is told; NULL: those of A */
} qx_cone;

/* A: P x m, a row a_i in each column, in coordinates of about unit size. QX_E_NOMEM. */
qx_status qx_cone_find(qx_ctx *cx, qx_mat A, qx_cone *out);

#endif
