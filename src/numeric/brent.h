/* numeric/brent.h - the bare root finder of root.c, for callers without a context (dist.c).
 *
 * Internal to numeric/. */
#ifndef QX_NUMERIC_BRENT_H
#define QX_NUMERIC_BRENT_H

#include "numeric/root.h"

typedef enum {
    QX_BRENT_FOUND,
    QX_BRENT_SAME_SIGN,
    QX_BRENT_NOT_A_NUMBER
} qx_brent_outcome;

/* As qx_root. `*x` is written only when a root was found. */
qx_brent_outcome qx_brent_root(
    qx_function *f, void *data, double low, double high, double tolerance, double *x);

#endif
