/* findings/averaged.h - what is seen over many units, where a link stands between them and
 * the mean: E[ f(base + sqrt(v) z) ], z standard normal, v the variance of all units
 * together on the scale of the link.
 *
 *   mean   f the inverse link
 *   base   the place whose mean over units is this one: log m - v/2 for the logarithm,
 *          itself for the identity, else by halving
 *
 * Gauss-Hermite quadrature (numeric/quad.h). Private to this folder. */
#ifndef QX_FINDINGS_AVERAGED_H
#define QX_FINDINGS_AVERAGED_H

#include "base/ctx.h"
#include "model/link.h"

/* Ten digits up to a standard deviation of 3. */
#define QX_AVERAGED_NODES 30
/* Base of a share of exactly 0 or 1 or of a count of 0: from there nothing else is drawn in a
 * lifetime. */
#define QX_AVERAGED_END 36.0

typedef struct qx_averaged {
    qx_link link;
    double variance;
    double node[QX_AVERAGED_NODES], weight[QX_AVERAGED_NODES];
} qx_averaged;

/* variance >= 0. QX_E_NOMEM. */
qx_status qx_averaged_make(qx_ctx *cx, qx_link link, double variance, qx_averaged *out);

typedef double qx_averaged_function(const void *data, double predictor);

double qx_averaged_over(const qx_averaged *a,
                        double base,
                        qx_averaged_function *f,
                        const void *data);

double qx_averaged_mean(const qx_averaged *a, double base);

/* Held inside +-QX_AVERAGED_END (but for the identity). */
double qx_averaged_base(const qx_averaged *a, double mean);

#endif
