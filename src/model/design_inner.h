/* model/design_inner.h - what design.c leaves for design_grid.c. Private to model/.
 *
 * An aliased column is a combination of the kept ones before it,
 *
 *     X_aliased = X_kept D,      R_kk D = R_ka   (the triangles of the QR),
 *
 * so c'beta over the full columns is estimable exactly when c_aliased = D' c_kept, and it
 * is then the row c_kept. A covariate that is aliased whole is not in the model and asks for
 * nothing; terms of factors ask for it even when no column of theirs is left, since a mean
 * over an empty cell has no value in the model that was asked for. */
#ifndef QX_MODEL_DESIGN_INNER_H
#define QX_MODEL_DESIGN_INNER_H

#include <stdint.h>

#include "model/design.h"

struct qx_design_inner {
    const double *const
        *weight; /* frame factor_count, level_count each: share of a level in
                                    an equal-weighted mean; NULL for factors not in X */
    const uint32_t *const
        *parent;          /* factor_count^2, [f + g factor_count]: for a unit f inside
                                      unit g the level of g that holds each level of f, else
                                      NULL */
    const double *centre; /* frame number_count: mean of each covariate */
    size_t bound_count;   /* aliased columns that means must agree with */
    const size_t *bound;  /* bound_count: their numbers among the full columns */
    qx_mat dependence;    /* p x bound_count: D */
};

/* Columns of a term before aliased ones are left out. */
size_t qx_term_columns(const qx_frame *frame, const qx_term *term);

/* Tells on cx when not all `columns` of a term (its number) are kept, and why. */
qx_status qx_design_note_aliased(
    qx_ctx *cx, const qx_design *design, size_t term, size_t columns, size_t kept);

#endif
