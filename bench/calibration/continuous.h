/* bench/calibration/continuous.h - layouts of continuous variates, as tables.
 *
 * Rows are all combinations of the dimensions, the last running fastest. A factor is the
 * combination of some of them, or a function of the place. There is no effect of any
 * treatment: every hypothesis is true, every difference and mean is nought. */
#ifndef QX_BENCH_CALIBRATION_CONTINUOUS_H
#define QX_BENCH_CALIBRATION_CONTINUOUS_H

#include "calibration.h"

#define CONTINUOUS_DIMENSIONS 4
#define CONTINUOUS_FACTORS    6
#define CONTINUOUS_TERMS      4

typedef struct continuous_factor {
    const char *name;
    unsigned dimensions;                    /* bits of the dimensions that make it */
    uint32_t (*level)(const uint32_t at[]); /* or a function of the place */
    size_t levels;                          /* with a function */
    bool random;
    double sd; /* random */
} continuous_factor;

typedef struct continuous_term {
    const char *name;
    size_t count;
    size_t factor[2];
} continuous_term;

typedef struct continuous {
    size_t dimension_count;
    uint32_t dimension[CONTINUOUS_DIMENSIONS];
    size_t factor_count;
    continuous_factor factor[CONTINUOUS_FACTORS];
    size_t term_count;
    continuous_term term[CONTINUOUS_TERMS];
    size_t compared;          /* factor whose means and pairs are judged */
    double margin;            /* of equivalence; sd of the residual is 1 */
    double lost;              /* share of units that are lost, */
    unsigned lost_dimensions; /* combinations of these */
    const char
        *note_intervals; /* why intervals of variances may be off, or NULL: of units */
    const char *note_residual; /* and of the residual */
} continuous;

qx_status continuous_open(qx_ctx *cx,
                          qx_arena *arena,
                          const calibration_layout *layout,
                          const calibration_options *options,
                          void **state);
void continuous_close(void *state);
size_t continuous_measures(const void *state, const calibration_measure **out);
qx_status continuous_trial(qx_ctx *cx,
                           const void *state,
                           size_t task,
                           calibration_outcome outcome[CALIBRATION_MEASURES]);

#endif
