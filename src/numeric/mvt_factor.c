/* numeric/mvt_factor.c - one common factor: given Z0 = z and S = s the comparisons are
 * independent, and
 *
 *   P(max |T_j| > x) = E_s integral phi(z) [1 - prod_j (1 - r_j(z))] dz ,
 *   r_j = P(|b_j z + c_j e| > w),   w = x s,   c_j = sqrt(1 - b_j^2),   e ~ N(0, 1).
 *
 * The bracket is formed with log1p and expm1: small tails keep their digits. It is even in
 * z. Where every c_j / b_j is wide the trapezoidal rule converges faster than any power of
 * its step; narrow ones get panels of Gauss-Legendre nodes around their edge z = w / b_j. */
#include <float.h>
#include <math.h>
#include <stdbool.h>

#include "numeric/dist.h"
#include "numeric/mvt_inner.h"
#include "numeric/scale_mean.h"

/* Beyond, phi(z) is 1e-33 of its top; products of it with what the tails are worth at
 * larger z still count for very small probabilities, so the sum follows w up to there. */
#define REACH 12.0

/* Step of the trapezoidal rule beside c_j / b_j, and the narrowest left to it. */
#define STEP   0.28
#define NARROW 0.1

/* Step over the scale, see range.c. */
#define OUTER_STEP 0.11

/* Where every c_j / b_j is wider than this the common factor adds less than rounding: the
 * comparisons are independent for known s. */
#define INDEPENDENT 1e8

/* Half-width of an edge, in units of its own scale: the normal tail is 1e-19 there. */
#define EDGE 9.0

#define NODES 16

typedef struct factor {
    size_t m;
    const double *b;
    double x;
    double narrowest; /* smallest c_j / b_j */
} factor;

static double sharpness(double b)
{
    return b == 0.0 ? (double)INFINITY : sqrt((1.0 - b) * (1.0 + b)) / fabs(b);
}

/* log P(|b z + c e| <= w). Without a rest (c = 0) it is decided by z alone. */
static double log_inside(double b, double z, double w)
{
    const double c = sqrt((1.0 - b) * (1.0 + b));
    if (c == 0.0) {
        return fabs(b * z) > w ? -(double)INFINITY : 0.0;
    }
    const double outside =
        qx_normal_p((w - b * z) / c, QX_UPPER) + qx_normal_p((w + b * z) / c, QX_UPPER);
    return outside < 1.0 ? log1p(-outside) : -(double)INFINITY;
}

static double integrand(const factor *f, double z, double w)
{
    double all = 0.0;
    double one = 0.0;
    for (size_t j = 0; j < f->m; j++) {
        one = j > 0 && f->b[j] == f->b[j - 1] ? one : log_inside(f->b[j], z, w);
        all += one;
    }
    return -2.0 * qx_normal_density(z) * expm1(all);
}

static double trapezoid(const factor *f, double w)
{
    const double step = STEP * fmin(1.0, f->narrowest);
    const double end = REACH + w;
    double sum = 0.5 * integrand(f, 0.0, w);
    for (size_t i = 1; (double)i * step < end; i++) {
        const double z = (double)i * step;
        sum += integrand(f, z, w);
        if (2.0 * qx_normal_density(z) < DBL_EPSILON * 0.01 * sum) {
            break; /* the bracket is at most 1 */
        }
    }
    return sum * step;
}

/* Nodes and weights of the 16-point rule, upper half (Abramowitz & Stegun 1964, table
 * 25.4). A wrong digit would show in the test at correlation 0.99999, which has 13. */
static const double node[NODES / 2] = {0.0950125098376374402,
                                       0.2816035507792589132,
                                       0.4580167776572273863,
                                       0.6178762444026437484,
                                       0.7554044083550030339,
                                       0.8656312023878317439,
                                       0.9445750230732325761,
                                       0.9894009349916499326};
static const double weight[NODES / 2] = {0.1894506104550684963,
                                         0.1826034150449235888,
                                         0.1691565193950025382,
                                         0.1495959888165767321,
                                         0.1246289712555338720,
                                         0.0951585116824927848,
                                         0.0622535239386478929,
                                         0.0271524594117540949};

static double panel(const factor *f, double from, double to, double w)
{
    const double middle = 0.5 * (from + to);
    const double half = 0.5 * (to - from);
    double sum = 0.0;
    for (size_t i = 0; i < NODES / 2; i++) {
        sum += weight[i] * (integrand(f, middle - half * node[i], w) +
                            integrand(f, middle + half * node[i], w));
    }
    return sum * half;
}

/* Width of the panel that starts at z: no edge may lie hidden within it. */
static double width_at(const factor *f, double z, double w)
{
    double width = 0.75;
    for (size_t j = 0; j < f->m; j++) {
        const double narrow = sharpness(f->b[j]);
        if (narrow >= 0.75) {
            continue;
        }
        const double edge = w / fabs(f->b[j]);
        const double reach = EDGE * narrow;
        if (z < edge - reach) {
            width = fmin(width, edge - reach - z);
        } else if (z < edge) {
            width = fmin(width, fmin(1.5 * narrow, edge - z));
        } else if (z < edge + reach) {
            width = fmin(width, 1.5 * narrow);
        }
    }
    return width;
}

static double panels(const factor *f, double w)
{
    const double end = REACH + w;
    double sum = 0.0;
    double z = 0.0;
    while (z < end) {
        /* At least so wide that the walk gets on; an edge this narrow is a step. */
        const double to = z + fmax(width_at(f, z, w), 4.0 * DBL_EPSILON * end);
        sum += panel(f, z, to, w);
        z = to;
        if (2.0 * qx_normal_p(z, QX_UPPER) < DBL_EPSILON * 0.01 * sum) {
            break;
        }
    }
    return sum;
}

static double of_scale(void *data, double s)
{
    const factor *f = data;
    const double w = f->x * s;
    if (f->narrowest > INDEPENDENT) {
        return -expm1((double)f->m * log_inside(0.0, 0.0, w));
    }
    return fmin(1.0, f->narrowest >= NARROW ? trapezoid(f, w) : panels(f, w));
}

double qx_mvt_factor_tail(size_t m, const double b[], double df, double x)
{
    factor f = {.m = m, .b = b, .x = x, .narrowest = (double)INFINITY};
    for (size_t j = 0; j < m; j++) {
        f.narrowest = fmin(f.narrowest, sharpness(b[j]));
    }
    return fmin(1.0, qx_scale_mean(of_scale, &f, df, OUTER_STEP));
}
