/* findings/rehearsal.h - the plan confirmed: trials with known truth are simulated on the
 * planned layout and each is analysed as the real one will be, on all cores.
 *
 *   something   the last level of the treatment differs from all others by the effect:
 *               how often is its difference from the first level called out?
 *   nothing     all levels are alike: how often is that difference shown to be smaller than
 *               the margin, and how often is any difference called out by mistake?
 *
 * Grades are called out when any of their shares is, and told not to matter when all are;
 * of classes without order the one that is planned for counts (plan_scale.h), and for
 * mistakes all of them. Values with a transform are drawn on its scale.
 *
 * Values are drawn by findings/redraw.h and analysed by qx_analyse_again. Trial number i
 * has stream i of the seed, so the answer does not depend on the number of cores. */
#ifndef QX_FINDINGS_REHEARSAL_H
#define QX_FINDINGS_REHEARSAL_H

#include "findings/plan_scale.h"

typedef struct qx_rehearsal_spec {
    const qx_protocol *protocol; /* with the counts to rehearse */
    size_t variate, treatment;
    size_t samples;             /* for sampled units without a count */
    const qx_plan_scale *scale; /* of the variate */
    double step;                /* of `something`, on the scale of analysis; > 0 */
    size_t trials;              /* of each kind */
    uint64_t seed;
} qx_rehearsal_spec;

/* power_equivalence is NAN without a margin. QX_E_ARG: step not above 0; QX_E_INPUT: the
 * units cannot hold the levels; QX_E_CANCELLED, QX_E_NOMEM. */
qx_status qx_rehearse(qx_ctx *cx, const qx_rehearsal_spec *spec, qx_rehearsed *out);

#endif
