/* numeric/bobyqa.h - minimisation inside bounds without derivatives: cover of NLopt's
 * BOBYQA (Powell 2009, report DAMTP NA06). Deterministic. One parameter: Brent. */
#ifndef QX_NUMERIC_BOBYQA_H
#define QX_NUMERIC_BOBYQA_H

#include "base/ctx.h"

typedef double qx_objective(void *data, size_t m, const double x[]);

/* x: start in, place of the minimum out (length m). `evaluations` may be NULL. An
 * objective may return INFINITY or not-a-number (taken as worse than all that was seen).
 * m = 1 ... 1000. QX_E_ARG: a bound or the start is wrong; QX_E_NUMERIC: nowhere finite, or
 * NLopt gave up; QX_E_NOMEM. */
QX_API qx_status qx_bobyqa(qx_ctx *cx,
                           size_t m,
                           qx_objective *f,
                           void *data,
                           const double low[],
                           const double high[],
                           double tolerance,
                           double x[],
                           double *value,
                           size_t *evaluations);

#endif
