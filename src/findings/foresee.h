/* findings/foresee.h - one way to run the trial, before it is run: its layout, the model
 * that will follow, and how well that will tell treatments apart if the variations are what
 * they are thought to be.
 *
 * The trial is laid out, its rows are written down without values (trial/skeleton.h), and
 * the analysis of findings/choose.h is set up on them with known variances
 * (model/known.h): the method of expected data (Stroup 2002, J Agric Biol Environ Stat
 * 7:491-511) in its matrix form. Everything is on the scale of analysis: the variate's
 * own, or that of the link. */
#ifndef QX_FINDINGS_FORESEE_H
#define QX_FINDINGS_FORESEE_H

#include "base/ctx.h"
#include "trial/protocol.h"

typedef struct qx_setting {
    size_t knob, knob_count; /* unit whose count is set; QX_NONE: as in the protocol */
    size_t sampled, sampled_count; /* the same for things measured in each parent */
} qx_setting;

/* The protocol with the setting's counts: units in `arena`, all else borrowed. QX_E_NOMEM. */
qx_status qx_setting_apply(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_protocol *protocol,
                           const qx_setting *setting,
                           qx_protocol *out);

/* The protocol in which variate `number` is a plain number, as it stands on its scale of analysis:
 * variates in `arena`, all else borrowed. `out` may be `protocol`. QX_E_NOMEM. */
qx_status qx_protocol_as_values(qx_ctx *cx,
                                qx_arena *arena,
                                const qx_protocol *protocol,
                                size_t number,
                                qx_protocol *out);

/* Variances between things of each unit (protocol's unit_count), for one variate; the
 * variate's own unit holds the residual. */
typedef struct qx_spreads {
    const double *variance;
    const double *variance_by_season; /* what one season adds to each thing; or NULL */
    double chance; /* what chance adds to the residual: counts, shares, classes; else 0 */
    bool asymptotic; /* without random terms the variance is chance alone, and known: the
                        tests of the analysis have endless degrees of freedom */
} qx_spreads;

typedef struct qx_foreseen_test {
    const char *term, *unit; /* tested against; path of the unit */
    double num_df, den_df;   /* den_df NAN: cannot be tested */
} qx_foreseen_test;

/* The differences between the levels of one treatment, over all others. */
typedef struct qx_foreseen_family {
    size_t treatment; /* protocol's number */
    size_t means;
    bool part;           /* over the crossed part of a factorial with an added control */
    double se, se_worst; /* root of the mean variance over the pairs; the largest */
    double by_chance;    /* slope of se^2 by the variance of chance; 0 without chance */
    double df;           /* the least over the pairs; may be INFINITY */
    double replicates;   /* units that carry one level */
} qx_foreseen_family;

typedef struct qx_foreseen {
    size_t rows;
    const size_t *things; /* unit_count: how many of each unit, sampled ones included */
    size_t test_count;
    const qx_foreseen_test *test;
    size_t family_count;
    const qx_foreseen_family *family;
    size_t note_count;
    const char *const *note; /* of the model: what was merged, what has no replicate */
} qx_foreseen;

/* In `arena`. samples: for sampled units without a count. QX_E_INPUT with a message in the
 * user's words: the units cannot hold the levels, or nothing is left to test with. */
qx_status qx_foresee(qx_ctx *cx,
                     qx_arena *arena,
                     const qx_protocol *protocol,
                     size_t variate,
                     const qx_setting *setting,
                     size_t samples,
                     const qx_spreads *spreads,
                     qx_foreseen *out);

#endif
