/* findings/rehearsal.h - the plan confirmed: trials with known truth are simulated on the
 * planned layout and each is analysed as the real one will be, on all cores.
 *
 *   something   the last level of the treatment differs from all others by the margin:
 *               how often is its difference from the first level called out?
 *   nothing     all levels are alike: how often is that difference shown to be smaller than
 *               the margin, and how often is any difference called out by mistake?
 *
 * Values are drawn by findings/redraw.h and analysed by qx_analyse_again. Trial number i
 * has stream i of the seed, so the answer does not depend on the number of cores. */
#ifndef QX_FINDINGS_REHEARSAL_H
#define QX_FINDINGS_REHEARSAL_H

#include "findings/plan_scale.h"

/* `treatment` of `variate`, with what scale says of it. QX_E_INPUT: a variate that cannot be
 * rehearsed (a transform, no margin); QX_E_CANCELLED, QX_E_NOMEM. */
qx_status qx_rehearse(qx_ctx *cx,
                      const qx_protocol *protocol,
                      size_t variate,
                      size_t treatment,
                      size_t samples,
                      const qx_plan_scale *scale,
                      size_t trials,
                      uint64_t seed,
                      qx_rehearsed *out);

#endif
