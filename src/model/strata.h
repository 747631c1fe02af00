/* model/strata.h - the classical analysis of variance of a balanced orthogonal layout.
 *
 * Each random term and the residual is a stratum; y is projected onto each (Nelder 1965,
 * Proc R Soc A 283:147-162). Given only when every fixed term lies wholly in one stratum
 * and the strata are orthogonal with equal replication; otherwise `balanced` is false. */
#ifndef QX_MODEL_STRATA_H
#define QX_MODEL_STRATA_H

#include <stdbool.h>

#include "model/lmm.h"

typedef struct qx_stratum_line {
    const char *stratum;                    /* random term or "residual" */
    double df, sum_of_squares, mean_square; /* left over after the treatments in it */
} qx_stratum_line;

typedef struct qx_strata {
    bool balanced;
    const char *why;              /* not balanced: why, for a sentence; else NULL */
    size_t stratum_count;         /* random_count + 1 */
    const qx_stratum_line *left;  /* in the order of the random terms, lowest unit last */
    const size_t *stratum_of;     /* term_count: where each fixed term is tested */
    const double *sum_of_squares; /* term_count */
    const double *df;             /* term_count */
    const double *dimension; /* stratum_count: df of the stratum, treatments included */
    const bool
        *inside; /* random_count^2: [i + j random_count], term i lies inside term j;
                           only when balanced */
} qx_strata;

QX_API qx_status qx_strata_make(qx_ctx *cx,
                                qx_arena *arena,
                                const qx_lmm_spec *spec,
                                const qx_design *design,
                                qx_strata *out);

/* Is the marginal hypothesis of the term the sequential one, so that its sum of squares
 * does not depend on the order of the terms? `out` false also where it is not estimable. */
qx_status
qx_strata_orthogonal(qx_ctx *cx, const qx_design *design, size_t term, bool *out);

#endif
