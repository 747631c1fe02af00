/* model/ranks.h - tests that look at the order of values only. Ties have the mean of their
 * ranks, and both statistics are corrected for them.
 *
 *   Kruskal-Wallis  H = [12 / (N (N+1)) sum R_i^2 / n_i - 3 (N+1)] / (1 - T / (N^3 - N)),
 *                   T = sum over sets of t tied values of t^3 - t; chi-squared, g - 1 df
 *                   (1952, J Am Stat Assoc 47:583-621)
 *   Friedman        ranks inside each of b blocks, k treatments with rank sums R_j:
 *                   12 sum (R_j - b (k+1)/2)^2 / (b k (k+1) - T / (k - 1)); chi-squared,
 *                   k - 1 df (1937, J Am Stat Assoc 32:675-701)
 *
 * p is the large-sample one. All values equal: value and p are NAN and the call succeeds. */
#ifndef QX_MODEL_RANKS_H
#define QX_MODEL_RANKS_H

#include <stdint.h>

#include "base/ctx.h"
#include "model/check_value.h"

/* value is H with num_df; groups without values are not there; NAN with fewer than two.
 * QX_E_ARG (a group number not below `groups`), QX_E_NOMEM. */
QX_API qx_status qx_kruskal_wallis(qx_ctx *cx,
                                   size_t n,
                                   const double x[],
                                   size_t groups,
                                   const uint32_t group[],
                                   qx_check_value *out);

/* One value a cell of blocks x treatments (two or more of each), else QX_E_ARG. */
QX_API qx_status qx_friedman(qx_ctx *cx,
                             size_t n,
                             const double x[],
                             size_t treatments,
                             const uint32_t treatment[],
                             size_t blocks,
                             const uint32_t block[],
                             qx_check_value *out);

#endif
