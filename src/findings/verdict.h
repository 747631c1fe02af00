/* findings/verdict.h - what a difference comes to (contract section 3).
 *
 *   higher, lower  adjusted p < alpha and equivalence not shown
 *   trivial        adjusted p < alpha and equivalence shown: real, but too small to matter
 *   equivalent     not shown to differ, and shown to lie inside the margin
 *   unsettled      neither; never told as "no difference"                            */
#ifndef QX_FINDINGS_VERDICT_H
#define QX_FINDINGS_VERDICT_H

#include "findings/findings.h"

/* The adjusted p that verdict and letters go by: the small-sample one where there is one,
 * times the classes that may call the pair different. */
double qx_verdict_p(const qx_difference *d);

/* Fills verdict and beyond_margin from estimate, that p, lower, upper, margin and
 * p_equivalence. */
void qx_verdict_give(qx_difference *difference, double alpha);

#endif
