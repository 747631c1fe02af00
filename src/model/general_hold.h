/* model/general_hold.h - the profile likelihood of one parameter of a general covariance: f at
 * the best of all others. Private to model/. */
#ifndef QX_MODEL_GENERAL_HOLD_H
#define QX_MODEL_GENERAL_HOLD_H

#include "model/general_fit.h"

typedef struct qx_general_hold {
    const struct qx_general_fit *own;
    const qx_general *g;
    qx_general_point room;
    double target; /* chi-square quantile: how far f may rise inside an interval */
} qx_general_hold;

/* f at theta with parameter i held; theta moves to the best of the others. slope: df/di.
 * NAN where the fit does not settle. */
qx_status qx_general_hold_at(
    qx_ctx *cx, qx_general_hold *w, size_t i, double theta[], double *f, double *slope);

/* Rise of f with parameter i at `value` (a bound, or nil), from the estimates. */
qx_status
qx_general_rise_at(qx_ctx *cx, qx_general_hold *w, size_t i, double value, double *out);

/* Standard error from the expected information, to begin searches with. */
double qx_general_rough_se(const qx_general_hold *w, size_t i);

/* Where a search for the end of an interval begins. */
typedef struct qx_general_bracket {
    const double *theta; /* the others at first */
    double near, far;    /* inside and outside; far INFINITY: no end */
    double first;        /* trial between them */
} qx_general_bracket;

/* The value of parameter i between the ends of the bracket where f passes the target;
 * INFINITY where there is none; NAN where the fit does not settle. */
qx_status qx_general_crossing(qx_ctx *cx,
                              qx_general_hold *w,
                              size_t i,
                              const qx_general_bracket *from,
                              double *out);

/* Interval and likelihood ratio of a correlation, over its whole range
 * (model/general_correlation.c). */
qx_status
qx_general_correlation(qx_ctx *cx, qx_general_hold *w, size_t i, qx_correlation *c);

#endif
