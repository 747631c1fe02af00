/* findings/slopes_of.h - where means and differences hold when there is a covariate, how fast
 * the variate changes with it, and, where levels have slopes of their own, how their
 * differences change.
 *
 * Means are adjusted to the covariate's mean c over the rows. With slopes b1 and b2 a
 * difference at the value x is
 *
 *     d(x) = d(c) + (b1 - b2) (x - c)
 *
 * It is told at c, and also at the lowest and the highest decile of the rows: values that
 * the data hold. Each of these three families of differences is adjusted by itself, as the
 * protocol's `compare` says.
 *
 * Source: Milliken & Johnson 2002, Analysis of Messy Data III, ch. 3 (comparing lines at
 * several values of the covariate); deciles: common practice, no source. */
#ifndef QX_FINDINGS_SLOPES_OF_H
#define QX_FINDINGS_SLOPES_OF_H

#include "findings/work.h"

/* Fills result->covariate: those that are in the model. After qx_means_of. */
qx_status qx_slopes_of(qx_work *w);

#endif
