/* model/confounded.h - units whose differences the fixed terms take up whole. Private to
 * model/.
 *
 * One plot for each variety: Z_i lies in the space of X, so that the likelihood of the
 * residuals does not see the variance of the plots. Yet y'PX carries it: with Z_i = Q C_i'
 * every estimate l'beta = v'Q'y, R'v = l, has the variance
 *
 *     sigma2 v'(phi_Q + gamma_i C_i'C_i) v
 *
 * with a gamma_i that the data do not know. A row with v'C_i'C_i v > 0 therefore has no
 * standard error and no test: there is no replicate. Rows inside the units (v'C_i' = 0) are
 * what they were. */
#ifndef QX_MODEL_CONFOUNDED_H
#define QX_MODEL_CONFOUNDED_H

#include "model/lmm_inner.h"

/* Adds C'C of one term (levels x p rows of the profile's C) to `sum`, made in `arena` when
 * it is not there yet. */
qx_status qx_confounded_add(qx_ctx *cx, qx_arena *arena, qx_mat C, qx_mat *sum);

/* The same for term `term` of a reduced profile. */
qx_status qx_confounded_add_reduced(
    qx_ctx *cx, qx_arena *arena, const qx_profile *profile, size_t term, qx_mat *sum);

/* Does row'beta rest on differences between such units? QX_E_NOMEM. */
qx_status qx_confounded_row(qx_ctx *cx, const qx_lmm *fit, const double row[], bool *out);

/* Does any row of L? */
qx_status qx_confounded_rows(qx_ctx *cx, const qx_lmm *fit, qx_mat L, bool *out);

#endif
