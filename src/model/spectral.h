/* model/spectral.h - a profile (model/profile.h) in coordinates of its own rank.
 *
 * With Z'MZ = F F' (q x r, r its rank), t the part of r = My in the space of MZ, D_k =
 * F_k'F_k and rest = r'r - t't,
 *
 *     M(gamma) = I + sum gamma_k D_k       log|A| = log|M|     y'Py = rest + t'M^-1 t
 *     T = Z'PZ = F M^-1 F'                 w = Z'Py = F M^-1 t
 *
 * hold for every gamma that leaves M positive definite, negative ones too: no root of
 * gamma is taken. When all D_k commute (balanced layouts) they are diagonal in one basis,
 * whose directions fall into strata s with common d_ks, and with v_s = 1 + sum gamma_k d_ks
 *
 *     tr T_kk = sum n_s d_ks / v_s          |T_kl|^2 = sum n_s d_ks d_ls / v_s^2
 *     w_k'w_k = sum ss_s d_ks / v_s^2       w_k'T_kl w_l = sum ss_s d_ks d_ls / v_s^3
 *
 * over a handful of strata: the mean squares of the analysis of variance, and no matrix.
 *
 * F = A^-1/2 U L^1/2 from the eigenvectors of A^1/2 Z'MZ A^1/2, A a different weight for
 * each term: its eigenvectors are those that all D_k share, if they share any. Derived
 * here. Private to model/. */
#ifndef QX_MODEL_SPECTRAL_H
#define QX_MODEL_SPECTRAL_H

#include <stdbool.h>

#include "model/profile.h"

/* Random columns for which it is worth an eigenproblem. */
#define QX_SPECTRAL_MOST 150

struct qx_spectral {
    size_t m, r;
    qx_mat F;              /* q x r */
    qx_mat to_t;           /* q x r: t = to_t' z */
    const qx_mat *D;       /* m: r x r */
    bool commute;          /* then: */
    size_t strata;         /* directions with the same d */
    const size_t *stratum; /* r */
    const double *d;       /* strata x m */
    const double *count;   /* strata: n_s */
};

/* `arena` is not the scratch of cx. Cost O(q^3): beyond QX_SPECTRAL_MOST columns only where it is needed. */
qx_status qx_spectral_make(qx_ctx *cx,
                           qx_arena *arena,
                           const qx_profile *profile,
                           struct qx_spectral **out);

/* t, its sums of squares by strata and rest, of the profile's z and rr. */
qx_status qx_spectral_respond(qx_ctx *cx, qx_arena *arena, qx_profile *profile);

/* log_a, ypy, trace, square, norm and bilinear of a point, nothing else; `gamma` may be
 * negative. false: M is not positive definite. The layout has strata (commute) and the
 * profile a response. */
bool qx_spectral_strata(const qx_profile *profile,
                        const double gamma[],
                        qx_profile_point *at);

/* The same for any layout. Cost O(m r^3) where there are no strata. QX_E_NOMEM. */
qx_status qx_spectral_point(qx_ctx *cx,
                            const qx_profile *profile,
                            const double gamma[],
                            qx_profile_point *at,
                            bool *definite);

#endif
