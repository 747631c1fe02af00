/* model/plan.h - what a fit does not take from y (model/refit.h), from the inside. Private
 * to model/. */
#ifndef QX_MODEL_PLAN_H
#define QX_MODEL_PLAN_H

#include "model/lmm_inner.h"
#include "model/refit.h"

struct qx_lmm_plan {
    qx_arena *arena;
    qx_lmm_spec spec; /* term and random: copies; y: NULL */
    qx_design design;
    size_t n, p;
    double log_r;        /* log |R_X| */
    qx_mat r_transposed; /* p x p lower */
    qx_mat gram_inverse; /* p x p; least squares only */

    /* with random terms: */
    qx_mat Q;                           /* n x p, orthonormal columns of X; not there when
                                           the profile is reduced */
    bool *own;                          /* random_count: has it a variance of its own? */
    size_t *component_of;               /* profile.m */
    const uint32_t **code;              /* profile.m */
    qx_profile profile;                 /* without a response: z nil, rr 0 */
    qx_mat confounded;                  /* model/confounded.h */
    const struct qx_spectral *spectral; /* model/spectral.h; NULL: too many columns */
};

/* Into an arena that is there already. */
qx_status qx_lmm_plan_parts(qx_ctx *cx,
                            qx_arena *arena,
                            const qx_lmm_spec *spec,
                            qx_lmm_plan **out);

/* The profile of the first m of plan->code, without a response: by whichever way is the
 * quickest, or the one that the spec asks for (model/plan_profile.c). */
qx_status qx_plan_profile(
    qx_ctx *cx, qx_lmm_plan *plan, size_t m, const size_t levels[], qx_profile *out);

/* Which random terms of a profile have a covariance of their own, noting those that have
 * not; what the fixed terms take up whole is added to `confounded` (model/apart.c). */
qx_status qx_plan_tell_apart(qx_ctx *cx, qx_lmm_plan *plan, const qx_profile *all);

#endif
