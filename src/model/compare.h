/* model/compare.h - several comparisons at once: adjusted p, intervals, letters.
 *
 *   Tukey-Kramer   studentised range, each difference with its own se and df
 *                  (Kramer 1956, Biometrics 12:307-310)
 *   Dunnett        with a control, multivariate t (numeric/mvt.h); exact when the
 *                  correlations have one-factor form
 *   Sidak          1967, J Am Stat Assoc 62:626-633;  Holm 1979, Scand J Stat 6:65-70;
 *   Bonferroni; none */
#ifndef QX_MODEL_COMPARE_H
#define QX_MODEL_COMPARE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/ctx.h"
#include "numeric/dense.h"

typedef enum {
    QX_ADJUST_NONE,
    QX_ADJUST_TUKEY,
    QX_ADJUST_DUNNETT,
    QX_ADJUST_SIDAK,
    QX_ADJUST_HOLM,
    QX_ADJUST_BONFERRONI
} qx_adjust;

typedef struct qx_comparison {
    double estimate, se, df;        /* in */
    double value, p;                /* out: t and two-sided p, not adjusted */
    double p_adjusted;              /* out */
    double lower, upper;            /* out: simultaneous interval at `level` (Holm: Bonferroni's) */
    double critical;                /* out: multiplier of se in that interval */
} qx_comparison;

/* A family of m comparisons among k means. `correlation` (m x m) is needed for Dunnett
 * only, else its `at` may be NULL. se 0 or NAN: value, p, limits NAN. */
QX_API qx_status qx_compare(qx_ctx *cx, qx_adjust adjust, size_t k, double level, size_t m,
                            qx_comparison family[], qx_mat correlation);

/* Letters by insert-and-absorb (Piepho 2004, J Comput Graph Stat 13:456-466): two of the k
 * means share a letter exactly when differ[i + j k] is false. `a` goes to the mean that is
 * first in `order` (k entries: numbers from largest to smallest mean). out: k texts in
 * `arena` ("a", "ab"; after z comes aa-style "A" ... "Z", then "(53)"). */
QX_API qx_status qx_letters(qx_ctx *cx, qx_arena *arena, size_t k, const bool differ[],
                            const size_t order[], const char *out[]);

#endif
