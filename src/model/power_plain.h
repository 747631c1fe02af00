/* model/power_plain.h - power of plain layouts in closed form: two groups, one-way, complete
 * blocks with or without things sampled inside the units.
 *
 *   F test    power = P(F > c),  F non-central F(df1, df2, ncp),  c its 1 - alpha quantile
 *   t test    model/power.h; both tails are counted
 *
 * and what is asked the other way round: replicates for a power, or the least difference
 * that a number of replicates shows. Replicates need not be whole: 41.17 says that 42 a
 * group are needed and how near 41 would come. Any other layout: model/power_design.h.
 *
 * Source: Cohen 1988, Statistical Power Analysis for the Behavioral Sciences, ch. 2 and 8;
 * Johnson, Kotz & Balakrishnan 1995, Continuous Univariate Distributions 2, ch. 30-31. */
#ifndef QX_MODEL_POWER_PLAIN_H
#define QX_MODEL_POWER_PLAIN_H

#include "base/ctx.h"

/* Power of an F test at level alpha. num_df, den_df > 0 (den_df may be INFINITY), ncp >= 0,
 * 0 < alpha < 1; NAN outside. */
QX_API double qx_power_f(double num_df, double den_df, double ncp, double alpha);

typedef enum {
    QX_PLAIN_TWO_GROUPS, /* `groups` is not used: two groups of n */
    QX_PLAIN_PAIRED,     /* n pairs; sd is that of the differences */
    QX_PLAIN_ONE_WAY,    /* `groups` groups of n */
    QX_PLAIN_BLOCKS      /* n complete blocks of `groups` */
} qx_plain_kind;

/* A plain layout. sd: between units of one treatment (inside a block). With `sampled` things
 * measured in each unit, sd is the one between units and sd_sampled that between the things
 * of a unit; sampled = 0 stands for units that are measured themselves. */
typedef struct qx_plain_layout {
    qx_plain_kind kind;
    double groups; /* >= 2 */
    double sd, sd_sampled;
    double sampled;
} qx_plain_layout;

/* Standard error and degrees of freedom of the difference of two means with n replicates;
 * df is not above zero where n is too small. */
QX_API double qx_plain_se(const qx_plain_layout *layout, double n);
QX_API double qx_plain_df(const qx_plain_layout *layout, double n);

/* Power to show a difference of two means by the t test at level alpha. NAN outside. */
QX_API double
qx_plain_power_t(const qx_plain_layout *layout, double n, double delta, double alpha);

/* Power of the F test over all groups; `between` is the variance of the true means with
 * divisor groups - 1. */
QX_API double
qx_plain_power_f(const qx_plain_layout *layout, double n, double between, double alpha);

/* Replicates at which the t test shows `delta`, or the F test `between`, with `power`.
 * QX_E_ARG: alpha or power not inside (0, 1), power not above alpha, sd or difference not
 * above zero. QX_E_INPUT: more than 1e7 replicates. */
QX_API qx_status qx_plain_replicates_t(qx_ctx *cx,
                                       const qx_plain_layout *layout,
                                       double delta,
                                       double alpha,
                                       double power,
                                       double *n);
QX_API qx_status qx_plain_replicates_f(qx_ctx *cx,
                                       const qx_plain_layout *layout,
                                       double between,
                                       double alpha,
                                       double power,
                                       double *n);

/* Least difference of two means that the t test shows with `power`. Errors as above. */
QX_API qx_status qx_plain_detectable(qx_ctx *cx,
                                     const qx_plain_layout *layout,
                                     double n,
                                     double alpha,
                                     double power,
                                     double *delta);

/* Least true difference that a t test with this standard error and these df shows with
 * `power`, given the critical value of |t|. QX_E_ARG. */
QX_API qx_status qx_power_t_detectable(
    qx_ctx *cx, double se, double df, double critical, double power, double *delta);

#endif
