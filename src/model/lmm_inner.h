/* model/lmm_inner.h - what a fit keeps for tests and intervals. Private to model/.
 *
 * Inside a fit y is divided by `scale` (a power of two near its largest size), so that
 * squares neither overflow nor vanish; matrices marked "unit" are for sigma2 = 1. The
 * covariance of beta is linear in the parts theta_k of
 *
 *     V = sum_k theta_k G_k,   G_k = Z_k Z_k' (each random term), the last one V itself
 *
 * V takes the place of the identity: it spans the same space, and every quantity with it
 * is simple (V^-1 V = I), so that nothing is lost to cancellation. */
#ifndef QX_MODEL_LMM_INNER_H
#define QX_MODEL_LMM_INNER_H

#include "model/lmm.h"
#include "model/profile.h"

#define QX_RANDOM_MOST 31 /* random terms of one model (model/descend.h) */

/* One set of covariances that degrees of freedom follow from. */
typedef struct qx_lmm_view {
    qx_mat phi;
    const qx_mat *derivative; /* parts */
    qx_mat spread;
} qx_lmm_view;

struct qx_lmm_inner {
    const struct qx_lmm_plan *plan; /* whose fit it is */
    double scale;
    double sigma2;       /* of y / scale */
    double *beta;        /* p, of y / scale */
    double log_r;        /* log |R_X|, absolute values */
    qx_mat r_transposed; /* p x p lower: R_X' */
    double level;        /* of intervals */

    /* with random terms: */
    qx_profile profile;         /* of the terms that can be told apart */
    qx_profile_point at;        /* at the optimum */
    const size_t *component_of; /* profile.m: component number */
    double *gamma;              /* profile.m */
    qx_mat confounded; /* p x p, over Q: model/confounded.h; empty where there is none */

    /* covariance of beta, unit, p x p */
    qx_mat phi;
    qx_mat adjusted;    /* Kenward-Roger's, else phi */
    size_t parts;       /* profile.m + 1; 0 for least squares */
    qx_mat *derivative; /* parts: dphi/dtheta_k */
    qx_mat spread;      /* parts x parts: covariance of theta (Kenward-Roger: W) */
    const struct qx_lmm_view
        *constrained;    /* what the four above were with components held
                                              at zero, where phi and spread come from
                                              unconstrained variances; else NULL */
    double *containment; /* p: df of the stratum of each column; NULL if not asked */

    struct qx_general_fit *general; /* with a covariance; theta and spread are then its
                                       own (model/general_fit.h) */
};

#endif
