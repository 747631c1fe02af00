/* findings/work.h - one variate on its way through the analysis: what the steps of
 * findings/analyse.c hand to each other. Private to this folder. */
#ifndef QX_FINDINGS_WORK_H
#define QX_FINDINGS_WORK_H

#include "findings/choose.h"
#include "findings/estimator.h"
#include "findings/findings.h"
#include "findings/frame_of.h"
#include "findings/linearised.h"
#include "findings/settle.h"
#include "model/compare.h"
#include "model/covariance.h"
#include "model/strata.h"

typedef struct qx_work {
    qx_ctx *cx;
    qx_arena *arena;     /* of the findings */
    qx_arena *temporary; /* of this variate's analysis, gone after it */
    const qx_protocol *protocol;
    const qx_table *table;
    const qx_variate *variate;
    qx_variate_frame data;
    qx_choice choice;
    qx_lmm_spec spec;
    qx_covariance covariance; /* spec.covariance points here when it is asked for */
    bool structured;          /* dates, residuals by season or a field trend are in the
                                 model (findings/covariance_of.h) */
    const qx_lmm *fit;        /* continuous values only, else NULL */
    const qx_design *design;  /* of the fit */
    qx_estimator estimator;   /* what means and differences ask */
    qx_strata strata;
    double level, alpha;
    bool brief;       /* a simulated trial: what only a reader wants is left out */
    bool small_means; /* intervals of means go by the same (small_sample.h) */
    const char *small_method; /* counts, shares, classes: NULL where p serves as it is */
    const qx_linearised *linear; /* what few units cost (small_sample.h), or NULL */
    qx_lmm *unreplicated; /* tells what has no replicate (replicated.h); NULL: all have */
    bool *taken_up;       /* random_count, with `unreplicated`: is it this term? */
    double margin;        /* on the scale of analysis; NAN without one */
    qx_settle_memory settled;
    qx_result *result;
} qx_work;

/* Cells of some factors: every combination of their levels, the last factor fastest. */
typedef struct qx_cells {
    size_t factor_count;
    const size_t *factor; /* frame factor numbers */
    size_t count;
    const size_t *level;   /* count x factor_count, row-major */
    qx_mat row;            /* p x count: column c gives the mean of cell c as row'beta */
    const bool *estimable; /* count */
} qx_cells;

#endif
