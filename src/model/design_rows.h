/* model/design_rows.h - the different rows of X. Private to model/.
 *
 * Rows that agree in every factor and covariate of the fixed terms have equal rows of X.
 * Most trials have few different ones (treatments), whatever the number of observations:
 * with their counts they hold all of X'X, and least squares needs the mean of y in each. */
#ifndef QX_MODEL_DESIGN_ROWS_H
#define QX_MODEL_DESIGN_ROWS_H

#include "model/alike.h"
#include "model/design.h"

/* The sets of rows that agree in all factors and numbers of the terms. Cost O(n) for each. */
qx_status qx_design_alike(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_frame *frame,
                          size_t term_count,
                          const qx_term term[],
                          qx_alike *out);

#endif
