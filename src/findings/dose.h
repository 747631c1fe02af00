/* findings/dose.h - dose and response: how a variate goes with the levels of a treatment that
 * are amounts.
 *
 * Over the equal-weighted means of k >= 3 levels x_1 ... x_k with orthogonal polynomial
 * coefficients c_1, c_2 ... (model/trend.h, unequal steps too):
 *
 *     part d        F test of c_d'mean = 0, on 1 df
 *     lack of fit   of the curve of degree d: joint F test of every contrast that is
 *                   orthogonal to 1, c_1 ... c_d, on k - 1 - d df
 *     slope         c_1'mean / c_1'x, the rise of the best straight line for one unit
 *
 * All are tests of the mixed model, so each stands against the unit that carries the
 * treatment. The degree that is told is the lowest whose lack of fit is not shown. With
 * equal numbers the parts split the treatment's sum of squares.
 * Source: Fisher 1935, The Design of Experiments; Cochran & Cox 1957, Experimental Designs,
 * sec. 3.4 (partition of treatment comparisons); Narula 1979, Int Stat Rev 47:31-36. */
#ifndef QX_FINDINGS_DOSE_H
#define QX_FINDINGS_DOSE_H

#include "findings/work.h"

/* Fills w->result->dose: a treatment with three numeric levels or more, all of whose means
 * can be estimated, gets one. Continuous variates (w->fit). */
qx_status qx_dose_of(qx_work *w);

#endif
