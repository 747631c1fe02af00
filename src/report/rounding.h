/* report/rounding.h - numbers as people read them.
 *
 * The rule of horticultural journals: a standard error carries two significant digits, and
 * whatever it belongs to (mean, difference, limits) stops at the same decimal place. The
 * minus is U+2212, which screen readers speak; not-a-number is a dash, never a nought. */
#ifndef QX_REPORT_ROUNDING_H
#define QX_REPORT_ROUNDING_H

#include "base/arena.h"

/* Decimal places that leave two significant digits of `se`, 0 to 12, and below 0 (tens,
 * hundreds ...) where it is 1000 or more; 3 when the standard error is not known or is 0. */
int qx_decimals_for(double se);

/* All of these give text in `arena`, or NULL when there is no memory. */
const char *qx_rounded(qx_arena *arena, double x, int decimals);
const char *qx_plain_number(qx_arena *arena, double x); /* as short as it reads back */
const char *qx_short_number(qx_arena *arena, double x, int digits); /* significant */
/* "2.1 to 8.3"; "at least 2.1" or "at most 8.3" when one end is not known, a dash when none is */
const char *qx_range(qx_arena *arena, double low, double high, int decimals);
const char *qx_short_range(qx_arena *arena, double low, double high, int digits);
const char *qx_p_value(qx_arena *arena, double p);   /* "0.012", "< 0.001" */
const char *qx_df_value(qx_arena *arena, double df); /* "10", "8.4", infinity sign */
const char *qx_per_cent(qx_arena *arena,
                        double share); /* 0.95 -> "95 %", no break inside */

#endif
