/* model/glmm_inner.h - how a fit of model/glmm.h is laid out. Inner header of model/.
 *
 * Rows that have the same row of X and the same units are joined where the family allows it
 * (binomial, Poisson): sums of k and n say as much as the single rows. X of the joined rows
 * is orthogonalised, X T with columns of mean square 1, and the engine sees that; beta = T
 * gamma. Under a hypothesis L beta = 0 the columns are X T N, N the null space of L T. */
#ifndef QX_MODEL_GLMM_INNER_H
#define QX_MODEL_GLMM_INNER_H

#include "model/glmm.h"
#include "model/laplace_inner.h"

/* What does not depend on the response. */
typedef struct qx_glmm_rows {
    size_t n;             /* rows of the engine */
    size_t rows;          /* rows of the data */
    const size_t *group;  /* rows: row of the engine; with `copies` the first of them */
    const size_t *copies; /* rows: how many rows of the engine, or NULL: one each */
    const double *weight; /* n, or NULL */
    const double *size;   /* n: sums, shares only */
    const double *log_factorial; /* of 0, 1, ... below table */
    size_t table;
} qx_glmm_rows;

struct qx_glmm_inner {
    const double *k, *size, *times; /* rows of the data; copies */
    qx_glmm_rows rows;
    qx_family_rows data; /* of the engine, for k */
    qx_laplace_problem problem;
    const qx_laplace_plan *plan;
    qx_mat X;         /* n x columns: X T (N) of the engine */
    qx_mat T;         /* p x p: beta = T gamma */
    qx_mat N;         /* p x columns: gamma = N times the engine's; 0 x 0: gamma itself */
    const bool *held; /* length of the engine's x: fixed parameters, or NULL */
    const bool
        *doubled;       /* m: terms that cannot be told from a smaller one: held at nil */
    qx_laplace_fit fit; /* in the engine's coordinates */
    bool restricted;
    bool quick; /* as the spec says */
};

/* Half the squared last step of a quick fit, in units of log L. */
#define QX_GLMM_QUICK 1e-8

/* Codes, level counts and names (fit->component) of the m random terms, that of QX_EXTRA_UNIT
 * last; codes in the frame or in scratch. */
qx_status qx_glmm_units(qx_ctx *cx,
                        const qx_glmm_spec *spec,
                        qx_glmm *fit,
                        const uint32_t *code[],
                        size_t levels[]);

/* Which terms the data cannot show (doubled: m, nil at first), with a note each. */
qx_status qx_glmm_doubled(qx_ctx *cx,
                          qx_glmm *fit,
                          const uint32_t *const code[],
                          const size_t levels[],
                          bool doubled[]);

/* Joins the rows (and makes copies for QX_EXTRA_UNIT with `times`): inner->rows, the codes
 * of the m random terms by row of the engine, and its X (not yet orthogonal). */
qx_status qx_glmm_join(qx_ctx *cx,
                       const qx_glmm_spec *spec,
                       qx_glmm *fit,
                       const uint32_t *const code[],
                       const uint32_t *engine_code[],
                       qx_mat *X);

/* The engine's data for responses k, in `arena` (scratch is allowed). */
qx_status qx_glmm_data(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_glmm *fit,
                       const double k[],
                       qx_family_rows *out);

/* Start from the data alone: weighted least squares on links of k, moderate standard
 * deviations and spread. x: length of the engine's. */
qx_status qx_glmm_start(qx_ctx *cx,
                        const struct qx_glmm_inner *inner,
                        const qx_family *family,
                        const qx_family_rows *data,
                        double x[]);

/* As qx_laplace_maximise, without a rewind of its own: `arena` may be the scratch. */
qx_status qx_glmm_maximise(qx_ctx *cx,
                           qx_arena *arena,
                           const struct qx_glmm_inner *inner,
                           const qx_family *family,
                           const qx_family_rows *data,
                           const double start[],
                           const qx_laplace_options *options,
                           qx_laplace_fit *out);

/* Fills the result from inner->fit. */
qx_status qx_glmm_estimates(qx_ctx *cx, const qx_glmm_spec *spec, qx_glmm *fit);

/* Null space of the r rows in L (r x p): N, p x (p - r), orthonormal columns; with `whole`
 * the r columns of the row space after them. QX_E_RANK. */
qx_status qx_null_space(qx_ctx *cx, qx_arena *arena, qx_mat L, bool whole, qx_mat *out);

#endif
