/* findings/turning_point.h - where a parabola has its highest or lowest point, with limits.
 *
 * Of f(u) = ... + b1 u + b2 u^2 the slope is nil at
 *
 *     u* = -b1 / (2 b2)
 *
 * a ratio of two estimates. Its limits are all u at which a slope of nil agrees with the
 * data, (b1 + 2 b2 u)^2 <= t^2 (v11 + 4 u v12 + 4 u^2 v22): between the roots of
 *
 *     (b2^2 - t^2 v22) u^2 + (b1 b2 - t^2 v12) u + (b1^2 - t^2 v11) / 4 = 0
 *
 * which is a range with two ends exactly when the curvature is shown at the same level,
 * b2^2 > t^2 v22; else there is none.
 * Source: Fieller 1954, J R Stat Soc B 16:175-185. */
#ifndef QX_FINDINGS_TURNING_POINT_H
#define QX_FINDINGS_TURNING_POINT_H

typedef struct qx_parabola {
    double b1, b2;        /* unit of the variate per u, and per u squared */
    double v11, v12, v22; /* their covariance */
} qx_parabola;

typedef struct qx_turn {
    double at, lower, upper; /* u; NAN where the curvature is not shown */
} qx_turn;

/* t: quantile of Student's t for the limits wanted, > 0. */
qx_turn qx_turning_point(const qx_parabola *parabola, double t);

#endif
