/* model/reml.h - the restricted maximum of a profile (model/profile.h).
 *
 * Start: MINQUE from equal ratios, twice (Rao 1971, J Multivar Anal 1:257-275); its normal
 * equations are those of one scoring step, and for a balanced layout without negative
 * estimates they give the optimum at once. Then Newton (model/descend.h); if that does not
 * settle, BOBYQA on the roots of the ratios and Newton again. */
#ifndef QX_MODEL_REML_H
#define QX_MODEL_REML_H

#include "model/descend.h"
#include "model/profile.h"

/* gamma (m) out; with `zero` (m, may be NULL) ratios that are held at zero. `room` is
 * scratch of the profile and holds the evaluated optimum afterwards. */
qx_status qx_reml_fit(qx_ctx *cx,
                      const qx_profile *profile,
                      const bool zero[],
                      qx_profile_point *room,
                      double gamma[],
                      qx_descent_end *out);

/* The same for those who want the criterion alone: of the optimum `room` holds log_a and ypy
 * only, which a layout with strata has without any matrix. */
qx_status qx_reml_search(qx_ctx *cx,
                         const qx_profile *profile,
                         qx_profile_point *room,
                         double gamma[],
                         qx_descent_end *out);

/* The same as qx_reml_fit from the gamma that is handed in. */
qx_status qx_reml_refit(qx_ctx *cx,
                        const qx_profile *profile,
                        const bool zero[],
                        qx_profile_point *room,
                        double gamma[],
                        qx_descent_end *out);

/* Solves A x = rhs for a small positive semidefinite A (k x k, destroyed; scaled inside).
 * Directions that A does not see are left out (generalised inverse). `out` = the inverse,
 * k x k. QX_E_NUMERIC. */
qx_status qx_small_inverse(qx_ctx *cx, qx_mat A, qx_mat out);

/* Did the descent run off to where nothing varies within the smallest units? Then the
 * ratios are moved back to where estimates are still well computed. */
bool qx_reml_without_residual(const qx_descent_end *end, size_t m, double gamma[]);

#endif
