/* model/zero_inflation.h - are there more zeros than the counts' family allows?
 *
 * Two answers:
 *   score      Poisson without random terms: the score of a share of extra zeros,
 *
 *                  S = [sum w (1(k = 0) / p0 - 1)]^2
 *                      / [sum w (1 - p0) / p0 - m'X (X'diag(m)X)^-1 X'm],   p0 = exp(-m)
 *
 *              chi-squared with one df; here one-sided, since fewer zeros than expected are
 *              not inflation: half the tail if the score is positive (van den Broek 1995,
 *              Biometrics 51:738-743). With an intercept the last term is sum w m
 *   bootstrap  anything else (random units, negative binomial): responses drawn from the fit,
 *              random effects anew, p = (1 + as many zeros or more) / (1 + drawn). The fit
 *              has seen the observed zeros, which makes p a little too large (Bayarri & Berger
 *              2000, J Am Stat Assoc 95:1127-1142): what it flags is there
 *
 * Not here: fits with extra zeros. A flagged check says what to look at first. */
#ifndef QX_MODEL_ZERO_INFLATION_H
#define QX_MODEL_ZERO_INFLATION_H

#include "model/glmm.h"

typedef struct qx_zeros {
    double observed, expected; /* things that count zero */
    double things;             /* in all */
    double value;              /* score: S; bootstrap: observed / expected */
    double p;
    const char
        *method; /* "score", "parametric bootstrap"; "none" (and NAN) where rows that
                           stand for several things would have to be drawn */
} qx_zeros;

/* fit: a fit of counts; k, times: as in its spec (times may be NULL). replicates: draws of
 * the bootstrap (0: 999). QX_E_ARG (a fit of shares), QX_E_NOMEM, QX_E_CANCELLED. */
QX_API qx_status qx_zero_inflation(qx_ctx *cx,
                                   const qx_glmm *fit,
                                   const double k[],
                                   const double times[],
                                   size_t replicates,
                                   uint64_t seed,
                                   qx_zeros *out);

/* What to do next, for the check's line: a sentence when p is below alpha, else "". In
 * `arena`; NULL: no memory. */
QX_API const char *
qx_zero_inflation_advice(qx_arena *arena, const qx_zeros *zeros, double alpha);

#endif
