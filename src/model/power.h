/* model/power.h - power of one comparison whose standard error and degrees of freedom are
 * known: what t tests and two one-sided tests can show.
 *
 * t test, two-sided:  P(|T| > c), T non-central t(df, delta/se); both tails are counted.
 * Two one-sided tests (Schuirmann 1987, J Pharmacokinet Biopharm 15:657-680) succeed when
 * |D| < margin - t(1-alpha, df) S with D ~ N(delta, se^2), S^2 ~ se^2 chi^2(df)/df, so that
 *
 *     power = E[ (Phi((h - delta)/se) - Phi((-h - delta)/se))^+ ],  h = margin - t S
 *
 * over the chi distribution of S (Phillips 1990, ibid. 18:137-144), by Gauss-Legendre. */
#ifndef QX_MODEL_POWER_H
#define QX_MODEL_POWER_H

#include "base/ctx.h"

/* se > 0, df > 0, critical >= 0; NAN outside. Non-centralities beyond librmath's reach
 * (37.62) are taken for the whole numerator, which is near enough there. */
QX_API double qx_power_t(double delta, double se, double df, double critical);

/* se > 0, df > 0 (finite), margin > 0, 0 < alpha < 0.5. QX_E_ARG outside. */
QX_API qx_status qx_power_equivalence(qx_ctx *cx,
                                      double delta,
                                      double margin,
                                      double se,
                                      double df,
                                      double alpha,
                                      double *power);

#endif
