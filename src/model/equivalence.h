/* model/equivalence.h - two one-sided tests: is a difference shown to lie inside
 * -margin ... +margin?
 *
 *     t_lower = (estimate + margin) / se   against the difference being -margin or less
 *     t_upper = (estimate - margin) / se   against +margin or more
 *
 * Both must be rejected at alpha; the same is true exactly when the 1 - 2 alpha interval
 * lies inside the margin. Never adjusted for several comparisons (contract, rule 8).
 * Source: Schuirmann 1987, J Pharmacokinet Biopharm 15:657-680. */
#ifndef QX_MODEL_EQUIVALENCE_H
#define QX_MODEL_EQUIVALENCE_H

#include "base/attr.h"

typedef struct qx_equivalence {
    double p_lower;      /* against the difference being -margin or less */
    double p_upper;      /* against +margin or more */
    double p;            /* the larger of both */
    double lower, upper; /* 1 - 2 alpha interval */
} qx_equivalence;

/* margin > 0 or NAN (then only the interval is given). alpha = 1 - level, between 0 and
 * 0.5. df > 0, may be INFINITY. Anything that cannot be computed (se not > 0, margin not
 * > 0) is NAN. */
QX_API qx_equivalence
qx_equivalence_test(double estimate, double se, double df, double margin, double alpha);

/* The same with the upper alpha quantile t of the t distribution for df, which many
 * comparisons share. t not > 0: NAN. */
QX_API qx_equivalence
qx_equivalence_by(double estimate, double se, double df, double margin, double t);

#endif
