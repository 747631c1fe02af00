/* bench/calibration/responses.h - layouts of shares, counts, grades: a protocol, and truths
 * in the unit that is measured (findings/redraw.h). Each trial is drawn twice, with no effect
 * of the treatment (tests) and with one whose first two levels differ by just the margin
 * (intervals, equivalence), and analysed as the program does it (findings/analyse.h). */
#ifndef QX_BENCH_CALIBRATION_RESPONSES_H
#define QX_BENCH_CALIBRATION_RESPONSES_H

#include "calibration.h"
#include "findings/simulate.h"

typedef struct responses {
    const char
        *protocol; /* one treatment "spray", one variate, compare tukey, a margin */
    qx_truth none; /* no effect */
    qx_truth some; /* assumed means that differ */
} responses;

qx_status responses_open(qx_ctx *cx,
                         qx_arena *arena,
                         const calibration_layout *layout,
                         const calibration_options *options,
                         void **state);
void responses_close(void *state);
size_t responses_measures(const void *state, const calibration_measure **out);
qx_status responses_trial(qx_ctx *cx,
                          const void *state,
                          size_t task,
                          calibration_outcome outcome[CALIBRATION_MEASURES]);

extern const calibration_layout calibration_shares_limbs, calibration_shares_buds,
    calibration_shares_varying, calibration_counts_limbs, calibration_counts_varying,
    calibration_counts_blocks, calibration_grades_limbs, calibration_grades_trees,
    calibration_classes_trees;

#endif
