/* model/overdispersion.h - do counts or shares vary more than their family allows?
 *
 * Three answers, from a binomial or Poisson fit (random terms of units may be in it):
 *   Pearson's chi-squared over its df; p from chi-squared (sound when means are not small)
 *   score test against the family with a spread (Dean 1992, J Am Stat Assoc 87:451-457):
 *       counts  T = sum w ((k - m)^2 - k + h m) / sqrt(2 sum w m^2)      against neg. binomial
 *       shares  T = sum w ([q(1-q)]^-1 ((k - nq)^2 + q (k - nq) - k (1 - q)))
 *                   / sqrt(2 sum w n (n - 1))                            against beta-binomial
 *     one-sided normal; h the leverage of the row in the fixed part
 *   likelihood ratio against the family with a spread, half-and-half mixture of chi-squared 0
 *   and 1 (Self & Liang 1987)
 *
 * The stated rule: the units' random terms come first; what varies beyond them is tested
 * here, by the likelihood ratio at 5 per cent, and if it is there the family with the spread
 * takes over (qx_overdispersion_choose). */
#ifndef QX_MODEL_OVERDISPERSION_H
#define QX_MODEL_OVERDISPERSION_H

#include "model/glmm.h"

typedef struct qx_overdispersion {
    double pearson_ratio, pearson_df, pearson_p;
    double deviance_ratio, deviance_p;
    double score, score_p; /* NAN where every size is 1: 0 and 1 cannot show it */
    double lrt, lrt_p;     /* NAN likewise, or where the wider fit failed */
    double dispersion; /* phi or theta of the wider fit; INFINITY: nothing to be seen */
    bool can_show;     /* false: sizes of 1, or fewer than two rows beyond p */
} qx_overdispersion;

/* `fit`: binomial or Poisson, extra NONE. `wider` (may be NULL) receives the fit with the
 * spread, to be freed (of a quick spec without covariances); NULL where none was made.
 * QX_E_ARG for other families, QX_E_NOMEM. */
QX_API qx_status qx_overdispersion_test(qx_ctx *cx,
                                        const qx_glmm_spec *spec,
                                        const qx_glmm *fit,
                                        qx_overdispersion *out,
                                        qx_glmm **wider);

/* Does the family with the spread take over at this level (0.05)? */
QX_API bool qx_overdispersion_choose(const qx_overdispersion *found, double alpha);

#endif
