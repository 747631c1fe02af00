/* model/known.h - a model whose variances are known: what its tests and estimates will be
 * like before there are data.
 *
 * The covariance of beta and the degrees of freedom follow from the design and the
 * variances alone. With a true effect L beta = d the F test has non-centrality
 *
 *     ncp = d' (L phi L')^-1 d
 *
 * which is what the analysis of the expected data would give for the Wald statistic
 * (Stroup 2002, J Agric Biol Environ Stat 7:491-511; exact for balanced layouts, where F is
 * exact). Power follows by model/power_plain.h and model/power.h. */
#ifndef QX_MODEL_KNOWN_H
#define QX_MODEL_KNOWN_H

#include "model/refit.h"

/* A fit with beta 0 and these variances (plan's random terms, the residual last; residual
 * > 0, the others >= 0). Standard errors are the true ones. It borrows the design from the
 * plan; free with qx_lmm_free. QX_E_ARG: a variance that cannot be, or a plan with a
 * covariance of its own (model/covariance.h). */
QX_API qx_status qx_lmm_known(qx_ctx *cx,
                              const qx_lmm_plan *plan,
                              const double variance[],
                              qx_lmm **out);

/* ncp of the hypothesis L (r x p) when L beta = effect (r), and the test's df. */
QX_API qx_status qx_lmm_noncentrality(qx_ctx *cx,
                                      const qx_lmm *known,
                                      qx_mat L,
                                      const double effect[],
                                      double *ncp,
                                      double *den_df);

#endif
