/* model/spread.h - do groups vary alike?
 *
 *   Brown-Forsythe  one-way analysis of variance of z = |x - median of its group|
 *                   (1974, J Am Stat Assoc 69:364-367); holds for skew data too
 *   Bartlett        [N ln s2 - sum v_i ln s2_i] / C over groups with v_i = n_i - 1 df,
 *                   C = 1 + (sum 1/v_i - 1/N) / (3 (g - 1)), chi-squared with g - 1 df
 *                   (1937, Proc R Soc A 160:268-282); powerful, but takes long tails for
 *                   unequal variances
 *
 * Groups without values are not there. Where the test is not defined (fewer than two
 * groups, no group with the replicates it needs, no variation at all) value and p are NAN
 * and the call succeeds: that is an outcome. */
#ifndef QX_MODEL_SPREAD_H
#define QX_MODEL_SPREAD_H

#include <stdint.h>

#include "base/ctx.h"
#include "model/check_value.h"

/* value is F with num_df, den_df. group: n entries below `groups`.
 * QX_E_ARG (a group number too large), QX_E_NOMEM. */
QX_API qx_status qx_brown_forsythe(qx_ctx *cx,
                                   size_t n,
                                   const double x[],
                                   size_t groups,
                                   const uint32_t group[],
                                   qx_check_value *out);

/* value is chi-squared with num_df. Every group must have two values or more and vary,
 * else value and p are NAN. Errors as above. */
QX_API qx_status qx_bartlett(qx_ctx *cx,
                             size_t n,
                             const double x[],
                             size_t groups,
                             const uint32_t group[],
                             qx_check_value *out);

#endif
