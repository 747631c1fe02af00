/* layout/criteria.h - how well a layout can tell its treatments apart.
 *
 * n plots, v treatments, r_i plots of treatment i; any number of blockings (blocks, rows,
 * columns), each a number for every plot. With X the n x v indicator of treatments and P
 * the projection onto all blockings and the mean, the information on treatments is
 *
 *     C = X' (I - P) X                                       [per residual variance]
 *
 * Its rank is v - 1 when every difference can be told inside the blocks (connected). The
 * canonical efficiency factors e_1 ... e_{v-1} are the eigenvalues of R^-1/2 C R^-1/2 other
 * than the zero of the mean, R = diag(r). Then
 *
 *     A-efficiency   (v-1) / sum 1/e        harmonic mean
 *     D-efficiency   (prod e)^{1/(v-1)}     geometric mean
 *     E-efficiency   min e
 *     variance of the difference of i and j (residual variance 1)
 *                    G_ii + G_jj - 2 G_ij,  G a generalised inverse of C
 *
 * With equal replication the mean of all v(v-1)/2 variances is 2 / (r A-efficiency).
 *
 * Upper bounds of A (all hold for every layout of the same sizes; the least is given):
 *   trace      binary blocks have the least sum n_ib^2/(r_i k_b): the arithmetic mean of e
 *              is a bound of the harmonic one; v(k-1)/((v-1)k) with equal r and k;
 *   spread     concurrences are whole numbers, so that sum (e - mean)^2 cannot vanish when
 *              r(k-1)/(v-1) is not whole: with m = v-1 factors of mean c and sum of squares
 *              S about it, harmonic mean <= m / (1/(c+(m-1)d) + (m-1)/(c-d)),
 *              d = sqrt(S/(m(m-1))): one large and m-1 equal factors are best (Cheng 1978);
 *   rank       N has rank b at most (b - s + 1 when the blocks fall into s sets that hold
 *              every treatment once): the other factors are 1, the rest have the mean that
 *              the trace leaves (Patterson & Williams 1976 for these);
 *   two ways   rows and columns: no better than the rows alone or the columns alone, and
 *              the traces of both are taken out.
 *
 * Not here: the search (search.h), neighbours (neighbour.h).
 * Source: James & Wilkinson 1971, Biometrika 58:279-294 (canonical factors); John &
 *         Williams 1995, Cyclic and Computer Generated Designs, Chapman & Hall, ch. 2 (from
 *         memory); Cheng 1978, Ann Statist 6:1239-1261; Patterson & Williams 1976,
 *         Biometrika 63:83-92. The bounds are derived in criteria_bound.c. */
#ifndef QX_LAYOUT_CRITERIA_H
#define QX_LAYOUT_CRITERIA_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/ctx.h"

#define QX_BLOCKINGS_MOST 8

/* One way in which the plots fall into blocks. */
typedef struct qx_blocking {
    size_t count;          /* blocks */
    const uint32_t *block; /* of each plot, 0 ... count-1 */
} qx_blocking;

typedef struct qx_criteria {
    size_t parts;        /* sets of treatments that can be compared among themselves; 1:
                              connected */
    double a_efficiency; /* 0 ... 1; NAN when not connected or with one treatment */
    double a_bound;      /* no layout of these sizes is better; NAN for v = 1 */
    double d_efficiency; /* NAN when not connected */
    double e_efficiency; /* NAN when not connected */
    double
        mean_variance; /* of differences, residual variance 1; NAN when not connected */
    double least_variance; /* of all pairs */
    double most_variance;
} qx_criteria;

/* Criteria of any layout.
 *   plots, treatment  n numbers 0 ... treatments-1; every treatment has a plot at least
 *   blocking_count    0 (completely randomised) ... QX_BLOCKINGS_MOST
 *   out               the criteria
 * Errors: ARG (numbers out of range, a treatment without a plot), NOMEM, NUMERIC.
 * Cost: O((b + v)^2 b + v^3), b all blocks together. */
QX_API qx_status qx_criteria_of(qx_ctx *cx,
                                size_t plots,
                                size_t treatments,
                                const uint32_t treatment[],
                                size_t blocking_count,
                                const qx_blocking blocking[],
                                qx_criteria *out);

/* Variances of all differences (residual variance 1): variance[i + j * treatments], 0 on
 * the diagonal, NAN for pairs that cannot be compared. Errors and cost as above. */
QX_API qx_status qx_criteria_pairs(qx_ctx *cx,
                                   size_t plots,
                                   size_t treatments,
                                   const uint32_t treatment[],
                                   size_t blocking_count,
                                   const qx_blocking blocking[],
                                   double variance[]);

/* The bound alone; blockings as above, `replicates` of each treatment (their sum: plots). */
QX_API qx_status qx_criteria_bound(qx_ctx *cx,
                                   size_t plots,
                                   size_t treatments,
                                   const size_t replicates[],
                                   size_t blocking_count,
                                   const qx_blocking blocking[],
                                   double *out);

#endif
