#include "model/normality.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "numeric/dist.h"

/* Where the small-sample transformation gives way to the one in log n. */
#define SMALL_SAMPLE 11

static int ascending(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* c[0] + c[1] x + ... */
static double polynomial(size_t count, const double c[], double x)
{
    double sum = 0.0;
    for (size_t i = count; i-- > 0;) {
        sum = sum * x + c[i];
    }
    return sum;
}

/* Coefficients of the upper half of the ordered values, largest first (the lower half has
 * the same with a minus): Royston 1995, polynomials in n^-1/2 for the outermost one or two
 * and expected normal scores, scaled to unit length, for the rest. */
static void make_weights(size_t n, double a[])
{
    static const double c1[] = {0.0, 0.221157, -0.147981, -2.07119, 4.434685, -2.706056};
    static const double c2[] = {0.0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633};
    const size_t half = n / 2;
    const size_t outer = n > 5 ? 2 : 1;
    double squares = 0.0, outer_scores = 0.0, outer_weights = 0.0;
    if (n == 3) {
        a[0] = sqrt(0.5);
        return;
    }
    for (size_t i = 0; i < half; i++) {
        a[i] = qx_normal_q(((double)i + 1.0 - 0.375) / ((double)n + 0.25), QX_UPPER);
        squares += 2.0 * a[i] * a[i];
    }
    for (size_t i = 0; i < outer; i++) {
        const double score = a[i];
        a[i] = score / sqrt(squares) +
               polynomial(6, i == 0 ? c1 : c2, 1.0 / sqrt((double)n));
        outer_scores += 2.0 * score * score;
        outer_weights += 2.0 * a[i] * a[i];
    }
    const double scale = sqrt((squares - outer_scores) / (1.0 - outer_weights));
    for (size_t i = outer; i < half; i++) {
        a[i] /= scale;
    }
}

static double weight_of(size_t n, const double a[], size_t i)
{
    const size_t mirrored = n - 1 - i;
    if (i == mirrored) {
        return 0.0;
    }
    return i < mirrored ? -a[i] : a[mirrored];
}

/* 1 - W, without the cancellation that W near 1 would bring. `x` ascending. */
static double one_minus_w(size_t n, const double x[], const double a[])
{
    const double range = x[n - 1] - x[0];
    double mean = 0.0, aa = 0.0, xx = 0.0, ax = 0.0;
    for (size_t i = 0; i < n; i++) {
        mean += (x[i] - x[0]) / range / (double)n;
    }
    for (size_t i = 0; i < n; i++) {
        const double w = weight_of(n, a, i);
        const double d = (x[i] - x[0]) / range - mean;
        aa += w * w;
        xx += d * d;
        ax += w * d;
    }
    const double length = sqrt(aa * xx);
    return (length - ax) * (length + ax) / (aa * xx);
}

/* Exact: W of three values lies between 3/4 and 1. */
static double p_of_three(double w)
{
    const double pi = acos(-1.0);
    return fmax(0.0, 6.0 / pi * (asin(sqrt(w)) - asin(sqrt(0.75))));
}

static double p_of(size_t n, double w1)
{
    static const double g[] = {-2.273, 0.459};
    static const double c3[] = {0.544, -0.39978, 0.025054, -6.714e-4};
    static const double c4[] = {1.3822, -0.77857, 0.062767, -0.0020322};
    static const double c5[] = {-1.5861, -0.31082, -0.083751, 0.0038915};
    static const double c6[] = {-0.4803, -0.082676, 0.0030302};
    const double size = (double)n, log_n = log((double)n), y = log(w1);
    if (n > SMALL_SAMPLE) {
        const double mean = polynomial(4, c5, log_n), sd = exp(polynomial(3, c6, log_n));
        return qx_normal_p((y - mean) / sd, QX_UPPER);
    }
    const double bound = polynomial(2, g, size);
    if (y >= bound) {
        return 0.0; /* beyond what the transformation can reach: less than any p shown */
    }
    const double mean = polynomial(4, c3, size), sd = exp(polynomial(4, c4, size));
    return qx_normal_p((-log(bound - y) - mean) / sd, QX_UPPER);
}

static qx_status shapiro_wilk(qx_ctx *cx, size_t n, const double x[], qx_check_value *out)
{
    double *sorted, *a;
    QX_NEW(cx, sorted, n);
    QX_NEW(cx, a, n / 2);
    memcpy(sorted, x, n * sizeof x[0]);
    qsort(sorted, n, sizeof x[0], ascending);
    if (!(sorted[n - 1] - sorted[0] > 0.0)) {
        return qx_fail(cx, QX_E_ARG, "all %zu values are equal", n);
    }
    make_weights(n, a);
    const double w1 = one_minus_w(n, sorted, a);
    const double p = n == 3 ? p_of_three(1.0 - w1) : p_of(n, w1);
    *out = (qx_check_value){.value = 1.0 - w1, .p = p, .num_df = NAN, .den_df = NAN};
    return QX_OK;
}

qx_status qx_shapiro_wilk(qx_ctx *cx, size_t n, const double x[], qx_check_value *out)
{
    qx_status status;
    if (n < QX_SHAPIRO_WILK_LEAST || n > QX_SHAPIRO_WILK_MOST) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "Shapiro and Wilk's test takes %d to %d values, not %zu",
                       QX_SHAPIRO_WILK_LEAST,
                       QX_SHAPIRO_WILK_MOST,
                       n);
    }
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(x[i])) {
            return qx_fail(cx, QX_E_ARG, "value %zu is not a finite number", i + 1);
        }
    }
    QX_SCRATCH(cx, status, shapiro_wilk(cx, n, x, out));
    return status;
}
