/* quincunx.h - libquincunx: layouts and linear mixed models for replicated trials.
 *
 *     cc program.c $(pkg-config --cflags --libs quincunx)
 *
 * What this header includes is the promise of the library; whatever else is in it may
 * change. Everything takes plain arrays, has no state of its own and gives a qx_status;
 * a qx_ctx (base/ctx.h) carries memory and the first failure, one per thread. Matrices are
 * column-major. Each header says shapes, units, errors, ownership and the paper behind it.
 * examples/c/ fits a model in a few lines. */
#ifndef QUINCUNX_H
#define QUINCUNX_H

#ifdef __cplusplus
extern "C" {
#endif

#include "base/arena.h"
#include "base/array.h"
#include "base/attr.h"
#include "base/ctx.h"
#include "base/date.h"
#include "base/decimal.h"
#include "base/map.h"
#include "base/status.h"
#include "base/text.h"
#include "base/workers.h"

#include "numeric/bobyqa.h"
#include "numeric/chol.h"
#include "numeric/dense.h"
#include "numeric/deriv.h"
#include "numeric/dist.h"
#include "numeric/eigen.h"
#include "numeric/mvt.h"
#include "numeric/qr.h"
#include "numeric/quad.h"
#include "numeric/rng.h"
#include "numeric/root.h"
#include "numeric/sums.h"
#include "numeric/variate.h"

#include "layout/assess.h"
#include "layout/criteria.h"
#include "layout/layout.h"
#include "layout/neighbour.h"
#include "layout/position.h"
#include "layout/search.h"
#include "layout/wishes.h"

#include "model/anova.h"
#include "model/arrays.h"
#include "model/class_draw.h"
#include "model/classes.h"
#include "model/classes_bootstrap.h"
#include "model/compare.h"
#include "model/covariance.h"
#include "model/design.h"
#include "model/equivalence.h"
#include "model/exact.h"
#include "model/family.h"
#include "model/frame.h"
#include "model/glmm.h"
#include "model/glmm_bootstrap.h"
#include "model/laplace.h"
#include "model/link.h"
#include "model/lmm.h"
#include "model/multinomial.h"
#include "model/ordinal.h"
#include "model/overdispersion.h"
#include "model/power.h"
#include "model/power_plain.h"
#include "model/refit.h"
#include "model/residual.h"
#include "model/separation.h"
#include "model/strata.h"
#include "model/trend.h"
#include "model/unit_residual.h"
#include "model/zero_inflation.h"

#ifdef __cplusplus
}
#endif

#endif
