/* numeric/sums.c - compensated sums and exact shifts. */
#include "numeric/sums.h"

#include <math.h>
#include <stdbool.h>

/* A running sum with what rounding has taken from it (Neumaier 1974). */
typedef struct sum {
    double total;
    double lost;
} sum;

static void add(sum *s, double x)
{
    const double total = s->total + x;
    if (fabs(s->total) >= fabs(x)) {
        s->lost += (s->total - total) + x;
    } else {
        s->lost += (x - total) + s->total;
    }
    s->total = total;
}

/* An infinite total stays: its `lost` is not a number. */
static double result(sum s)
{
    return isfinite(s.total) ? s.total + s.lost : s.total;
}

double qx_sum(size_t n, const double x[])
{
    sum s = {0.0, 0.0};
    for (size_t i = 0; i < n; i++) {
        add(&s, x[i]);
    }
    return result(s);
}

double qx_mean(size_t n, const double x[])
{
    return n == 0 ? (double)NAN : qx_sum(n, x) / (double)n;
}

double qx_sum_of_squares(size_t n, const double x[])
{
    const double mean = qx_mean(n, x);
    sum squares = {0.0, 0.0};
    sum rest = {0.0, 0.0};
    for (size_t i = 0; i < n; i++) {
        const double d = x[i] - mean;
        add(&squares, d * d);
        add(&rest, d);
    }
    if (n == 0) {
        return 0.0;
    }
    /* The mean was rounded: what is left over it (Chan, Golub & LeVeque 1983, Am Stat
     * 37:242-247). */
    const double left = result(rest);
    add(&squares, -left * left / (double)n);
    return result(squares);
}

static bool all_exact(size_t n, const qx_decimal exact[])
{
    for (size_t i = 0; i < n; i++) {
        if (exact[i].scale == QX_DECIMAL_INEXACT) {
            return false;
        }
    }
    return true;
}

void qx_shift_exactly(
    size_t n, const qx_decimal exact[], const double value[], double out[], double *shift)
{
    QX_ASSERT(n >= 1);
    const bool exactly = all_exact(n, exact);
    const double first = exactly ? qx_decimal_value(exact[0]) : value[0];
    for (size_t i = 0; i < n; i++) {
        out[i] = exactly ? qx_decimal_minus(exact[i], exact[0]) : value[i] - first;
    }
    *shift = first;
}
