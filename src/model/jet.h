/* model/jet.h - numbers that carry their first and second derivatives. Private to model/.
 *
 * A jet in s variables is an array of 1 + s + s (s + 1) / 2 numbers: the value, the s first
 * derivatives, and the second derivatives (k, l), k <= l, by l and then k. Products, the
 * reciprocal and the logarithm follow the rules of Leibniz and Faa di Bruno to that order,
 * so that a recursion over units gives its exact derivatives with its value.
 *
 * s = 0 is a plain number. Out may be one of the arguments. */
#ifndef QX_MODEL_JET_H
#define QX_MODEL_JET_H

#include <math.h>
#include <stddef.h>
#include <string.h>

#define QX_JET_VARIABLES 4
#define QX_JET_MOST      15 /* 1 + 4 + 10 */

static inline size_t qx_jet_size(size_t s)
{
    return 1 + s + s * (s + 1) / 2;
}

/* Where the derivative by k and l stands, k <= l. */
static inline size_t qx_jet_second(size_t s, size_t k, size_t l)
{
    return 1 + s + l * (l + 1) / 2 + k;
}

/* to += from */
static inline void qx_jet_add(size_t size, const double from[], double to[])
{
    for (size_t c = 0; c < size; c++) {
        to[c] += from[c];
    }
}

static inline void
qx_jet_multiply(size_t s, const double a[], const double b[], double out[])
{
    double t[QX_JET_MOST] = {0.0};
    size_t at = 1 + s;
    t[0] = a[0] * b[0];
    for (size_t l = 0; l < s; l++) {
        t[1 + l] = a[1 + l] * b[0] + a[0] * b[1 + l];
        for (size_t k = 0; k <= l; k++, at++) {
            t[at] =
                a[at] * b[0] + a[0] * b[at] + a[1 + k] * b[1 + l] + a[1 + l] * b[1 + k];
        }
    }
    memcpy(out, t, at * sizeof *t);
}

/* f(a) from f, f' and f'' at a's value. */
static inline void
qx_jet_apply(size_t s, const double a[], double f, double f1, double f2, double out[])
{
    double t[QX_JET_MOST] = {0.0};
    size_t at = 1 + s;
    t[0] = f;
    for (size_t l = 0; l < s; l++) {
        t[1 + l] = f1 * a[1 + l];
        for (size_t k = 0; k <= l; k++, at++) {
            t[at] = f1 * a[at] + f2 * a[1 + k] * a[1 + l];
        }
    }
    memcpy(out, t, at * sizeof *t);
}

/* x times a, x the variable number `which` (which >= s: a constant). */
static inline void
qx_jet_times_variable(size_t s, double x, size_t which, const double a[], double out[])
{
    double t[QX_JET_MOST] = {0.0};
    const size_t size = qx_jet_size(s);
    for (size_t c = 0; c < size; c++) {
        t[c] = x * a[c];
    }
    if (which < s) {
        t[1 + which] += a[0];
        for (size_t k = 0; k < s; k++) {
            const size_t at =
                k <= which ? qx_jet_second(s, k, which) : qx_jet_second(s, which, k);
            t[at] += k == which ? 2.0 * a[1 + k] : a[1 + k];
        }
    }
    memcpy(out, t, size * sizeof *t);
}

#endif
