/* model/arrays.h - a fit from plain arrays: codes, a response, nothing else to build.
 *
 *     const qx_codes date = {"date", 3, date_of_each_row};
 *     const qx_codes block = {"block", 4, block_of_each_row};
 *     const qx_arrays data = {.n = 12, .y = length, .fixed_count = 1, .fixed = &date,
 *                             .random_count = 1, .random = &block};
 *     qx_arrays_fit *fit;
 *     qx_status status = qx_arrays_fit_new(cx, &data, &fit);
 *
 * Fixed: all `fixed` factors and all their interactions. Random: one term for each of
 * `random`, from large to small units; the residual is the row. Codes of a nested unit are
 * its own over the whole trial (tree 1 of block 2 is not tree 1 of block 1). For models of
 * another form, covariates and correlated rows build a qx_lmm_spec (model/lmm.h), which this
 * only fills in; `fit` is the same fit.
 *
 * Rows with a missing value are the caller's to leave out. Methods and papers: model/lmm.h,
 * model/compare.h, model/design.h. */
#ifndef QX_MODEL_ARRAYS_H
#define QX_MODEL_ARRAYS_H

#include "model/compare.h"
#include "model/lmm.h"

typedef struct qx_codes {
    const char *name;
    size_t levels;
    const uint32_t *code; /* n entries, 0 ... levels - 1 */
} qx_codes;

typedef struct qx_arrays {
    size_t n;
    const double *y;    /* n, finite */
    size_t fixed_count; /* at most QX_ARRAYS_FIXED */
    const qx_codes *fixed;
    size_t random_count; /* 0: least squares */
    const qx_codes *random;
    qx_df_method df; /* QX_KENWARD_ROGER is 0 */
} qx_arrays;

#define QX_ARRAYS_FIXED 4

typedef struct qx_arrays_fit {
    qx_lmm *fit; /* components, beta, criterion ...: model/lmm.h */
    qx_arena *arena;
} qx_arrays_fit;

/* Fits; everything is copied, so that the arrays may go. Free with qx_arrays_fit_free.
 * QX_E_ARG: no rows, no level, a code that is too large, too many factors. Else: as
 * qx_lmm_fit. */
QX_API qx_status qx_arrays_fit_new(qx_ctx *cx,
                                   const qx_arrays *data,
                                   qx_arrays_fit **out);
QX_API void qx_arrays_fit_free(qx_arrays_fit *fit); /* NULL is accepted */

/* Equal-weighted mean of level `level` of fixed factor `factor` (numbers as in the arrays),
 * in the unit of y. QX_E_ARG; QX_E_RANK: it cannot be estimated from these data. */
QX_API qx_status qx_arrays_mean(
    qx_ctx *cx, const qx_arrays_fit *fit, size_t factor, size_t level, qx_estimate *out);

/* All pairs of levels of a factor, k (k - 1) / 2 of them: (1, 0), (2, 0), (2, 1), (3, 0)...,
 * the later minus the earlier; estimate, p, p_adjusted and simultaneous limits at `level`.
 * Not for QX_ADJUST_DUNNETT (QX_E_ARG). Pairs that cannot be estimated are NAN. */
QX_API qx_status qx_arrays_pairs(qx_ctx *cx,
                                 const qx_arrays_fit *fit,
                                 size_t factor,
                                 qx_adjust adjust,
                                 double level,
                                 qx_comparison out[]);

/* F test of a fixed factor, averaged over the others. QX_E_ARG; num_df 0 and NAN where
 * nothing of it can be estimated. */
QX_API qx_status qx_arrays_test(qx_ctx *cx,
                                const qx_arrays_fit *fit,
                                size_t factor,
                                qx_joint_test *out);

#endif
