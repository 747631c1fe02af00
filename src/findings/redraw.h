/* findings/redraw.h - one trial's values drawn again and again, without text.
 *
 * Planning and calibration simulate and analyse thousands of trials of one layout. The
 * frame of the analysis (frame_of.h) is the same for all of them: it is made once, and only
 * the values are drawn anew, in the order of its rows and from the same truth as in
 * simulate.h. Ten thousand trials of 200 shares take about a second.
 *
 *     qx_variate_frame frame;
 *     const qx_redraw *redraw;
 *     QX_TRY(qx_redraw_frame(cx, arena, protocol, layout, v, samples, &frame));  once
 *     QX_TRY(qx_redraw_new(cx, arena, protocol, v, &frame, &truth, &redraw));    once
 *     QX_TRY(qx_redraw_values(cx, redraw, seed, trial, y));     in any thread, with its cx
 *
 * A frame of recorded data serves as well as one of a layout. Nothing is lost and nothing
 * is rounded here (a truth's `lost` and `step` are for files). */
#ifndef QX_FINDINGS_REDRAW_H
#define QX_FINDINGS_REDRAW_H

#include "findings/frame_of.h"
#include "findings/simulate.h"

/* The frame that data of this layout would give: each thing of the variate's unit in each
 * season once, `samples` in each parent for sampled units. Its values are of no account; a
 * share's size is 1 (the truth's takes its place). In `arena`. QX_E_NOMEM. */
qx_status qx_redraw_frame(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_protocol *protocol,
                          const qx_layout *layout,
                          size_t variate,
                          size_t samples,
                          qx_variate_frame *out);

typedef struct qx_redraw qx_redraw;

/* `data` and `truth` are borrowed and must outlive it. In `arena`. QX_E_ARG as in
 * simulate.h, QX_E_NOMEM. */
qx_status qx_redraw_new(qx_ctx *cx,
                        qx_arena *arena,
                        const qx_protocol *protocol,
                        size_t variate,
                        const qx_variate_frame *data,
                        const qx_truth *truth,
                        const qx_redraw **out);

/* Of how many each share is: n entries; NULL for other kinds. */
const double *qx_redraw_size(const qx_redraw *redraw);

/* The values of trial number `trial` (its own seed, made from `seed`): n numbers, counts, or numbers of
 * classes. The redraw is only read. Cost: a normal for each unit, a draw for each row. */
qx_status qx_redraw_values(
    qx_ctx *cx, const qx_redraw *redraw, uint64_t seed, size_t trial, double y[]);

#endif
