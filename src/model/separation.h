/* model/separation.h - data that tell the answers apart perfectly, so that the likelihood
 * rises for ever along some direction: all five buds broke in a treatment, none in the
 * control.
 *
 *   shares   x'delta >= 0 where something was found (k > 0: at k = n only), <= 0 where
 *            something was not; some strictly: complete (every row) or quasi-complete
 *   counts   x'delta = 0 where something was counted, <= 0 where nothing was: a mean of zero
 *
 * Directions are found exactly by linear algebra (model/cone.h), not by watching a fit run
 * away. Separation of the fixed part makes the likelihood with random terms unbounded in the
 * same direction, so random terms are not asked for.
 *
 * What takes over: Jeffreys' prior on the fixed part, |I(beta)|^(1/2), whose posterior mode is
 * finite and has less bias (Firth 1993), with penalised likelihood ratio tests and profile
 * intervals (Heinze & Schemper 2002); model/classes.h and `penalise` of model/glmm.h; and for
 * plain tables exact tests, model/exact.h. With random terms the prior is that of the model at
 * random effects of zero (Sterzinger & Kosmidis 2023), which grows only as the logarithm of
 * the trial's size while the likelihood grows as the size.
 *
 * Source: Albert & Anderson 1984, Biometrika 71:1-10; Konis 2007, thesis, Oxford; Firth 1993,
 *         Biometrika 80:27-38; Heinze & Schemper 2002, Stat Med 21:2409-2419; Kosmidis &
 *         Firth 2021, Biometrika 108:71-82 (finiteness); Sterzinger & Kosmidis 2023, Stat
 *         Comput 33:53. */
#ifndef QX_MODEL_SEPARATION_H
#define QX_MODEL_SEPARATION_H

#include <stdbool.h>

#include "base/ctx.h"
#include "model/design.h"

typedef struct qx_separation {
    bool found;         /* maximum likelihood has no finite estimate */
    bool complete;      /* every row is told apart */
    const bool *column; /* p columns of the design: coefficients that run away */
    const bool *row;    /* n: rows whose fitted share runs to 0 or 1, or count to 0 */
    const char
        *words; /* where, for a sentence: "angle=60 (all 45 of 45), angle=30 (none of
                           40)"; "a combination of terms" if no single cell tells it; "" */
} qx_separation;

/* k of size in each row (rows of size 0 say nothing). Everything in `arena`.
 * QX_E_INPUT (k outside 0 ... size), QX_E_NOMEM. */
QX_API qx_status qx_separation_shares(qx_ctx *cx,
                                      qx_arena *arena,
                                      const qx_design *design,
                                      const double k[],
                                      const double size[],
                                      qx_separation *out);

/* Counts k >= 0. */
QX_API qx_status qx_separation_counts(qx_ctx *cx,
                                      qx_arena *arena,
                                      const qx_design *design,
                                      const double k[],
                                      qx_separation *out);

/* The sentence for the reader: what was found and what took over. In `arena`; NULL: no
 * memory. */
QX_API const char *qx_separation_sentence(qx_arena *arena,
                                          const qx_separation *separation);

#endif
