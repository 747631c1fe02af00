/* bench/calibration/calibration.h - do tests err as often, and intervals hold as often, as
 * they say? Simulated trials of many layouts, all from one seed.
 *
 * A layout is a descriptor: it opens once (constant afterwards, shared by all threads),
 * names what it measures, and judges one trial at a time. The random numbers of a trial follow
 * from seed and number, so that the table depends neither on threads nor on machine. Layouts for
 * other kinds of data are further descriptors in calibration_layouts (layouts.c). */
#ifndef QX_BENCH_CALIBRATION_H
#define QX_BENCH_CALIBRATION_H

#include <stdbool.h>
#include <stdint.h>

#include "base/ctx.h"
#include "model/lmm.h"
#include "numeric/rng.h"

#define CALIBRATION_MEASURES 24 /* of one layout, at the most */

/* What a rate should be, for tests at 5 % and intervals of 95 %. */
typedef enum {
    CALIBRATION_ERROR,      /* rejections of what is true: 5 % */
    CALIBRATION_COVERAGE,   /* intervals that hold the truth: 95 % */
    CALIBRATION_AT_MOST,    /* errors that are bounded: 5 % or less */
    CALIBRATION_AT_LEAST,   /* coverage that is bounded: 95 % or more */
    CALIBRATION_INFORMATIVE /* told, not judged */
} calibration_kind;

typedef struct calibration_measure {
    const char *name;
    calibration_kind kind;
    const char *note; /* why it is what it is, or NULL */
} calibration_measure;

/* What came of one measure in one trial. */
typedef enum { CALIBRATION_NO, CALIBRATION_YES, CALIBRATION_NONE } calibration_outcome;

typedef struct calibration_options {
    uint64_t seed;
    qx_df_method df;
    bool unconstrained; /* the default of the program (model/unconstrained.h) */
} calibration_options;

typedef struct calibration_layout {
    const char *key;
    const char *title; /* one line: layout, sizes, standard deviations */
    const void *about; /* for open */
    /* Makes what all trials share, in `arena`. */
    qx_status (*open)(qx_ctx *cx,
                      qx_arena *arena,
                      const struct calibration_layout *layout,
                      const calibration_options *options,
                      void **state);
    void (*close)(void *state);
    size_t (*measures)(const void *state, const calibration_measure **out);
    /* Trial `task`: outcomes by measure. */
    qx_status (*trial)(qx_ctx *cx,
                       const void *state,
                       size_t task,
                       calibration_outcome outcome[CALIBRATION_MEASURES]);
} calibration_layout;

/* The random numbers of one task: seeds a golden section apart, mixed by the generator's own
 * seeding. (Streams by jumps cost as many jumps as their number.) */
static inline qx_rng calibration_stream(uint64_t seed, size_t task)
{
    return qx_rng_seeded(seed + UINT64_C(0x9E3779B97F4A7C15) * ((uint64_t)task + 1));
}

extern const calibration_layout *const calibration_layouts[];
extern const size_t calibration_layout_count;

#endif
