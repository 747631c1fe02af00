/* model/design.h - fixed terms to the columns of X, and what is estimable.
 *
 * X is n x p in treatment coding (first level of each factor is the reference), intercept
 * first, terms in their order; columns that depend on those before them are aliased and
 * left out (their terms are noted). A covariate is used as it is given for X; internally
 * centred and scaled for the numerics where needed.
 *
 * A compact design keeps a large X (many rows, few different ones) as its different rows;
 * what needs X by rows of data asks model/design_rows.h, which knows both forms.
 *
 * The reference grid is every combination of the levels of all factors in the fixed part,
 * each with equal weight, covariates at their mean: means, marginal tests and contrasts
 * are rows over the p kept columns made from it. */
#ifndef QX_MODEL_DESIGN_H
#define QX_MODEL_DESIGN_H

#include <stdbool.h>

#include "base/ctx.h"
#include "model/frame.h"
#include "numeric/qr.h"

typedef struct qx_design {
    const qx_frame *frame;   /* borrowed */
    size_t term_count;       /* as asked for, without the intercept */
    const qx_term *term;     /* copy */
    size_t n, p;             /* p kept columns, intercept included */
    qx_mat X;                /* n x p; not there in a compact design: */
    const uint32_t *row_of;  /* n: which of the different rows; NULL when X is there */
    const double *row_count; /* how many rows of data each stands for */
    qx_mat rows;             /* the different rows x p */
    const char *const *name; /* p: "intercept", "angle=60", "pinch=early:angle=60" */
    const size_t *term_of;   /* p: term number; QX_NO_COLUMN for the intercept */
    const size_t *term_df; /* term_count: kept columns of each term (0: aliased whole) */
    size_t full;           /* columns before aliased ones were left out */
    const size_t *kept;    /* p: their numbers among the full columns */
    qx_qr qr; /* of the full X; with row_of: of the rows times the roots of row_count */
    const struct qx_design_inner *inner; /* the reference grid; private to model/ */
} qx_design;

/* Everything in `arena`. Aliased terms are told as notes on cx. QX_E_SHAPE, QX_E_NOMEM. */
QX_API qx_status qx_design_make(qx_ctx *cx,
                                qx_arena *arena,
                                const qx_frame *frame,
                                size_t term_count,
                                const qx_term term[],
                                qx_design *out);

/* The row (length p) whose product with beta is the equal-weighted mean of the cells with
 * the given levels of the given factors (frame factor numbers); factors not named are
 * averaged over. `estimable` says whether it may be reported: whether the model that was
 * asked for gives it, with every interaction, also one that has no column left for want of
 * data in some cells. Covariates at their means. */
QX_API qx_status qx_design_mean(qx_ctx *cx,
                                const qx_design *design,
                                size_t factor_count,
                                const size_t factor[],
                                const size_t level[],
                                double row[],
                                bool *estimable);

/* Cells of some factors, weighted. */
typedef struct qx_design_cells {
    size_t factor_count;
    const size_t *factor; /* frame factor numbers */
    size_t count;
    const size_t *level;  /* count x factor_count, row-major */
    const double *weight; /* count; NULL: each counts once */
} qx_design_cells;

/* The weighted sum of such means as one row; what cells lack of being estimable may cancel
 * (an effect of blocks in a difference), so `estimable` is judged for the sum. QX_E_ARG for
 * a level that is not there. */
QX_API qx_status qx_design_combination(qx_ctx *cx,
                                       const qx_design *design,
                                       const qx_design_cells *cells,
                                       double row[],
                                       bool *estimable);

/* Rows (num x p; num <= term_df) of the marginal hypothesis "term is nil": equal-weighted
 * over the other factors. `out` in scratch-independent `arena`. Not estimable rows are left
 * out and told as a note. */
QX_API qx_status qx_design_marginal(
    qx_ctx *cx, qx_arena *arena, const qx_design *design, size_t term, qx_mat *out);

/* Rows of the sequential hypothesis: the term after those before it (forward Doolittle on
 * X'X: rows of the triangular factor that belong to the term). */
QX_API qx_status qx_design_sequential(
    qx_ctx *cx, qx_arena *arena, const qx_design *design, size_t term, qx_mat *out);

#endif
