/* model/compare.h - several comparisons at once: adjusted p, intervals, letters.
 *
 * One t = estimate / se for each of m comparisons among k means. The adjusted p of a
 * comparison is the probability that the largest |t| of the whole family reaches this
 * one's |t| when nothing differs; `critical` is the |t| where that probability is
 * 1 - level, and the simultaneous interval is estimate +- critical x se.
 *
 *   Tukey-Kramer   P(Q > sqrt2 |t|), Q the studentised range of k means; each difference
 *                  with its own se and df (Kramer 1956, Biometrics 12:307-310; never too
 *                  small: Hayter 1984, Ann Stat 12:61-75). Below 1 df and beyond
 *                  1000 means, where the range is not computed, Sidak's value is given
 *                  instead and a note says so.
 *   Dunnett        with a control: multivariate t (numeric/mvt.h); exact when the
 *                  correlations have one-factor form (1955, J Am Stat Assoc 50:1096-1121)
 *   Sidak          1 - (1 - p)^m           (1967, J Am Stat Assoc 62:626-633)
 *   Holm           stepwise Bonferroni     (1979, Scand J Stat 6:65-70)
 *   Bonferroni     m p, at most 1;         none: p itself
 *
 * m counts the comparisons that can be made (se > 0). With one comparison all methods give
 * its own t test.
 *
 * Not here: equivalence (equivalence.h), the estimates (lmm.h). */
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
    double estimate, se, df; /* in; df > 0, may be INFINITY */
    double value, p;         /* out: t and two-sided p, not adjusted */
    double p_adjusted;       /* out */
    double lower, upper; /* out: simultaneous interval at `level` (Holm: Bonferroni's) */
    double critical;     /* out: multiplier of se in that interval */
} qx_comparison;

/* A family of m comparisons among k means.
 *   level        of the intervals, between 0 and 1
 *   family       m comparisons; estimate, se and df in, the rest out
 *   correlation  m x m, of the estimates; needed for Dunnett only, else its `at` may be
 *                NULL. Rows of comparisons that cannot be made are not looked at.
 * A comparison with se or df not > 0 or not-a-number: all its results are NAN, and it does
 * not count in m. Each comparison uses its own df.
 * Errors: QX_E_ARG (level, k < 2 for Tukey), QX_E_SHAPE (correlation), QX_E_NOMEM.
 * Cost: one critical value for each different df; Tukey: a table of the range for k. */
QX_API qx_status qx_compare(qx_ctx *cx,
                            qx_adjust adjust,
                            size_t k,
                            double level,
                            size_t m,
                            qx_comparison family[],
                            qx_mat correlation);

struct qx_range_tables;

/* The same, asked with a struct; `tables` (numeric/range_table.h) may be shared by the
 * families of one analysis, or NULL. */
typedef struct qx_compare_request {
    qx_adjust adjust;
    size_t k;
    double level;
    size_t m;
    qx_mat correlation;
    struct qx_range_tables *tables;
} qx_compare_request;

QX_API qx_status qx_compare_family(qx_ctx *cx,
                                   const qx_compare_request *request,
                                   qx_comparison family[]);

/* Most letters that are worked out: beyond it nobody reads them. */
#define QX_LETTERS_MOST 400

/* Letters by insert-and-absorb (Piepho 2004, J Comput Graph Stat 13:456-466): two of the k
 * means share a letter exactly when differ[i + j k] is false (symmetric; the diagonal is
 * not looked at). `a` goes to the mean that is first in `order` (k entries: numbers from
 * largest to smallest mean). out: k texts in `arena`, which is not the scratch of cx ("a",
 * "ab"; after z comes "A" ... "Z", then "(53)"). When more than QX_LETTERS_MOST would be
 * needed, every text is NULL and a note says so.
 * Errors: QX_E_ARG (order is not a permutation; the arena is the scratch), QX_E_NOMEM.
 * Cost: O(k^2 c k / 64) with c letters on the way, at most QX_LETTERS_MOST. */
QX_API qx_status qx_letters(qx_ctx *cx,
                            qx_arena *arena,
                            size_t k,
                            const bool differ[],
                            const size_t order[],
                            const char *out[]);

#endif
