/* model/link.h - link functions: from the mean of a count or a share to the linear
 * predictor and back.
 *
 *     eta = g(mu)    logit, probit, complementary log-log (shares: 0 < mu < 1), log
 *                    (counts: mu > 0), identity
 *
 * A likelihood needs log mu and log(1 - mu) and their derivatives in eta, which stay
 * accurate where mu itself is 0 or 1 in double arithmetic: nothing here overflows or becomes
 * not-a-number for any finite eta (log: mu is INFINITY above 709.78).
 * McCullagh & Nelder 1989, Generalized Linear Models, 2nd ed., sections 4.3 and 6.2. */
#ifndef QX_MODEL_LINK_H
#define QX_MODEL_LINK_H

#include "base/attr.h"

typedef enum {
    QX_LINK_LOGIT,
    QX_LINK_LOG,
    QX_LINK_PROBIT,
    QX_LINK_CLOGLOG,
    QX_LINK_IDENTITY
} qx_link;

#define QX_LINK_COUNT 5

/* The mean at eta, and a = log mu, b = log(1 - mu) with three derivatives in eta. b is for
 * shares only: NAN with log and identity. identity: a is NAN where eta <= 0. */
typedef struct qx_link_point {
    double mu;   /* mean */
    double co;   /* 1 - mu without cancellation; NAN with log and identity */
    double a[4]; /* log mu and derivatives 1, 2, 3 */
    double b[4]; /* log(1 - mu) and derivatives 1, 2, 3 */
} qx_link_point;

QX_API const char *qx_link_key(qx_link link); /* "logit", ... */

/* g(mu): -INFINITY and INFINITY at the ends, NAN outside. */
QX_API double qx_link_predictor(qx_link link, double mu);

/* The inverse: mean at eta. */
QX_API double qx_link_mean(qx_link link, double eta);

/* First (order 1), second or third derivative of the mean in eta. */
QX_API double qx_link_slope(qx_link link, double eta, int order);

QX_API void qx_link_at(qx_link link, double eta, qx_link_point *out);

#endif
