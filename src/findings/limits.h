/* findings/limits.h - limits of means and of their differences in the unit that was
 * measured: shares and per cent, counts for each limb.
 *
 * A mean m with standard error s has limits from the transform g on which it is nearly
 * normal (logit, log ...): g^-1( g(m) -+ c g'(m) s ). They stay inside the scale.
 *
 * A difference d = m1 - m2 recovers its limits from those of both means at the same
 * multiple c (l1, u1, l2, u2), with r the correlation of the two estimates:
 *
 *   lower = d - sqrt( (m1-l1)^2 - 2 r (m1-l1)(u2-m2) + (u2-m2)^2 )
 *   upper = d + sqrt( (u1-m1)^2 - 2 r (u1-m1)(m2-l2) + (m2-l2)^2 )
 *
 * and so is lopsided where it must be: 0 of 50 against 20 of 50 cannot be less than 0. Two
 * one-sided tests turn the same limits round: p against -margin is the tail at the multiple
 * whose limit is -margin, so that p below alpha and the 1 - 2 alpha interval inside the
 * margin are one and the same.
 *
 * Source: Zou & Donner 2008, Stat Med 27:1693-1702; with Wilson's limits for two shares it
 * is Newcombe 1998, Stat Med 17:873-890. One-sided tests: model/equivalence.h. */
#ifndef QX_FINDINGS_LIMITS_H
#define QX_FINDINGS_LIMITS_H

#include "findings/estimator.h"
#include "model/equivalence.h"

/* A mean on the response scale. */
typedef struct qx_response {
    double value, se;
} qx_response;

/* Limit at `multiple` standard errors above (or, if negative, below) the mean. NAN where
 * the standard error is. */
double qx_limit_mean(const qx_estimator *e, qx_response m, double multiple);

/* Limit of first - second at `multiple` (negative: the lower one). */
double qx_limit_difference(const qx_estimator *e,
                           qx_response first,
                           qx_response second,
                           double correlation,
                           double multiple);

/* Limits of first / second at `multiple` standard errors: those values R for which first - R
 * second has a limit of 0, so that the ratio's interval holds 1 exactly when the difference's
 * holds 0. false: one of the means is not above 0, or has no limits. An upper limit may be
 * INFINITY. Source: Donner & Zou 2012, Stat Methods Med Res 21:347-359, with r as above. */
bool qx_limit_ratio(const qx_estimator *e,
                    qx_response first,
                    qx_response second,
                    double correlation,
                    double multiple,
                    double limit[2]);

/* Two one-sided tests and the 1 - 2 alpha interval. df may be INFINITY; margin NAN: the
 * interval alone. */
qx_equivalence qx_limit_equivalence(const qx_estimator *e,
                                    const qx_response mean[2],
                                    double correlation,
                                    double df,
                                    double margin,
                                    double alpha);

#endif
