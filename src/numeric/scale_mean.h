/* numeric/scale_mean.h - expectation over an estimated standard deviation.
 *
 *     E f(S),   S = sqrt(chi^2(df) / df)
 *
 * which turns a probability for known standard deviation into the one for a studentised
 * statistic: P(Q > q) = E P(range > q S), P(max |T| > x) = E P(max |Z| > x S).
 *
 * With u = log s the density is proportional to exp(df (u - exp(2u) / 2)): analytic and
 * dying away at both ends, where the trapezoidal rule converges faster than any power of
 * its step (Trefethen & Weideman 2014, SIAM Review 56:385-458). All terms are positive and
 * summing goes on until they no longer count beside the sum itself, so that a tail of
 * 1e-30 keeps its digits as one of 0.3 does.
 *
 * Internal to numeric/. */
#ifndef QX_NUMERIC_SCALE_MEAN_H
#define QX_NUMERIC_SCALE_MEAN_H

#include <stddef.h>

typedef double qx_of_scale(void *data, double s);

/* f: not negative, rising or falling throughout in s. df >= 0.1; INFINITY: f at 1.
 * detail: length in log s over which f itself changes; bounds the step. */
double qx_scale_mean(qx_of_scale *f, void *data, double df, double detail);

/* Nodes and weights of one df and detail, kept for further f: the same numbers without
 * their exponentials. Zeroed at first; one thread at a time. */
#define QX_SCALE_NODES 160 /* on each side that are kept */
typedef struct qx_scale_rule {
    double df, detail, top;
    size_t count[2];
    double s[2][QX_SCALE_NODES], weight[2][QX_SCALE_NODES];
} qx_scale_rule;

/* qx_scale_mean from the rule, which is begun anew when df or detail are others. */
double qx_scale_mean_by(
    qx_scale_rule *rule, qx_of_scale *f, void *data, double df, double detail);

#endif
