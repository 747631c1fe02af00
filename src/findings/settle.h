/* findings/settle.h - how many replicates would settle what is unsettled.
 *
 * A pair is settled, whichever way the truth lies, when the trial has 80 % power for both
 * questions:
 *   (a) a true difference of the margin is shown to differ, by the same adjusted test;
 *   (b) a true difference of nothing is shown to lie inside the margin, by two one-sided
 *       tests at alpha each.
 * Today's variation is taken as it was estimated; with r replicates instead of r0 the
 * squared standard error shrinks by r0/r and the degrees of freedom grow by (r-1)/(r0-1)
 * (exact for completely randomised and complete block layouts). The observed difference
 * plays no part: power "observed" after the fact only repeats the p value (Hoenig & Heisey
 * 2001, Am Stat 55:19-24). Powers: model/power.h. */
#ifndef QX_FINDINGS_SETTLE_H
#define QX_FINDINGS_SETTLE_H

#include <stddef.h>

#include "model/compare.h"
#include "numeric/range_table.h"

#define QX_SETTLE_POWER 0.80
#define QX_SETTLE_MOST  10000.0

typedef struct qx_settle {
    double se, df;     /* of the difference today */
    double replicates; /* r0 >= 2: units a mean, today */
    double margin;     /* > 0 */
    double alpha;
    qx_adjust adjust;
    size_t means;  /* k in the family */
    size_t family; /* comparisons in the family */
} qx_settle;

/* Questions asked before and their answers: the pairs of a balanced layout, and the same
 * pairs inside each level of another treatment, ask the same again and again. */
#define QX_SETTLE_REMEMBERED 16

typedef struct qx_settle_memory {
    qx_arena *arena; /* of the tables; outlives the memory */
    size_t count;
    qx_settle asked[QX_SETTLE_REMEMBERED];
    double answer[QX_SETTLE_REMEMBERED];
    qx_range_tables ranges; /* made when first asked for, shared with the families */
} qx_settle_memory;

/* Power of both questions with r replicates: the smaller one, or that of equivalence alone
 * when it is below QX_SETTLE_POWER. NAN: cannot be told. QX_E_NOMEM. */
qx_status qx_settle_power(
    qx_ctx *cx, qx_settle_memory *memory, const qx_settle *s, double r, double *power);

/* Smallest whole r > r0 with that power; NAN if it is above QX_SETTLE_MOST or cannot be
 * told. QX_E_NOMEM. */
qx_status qx_settle_replicates(qx_ctx *cx,
                               qx_settle_memory *memory,
                               const qx_settle *s,
                               double *replicates);

#endif
