/* model/class_cumulants.h - expected products of derivatives of one thing's log-likelihood by
 * its d linear predictors, at given probabilities of the classes. Private to model/.
 *
 * With l the log-likelihood and E the mean over the classes,
 *
 *   information  J_ab    = -E l_ab
 *   third        T_abc   = E l_abc
 *   turn         U_ab|c  = d E l_ab / d eta_c     = E (l_abc + l_ab l_c)
 *   fourth       F_abcd  = E l_abcd / 4 - d E l_abc / d eta_d + d2 E l_ac / d eta_b d eta_d
 *
 * which is all that Lawley's expansion (classes_bartlett.c) asks of a thing. Arrays have the
 * first index fastest. */
#ifndef QX_MODEL_CLASS_CUMULANTS_H
#define QX_MODEL_CLASS_CUMULANTS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/ctx.h"

typedef struct qx_class_cumulants {
    size_t d;
    double *information; /* d^2 */
    double *third;       /* d^3 */
    double *turn;        /* d^3: U_ab|c at [a + d b + d^2 c] */
    double *fourth;      /* d^4 */
} qx_class_cumulants;

/* Room for d predictors, in scratch. QX_E_NOMEM. */
qx_status qx_class_cumulants_room(qx_ctx *cx, size_t d, qx_class_cumulants *out);

/* Fills `out`. parallel: logit P(Y <= j) = eta_j, else log P(j) / P(first) = eta_j. */
qx_status qx_class_cumulants_at(qx_ctx *cx,
                                bool parallel,
                                const double eta[],
                                const double probability[],
                                qx_class_cumulants *out);

#endif
