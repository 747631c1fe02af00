/* findings/choose.h - the model that follows from the units and treatments.
 *
 * Nobody writes a formula. Fixed: blocks (if the protocol says so), season, covariates
 * (a common slope), the treatments that reach the variate, slopes of their own where asked
 * for, interactions, in the protocol's order (contract rule 5). Random: every unit above the
 * variate's own, from large to small; the variate's own unit is the residual. A unit that
 * cannot be told from another one or from the residual (one limb a tree) is merged with it
 * and told. */
#ifndef QX_FINDINGS_CHOOSE_H
#define QX_FINDINGS_CHOOSE_H

#include "findings/frame_of.h"
#include "model/lmm.h"

typedef struct qx_choice {
    size_t term_count;
    const qx_term *term; /* fixed part, in order */
    size_t block_terms;  /* the first of them that are blocks */
    size_t random_count;
    const qx_random_term *random;
    const size_t *random_unit; /* random_count: number in frame->unit; QX_NONE for rows
                                  and places of the field */
    size_t residual_unit;      /* number in frame->unit */
    const char *residual_path; /* path of the lowest unit */
    qx_df_method df;
    bool unconstrained; /* nobody asked for a method by name: model/unconstrained.h */
} qx_choice;

/* Everything in `arena`; notes on cx. */
qx_status qx_choose(qx_ctx *cx,
                    qx_arena *arena,
                    const qx_protocol *protocol,
                    size_t variate,
                    const qx_variate_frame *data,
                    qx_choice *out);

/* Is the term made of treatments and season alone (not blocks, not a covariate)? */
bool qx_choice_is_treatment_term(const qx_choice *choice, size_t term);

/* The spec of this choice for the fitting floor. */
qx_lmm_spec
qx_choice_spec(const qx_choice *choice, const qx_variate_frame *data, double level);

#endif
