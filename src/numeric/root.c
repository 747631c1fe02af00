/* numeric/root.c - Brent's root finder and minimiser (Brent 1973, ch. 4 and 5). */
#include "numeric/root.h"

#include <float.h>
#include <math.h>
#include <stdbool.h>

#include "numeric/brent.h"

/* Brent's bound on steps is the square of bisection's; a double has at most 2 x 1074 + 53
 * halvings in it, and a well-behaved function takes about ten. */
#define STEPS_MOST 5000

/* Square of the golden section's short part, (3 - sqrt 5) / 2. */
#define GOLDEN 0.3819660112501051

/* `b` is the best point, `a` the one before, and the root lies between `b` and `c`. */
typedef struct bracket {
    double a, b, c;
    double fa, fb, fc;
    double step, before;
} bracket;

static bool same_sign(double x, double y)
{
    return (x > 0.0) == (y > 0.0);
}

/* Keeps the sign change between b and c, and b the better of the two. */
static void order(bracket *k)
{
    if (same_sign(k->fb, k->fc)) {
        k->c = k->a;
        k->fc = k->fa;
        k->step = k->b - k->a;
        k->before = k->step;
    }
    if (fabs(k->fc) < fabs(k->fb)) {
        k->a = k->b;
        k->b = k->c;
        k->c = k->a;
        k->fa = k->fb;
        k->fb = k->fc;
        k->fc = k->fa;
    }
}

/* The next step from b: inverse quadratic or secant where it can be trusted, else half. */
static void choose_step(bracket *k, double half, double tolerance)
{
    if (fabs(k->before) < tolerance || fabs(k->fa) <= fabs(k->fb)) {
        k->step = half;
        k->before = half;
        return;
    }
    const double s = k->fb / k->fa;
    double p = 2.0 * half * s;
    double q = 1.0 - s;
    if (k->a != k->c) {
        const double r = k->fb / k->fc;
        const double t = k->fa / k->fc;
        p = s * (2.0 * half * t * (t - r) - (k->b - k->a) * (r - 1.0));
        q = (t - 1.0) * (r - 1.0) * (s - 1.0);
    }
    if (p > 0.0) {
        q = -q;
    }
    p = fabs(p);
    if (2.0 * p < fmin(3.0 * half * q - fabs(tolerance * q), fabs(k->before * q))) {
        k->before = k->step;
        k->step = p / q;
    } else {
        k->step = half;
        k->before = half;
    }
}

qx_brent_outcome qx_brent_root(
    qx_function *f, void *data, double low, double high, double tolerance, double *x)
{
    bracket k = {.a = low, .b = high, .c = high};
    k.fa = f(data, low);
    k.fb = f(data, high);
    k.fc = k.fb;
    if (isnan(k.fa) || isnan(k.fb)) {
        return QX_BRENT_NOT_A_NUMBER;
    }
    if (k.fa == 0.0 || k.fb == 0.0) {
        *x = k.fa == 0.0 ? low : high;
        return QX_BRENT_FOUND;
    }
    if (same_sign(k.fa, k.fb)) {
        return QX_BRENT_SAME_SIGN;
    }
    for (int i = 0; i < STEPS_MOST; i++) {
        order(&k);
        const double near = 2.0 * DBL_EPSILON * fabs(k.b) + 0.5 * tolerance;
        const double half = 0.5 * (k.c - k.b);
        if (fabs(half) <= near || k.fb == 0.0) {
            break;
        }
        choose_step(&k, half, near);
        k.a = k.b;
        k.fa = k.fb;
        k.b += fabs(k.step) > near ? k.step : copysign(near, half);
        k.fb = f(data, k.b);
        if (isnan(k.fb)) {
            return QX_BRENT_NOT_A_NUMBER;
        }
    }
    *x = k.b;
    return QX_BRENT_FOUND;
}

static qx_status check_interval(qx_ctx *cx, double low, double high, double tolerance)
{
    if (!isfinite(low) || !isfinite(high) || low > high) {
        return qx_fail(cx, QX_E_ARG, "%g to %g is not an interval", low, high);
    }
    if (!(tolerance >= 0.0)) {
        return qx_fail(cx, QX_E_ARG, "a tolerance of %g is below 0", tolerance);
    }
    return QX_OK;
}

qx_status qx_root(qx_ctx *cx,
                  qx_function *f,
                  void *data,
                  double low,
                  double high,
                  double tolerance,
                  double *x)
{
    QX_TRY(check_interval(cx, low, high, tolerance));
    switch (qx_brent_root(f, data, low, high, tolerance, x)) {
    case QX_BRENT_SAME_SIGN:
        return qx_fail(
            cx, QX_E_ARG, "the function does not change its sign in %g to %g", low, high);
    case QX_BRENT_NOT_A_NUMBER:
        return qx_fail(
            cx, QX_E_NUMERIC, "the function is not a number in %g to %g", low, high);
    case QX_BRENT_FOUND:
        break;
    }
    return QX_OK;
}

/* x best, w second, v third; the minimum lies in low ... high. */
typedef struct valley {
    double low, high;
    double x, w, v;
    double fx, fw, fv;
    double step, before;
} valley;

/* A parabola through the three best points, or the golden section of the larger part. */
static void choose_descent(valley *k, double near)
{
    const double middle = 0.5 * (k->low + k->high);
    if (fabs(k->before) > near) {
        const double r = (k->x - k->w) * (k->fx - k->fv);
        const double s = (k->x - k->v) * (k->fx - k->fw);
        double p = (k->x - k->v) * s - (k->x - k->w) * r;
        double q = 2.0 * (s - r);
        p = q > 0.0 ? -p : p;
        q = fabs(q);
        const bool shrinks = fabs(p) < fabs(0.5 * q * k->before);
        if (shrinks && p > q * (k->low - k->x) && p < q * (k->high - k->x)) {
            k->before = k->step;
            k->step = p / q;
            const double u = k->x + k->step;
            if (u - k->low < 2.0 * near || k->high - u < 2.0 * near) {
                k->step = copysign(near, middle - k->x);
            }
            return;
        }
    }
    k->before = k->x < middle ? k->high - k->x : k->low - k->x;
    k->step = GOLDEN * k->before;
}

static void keep_point(valley *k, double u, double fu)
{
    if (fu <= k->fx) {
        *(u < k->x ? &k->high : &k->low) = k->x;
        k->v = k->w;
        k->fv = k->fw;
        k->w = k->x;
        k->fw = k->fx;
        k->x = u;
        k->fx = fu;
        return;
    }
    *(u < k->x ? &k->low : &k->high) = u;
    if (fu <= k->fw || k->w == k->x) {
        k->v = k->w;
        k->fv = k->fw;
        k->w = u;
        k->fw = fu;
    } else if (fu <= k->fv || k->v == k->x || k->v == k->w) {
        k->v = u;
        k->fv = fu;
    }
}

qx_status qx_minimum(qx_ctx *cx,
                     qx_function *f,
                     void *data,
                     double low,
                     double high,
                     double tolerance,
                     double *x)
{
    QX_TRY(check_interval(cx, low, high, tolerance));
    valley k = {.low = low, .high = high};
    k.x = k.w = k.v = low + GOLDEN * (high - low);
    k.fx = k.fw = k.fv = f(data, k.x);
    const double relative = fmax(tolerance, sqrt(DBL_EPSILON));
    for (int i = 0; i < STEPS_MOST && !isnan(k.fx); i++) {
        const double near = relative * (fabs(k.x) + DBL_EPSILON) / 3.0;
        const double middle = 0.5 * (k.low + k.high);
        if (fabs(k.x - middle) <= 2.0 * near - 0.5 * (k.high - k.low)) {
            break;
        }
        choose_descent(&k, near);
        const double u = k.x + (fabs(k.step) >= near ? k.step : copysign(near, k.step));
        const double fu = f(data, u);
        if (isnan(fu)) {
            k.fx = NAN;
            break;
        }
        keep_point(&k, u, fu);
    }
    if (isnan(k.fx)) {
        return qx_fail(
            cx, QX_E_NUMERIC, "the function is not a number in %g to %g", low, high);
    }
    *x = k.x;
    return QX_OK;
}
