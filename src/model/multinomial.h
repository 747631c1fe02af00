/* model/multinomial.h - classes without order, by log odds of each against the first.
 *
 *     log P(Y = j) / P(Y = 1) = x'beta_j + u_j,    j = 2 ... K
 *
 * u_j ~ N(0, variance_j): in each random term every unit has an independent effect for each
 * class against the first, each class with a variance of its own. With two classes this is
 * the logistic model. What is asked of the result: model/classes.h.
 *
 * Source: Agresti 2013, Categorical Data Analysis, 3rd ed., sec. 8.1 and 14.1; Hedeker 2003,
 *         Stat Med 22:1433-1446 (random effects). */
#ifndef QX_MODEL_MULTINOMIAL_H
#define QX_MODEL_MULTINOMIAL_H

#include "model/classes.h"

/* Fits; *out is freed by qx_classes_free. A class that was never seen is left out with a
 * note; if it is the first, the first one seen takes its place. Errors: as qx_ordinal_fit.
 * Quadrature needs two classes and one random term. */
QX_API qx_status qx_multinomial_fit(qx_ctx *cx,
                                    const qx_classes_spec *spec,
                                    qx_classes **out);

#endif
