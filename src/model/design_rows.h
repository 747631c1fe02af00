/* model/design_rows.h - the different rows of X. Private to model/.
 *
 * Rows that agree in every factor and covariate of the fixed terms have equal rows of X.
 * Most trials have few different ones (treatments), whatever the number of observations:
 * with their counts they hold all of X'X, and least squares needs the mean of y in each. */
#ifndef QX_MODEL_DESIGN_ROWS_H
#define QX_MODEL_DESIGN_ROWS_H

#include "model/alike.h"
#include "model/design.h"

/* The sets of rows that agree in all factors and numbers of the terms. Cost O(n) for each. */
qx_status qx_design_alike(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_frame *frame,
                          size_t term_count,
                          const qx_term term[],
                          qx_alike *out);

/* qx_design_make, but compact where X is large and has few different rows. */
qx_status qx_design_make_compact(qx_ctx *cx,
                                 qx_arena *arena,
                                 const qx_frame *frame,
                                 size_t term_count,
                                 const qx_term term[],
                                 qx_design *out);

/* The sets and different rows (sets x p) of a design, whichever form it has; `a` and rows
 * are in `arena` or the design's own. */
qx_status qx_design_rows(
    qx_ctx *cx, qx_arena *arena, const qx_design *d, qx_alike *a, qx_mat *rows);

/* Entry (i, j) of X. */
double qx_design_entry(const qx_design *d, size_t i, size_t j);

/* out (n) = X beta. */
qx_status
qx_design_times(qx_ctx *cx, const qx_design *d, const double beta[], double out[]);

/* Column j < p of Q, X = QR (n). */
qx_status qx_design_basis(qx_ctx *cx, const qx_design *d, size_t j, double out[]);

/* y = QQ'y + r. full: least-squares coefficients of all columns, 0 for aliased ones;
 * effects: Q'y (p); r (n; may be y). full and effects may be NULL. */
qx_status qx_design_split(qx_ctx *cx,
                          const qx_design *d,
                          const double y[],
                          double full[],
                          double effects[],
                          double r[]);

/* Numbers of room that qx_design_project needs. */
size_t qx_design_room(const qx_design *d);

/* x (n) := a vector whose inner products with others made so are those of Mx, M = I - QQ'.
 * For loops that ask for them again and again. */
void qx_design_project(const qx_design *d, double x[], double room[]);

/* The diagonal of QQ' (n). QX_E_NOMEM. */
qx_status qx_design_leverage(qx_ctx *cx, const qx_design *d, double out[]);

#endif
