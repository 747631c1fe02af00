/* model/ordinal.h - grades: classes in an order, by cumulative logits.
 *
 *     P(Y <= j) = logistic(threshold_j - x'beta - u),    j = 1 ... K - 1
 *
 * A positive effect moves towards the last class. Row likelihoods are log-concave in
 * thresholds, beta and u (Pratt 1981, J Am Stat Assoc 76:103-106), so with the random
 * effects given there is one maximum. With Q the logistic function, a = eta_k above and
 * b = eta_(k-1) below class k,
 *
 *     log P(k) = log Q(a) + log Q(-b) + log(1 - exp(b - a))
 *
 * which loses no digits in the tails. What is asked of the result: model/classes.h. The
 * assumption that one beta serves every threshold is held against free ones by a score
 * test.
 *
 * Source: McCullagh 1980, J R Stat Soc B 42:109-142; Peterson & Harrell 1990, Appl Stat
 *         39:205-217 (test of proportional odds). */
#ifndef QX_MODEL_ORDINAL_H
#define QX_MODEL_ORDINAL_H

#include "model/classes.h"

/* Fits; *out is freed by qx_classes_free. A class that was never seen is left out with a
 * note (its probability is 0, the thresholds beside it are one). QX_E_SHAPE; QX_E_INPUT (a
 * code, count or number of times that cannot be; one class only; units that hang together
 * too widely); QX_E_ARG (quadrature); QX_E_NOMEM. A missed optimum is in the result. */
QX_API qx_status qx_ordinal_fit(qx_ctx *cx,
                                const qx_classes_spec *spec,
                                qx_classes **out);

/* Score test of proportional odds: (K - 2) times the slopes degrees of freedom, at the fit;
 * with random terms on their integrated likelihood. df 0 and p NAN when there is nothing to
 * free (two classes, no slopes); p NAN when the free model is not identified by the data or
 * the fit is penalised. QX_E_ARG (not grades). */
QX_API qx_status qx_ordinal_proportional_odds(qx_ctx *cx,
                                              const qx_classes *fit,
                                              qx_classes_test *out);

#endif
