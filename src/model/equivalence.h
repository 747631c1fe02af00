/* model/equivalence.h - two one-sided tests (Schuirmann 1987, J Pharmacokinet Biopharm
 * 15:657-680): is a difference shown to lie inside -margin ... +margin? */
#ifndef QX_MODEL_EQUIVALENCE_H
#define QX_MODEL_EQUIVALENCE_H

#include "base/attr.h"

typedef struct qx_equivalence {
    double p_lower;       /* against the difference being -margin or less */
    double p_upper;       /* against +margin or more */
    double p;             /* the larger of both */
    double lower, upper;  /* 1 - 2 alpha interval */
} qx_equivalence;

/* margin > 0 or NAN (then only the interval is given). alpha = 1 - level. */
QX_API qx_equivalence qx_equivalence_test(double estimate, double se, double df,
                                          double margin, double alpha);

#endif
