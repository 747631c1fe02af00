/* findings/choose_family.h - which family a count or a share is analysed by.
 *
 * The units' random terms come first: they are in every model. What varies beyond them
 * between the things measured is settled by the protocol (extra_variation) or, with `auto`,
 * by a stated rule:
 *
 *   1. fit the plain family (binomial, Poisson) and the one with a spread of its own
 *      (beta-binomial, negative binomial), both with the units' random terms
 *   2. the likelihood ratio between them, whose null distribution is half a nought and half
 *      chi-squared with 1 df (the spread cannot be negative): P
 *   3. P below QX_EXTRA_ALPHA: the wider family, else the plain one
 *
 * The threshold is generous because the two mistakes are unequal: variation that is there
 * and overlooked makes false findings, variation that is not there costs little power. The
 * test itself: model/overdispersion.h.
 * Shares of one thing each (1 or 0) show no extra variation: they stay binomial.
 *
 * Source: Self & Liang 1987, J Am Stat Assoc 82:605-610 (the mixture); Lawless 1987, Can J
 * Stat 15:209-225; Williams 1975, Biometrics 31:949-952. */
#ifndef QX_FINDINGS_CHOOSE_FAMILY_H
#define QX_FINDINGS_CHOOSE_FAMILY_H

#include "findings/work.h"
#include "model/glmm.h"

#define QX_EXTRA_ALPHA 0.20

typedef struct qx_family_choice {
    qx_extra extra;
    bool tested;   /* by the rule above; else the protocol's word */
    double lrt, p; /* of the extra variation, when it was tested */
} qx_family_choice;

/* The spec of the variate's plain family; choice and data borrowed from w. */
qx_glmm_spec qx_counts_spec(const qx_work *w);

/* Fits by the rule; *out is the fit to go on with, *wide the fit with a spread where the plain
 * family was chosen after a test (small_sample.h), else NULL; both by qx_glmm_free. Notes on
 * cx. */
qx_status
qx_choose_family(qx_work *w, qx_family_choice *choice, qx_glmm **out, qx_glmm **wide);

#endif
