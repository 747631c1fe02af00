/* numeric/dist.h - distributions: the only door to librmath.
 *
 * Arguments are checked before the call (the packaged library prints to standard output
 * and can call exit); out of range or not-a-number gives not-a-number. Degrees of freedom
 * may be INFINITY; above 1e10 they count as it. Shapes of the beta and n of the binomial
 * distribution are at most 1e10. Tails are explicit: QX_LOWER is P(X <= x), QX_UPPER is
 * P(X > x), each accurate in itself. */
#ifndef QX_NUMERIC_DIST_H
#define QX_NUMERIC_DIST_H

#include "base/attr.h"

typedef enum { QX_LOWER, QX_UPPER } qx_tail;

QX_API double qx_normal_p(double x, qx_tail tail);
QX_API double qx_normal_q(double p, qx_tail tail);
QX_API double qx_normal_density(double x);
QX_API double qx_t_p(double x, double df, qx_tail tail);
QX_API double qx_t_two_sided(double x, double df);
QX_API double qx_t_q(double p, double df, qx_tail tail);
QX_API double qx_f_p(double x, double df1, double df2, qx_tail tail);
QX_API double qx_f_q(double p, double df1, double df2, qx_tail tail);
QX_API double qx_chisq_p(double x, double df, qx_tail tail);
QX_API double qx_chisq_density(double x, double df);
QX_API double qx_chisq_q(double p, double df, qx_tail tail);
QX_API double qx_beta_p(double x, double a, double b, qx_tail tail);
QX_API double qx_beta_q(double p, double a, double b, qx_tail tail);
QX_API double qx_binomial_density(double k, double n, double p);
QX_API double qx_binomial_p(double k, double n, double p, qx_tail tail);
QX_API double qx_poisson_density(double k, double mean);
QX_API double qx_poisson_p(double k, double mean, qx_tail tail);
/* Non-central: both tails summed directly (noncentral.c). df of t at least 0.1, |ncp| of t
 * up to 1000; ncp of F and chi-square 0 ... 1e6; F may have df2 INFINITY. Outside: NAN.
 * Cost up to some thousand central probabilities. */
QX_API double qx_nc_t_p(double x, double df, double ncp, qx_tail tail);
QX_API double qx_nc_f_p(double x, double df1, double df2, double ncp, qx_tail tail);
QX_API double qx_nc_chisq_p(double x, double df, double ncp, qx_tail tail);

/* Studentised range of k means: P(Q > q) or <=, and its quantile, by our own quadrature
 * (range.c): relative error about 1e-12 in either tail. k >= 2 (it need not be whole),
 * df >= 1 (or INFINITY). Many questions on one k: range_table.h. */
QX_API double qx_range_p(double q, double k, double df, qx_tail tail);
QX_API double qx_range_q(double p, double k, double df, qx_tail tail);

QX_API double qx_lgamma(double x);
QX_API double qx_digamma(double x);
QX_API double qx_trigamma(double x);
QX_API double qx_lbeta(double a, double b);
QX_API double qx_lchoose(double n, double k);

#endif
