/* The rows over the kept columns that stand for means and hypotheses. */
#include <math.h>
#include <string.h>

#include "model/design.h"
#include "model/design_inner.h"
#include "numeric/eigen.h"

/* A full row counts as estimable when it misses by less than this share of its size: the
 * rows are averages of 0/1 columns, so true ones miss by rounding alone. */
static const double ESTIMABLE_SLACK = 1e-8;

/* A cell, or a slope inside it: levels[f] is the level of frame factor f, or QX_NO_COLUMN
 * for "averaged over"; with `slope` the derivative by that covariate is meant. */
typedef struct cell {
    const size_t *level;
    size_t slope;
} cell;

static double number_part(const qx_design *d, const qx_term *term, const cell *at)
{
    if (at->slope != QX_NO_COLUMN) {
        return term->number == at->slope ? 1.0 : 0.0;
    }
    return term->number == QX_NO_COLUMN ? 1.0 : d->inner->centre[term->number];
}

/* Share of a level of factor f in the cell: all of the level that is held; averaged units
 * keep to the held units around them. */
static double share_of(const qx_design *d, const cell *at, size_t f, size_t level)
{
    const size_t count = d->frame->factor_count;
    if (at->level[f] != QX_NO_COLUMN) {
        return at->level[f] == level ? 1.0 : 0.0;
    }
    const double share = d->inner->weight[f][level];
    for (size_t g = 0; g < count; g++) {
        const uint32_t *parent = d->inner->parent[f + g * count];
        if (parent != NULL && at->level[g] != QX_NO_COLUMN) {
            return parent[level] == at->level[g]
                       ? share / d->inner->weight[g][at->level[g]]
                       : 0.0;
        }
    }
    return share;
}

/* Adds `weight` times the row of a cell over all full columns. */
static void add_cell(const qx_design *d, const cell *at, double weight, double full[])
{
    size_t j = 0;
    full[j++] += at->slope == QX_NO_COLUMN ? weight : 0.0;
    for (size_t t = 0; t < d->term_count; t++) {
        const qx_term *term = &d->term[t];
        const size_t columns = qx_term_columns(d->frame, term);
        const double base = weight * number_part(d, term, at);
        for (size_t c = 0; c < columns; c++) {
            double value = base;
            size_t rest = c;
            for (size_t i = 0; i < term->factor_count; i++) {
                const size_t f = term->factor[i];
                const size_t level = 1 + rest % (d->frame->factor[f].level_count - 1);
                rest /= d->frame->factor[f].level_count - 1;
                value *= share_of(d, at, f, level);
            }
            full[j++] += value;
        }
    }
}

/* What the row misses of being estimable at bound column k. */
static double missing_at(const qx_design *d, const double full[], size_t k)
{
    double miss = full[d->inner->bound[k]];
    for (size_t j = 0; j < d->p; j++) {
        miss -= QX_AT(d->inner->dependence, j, k) * full[d->kept[j]];
    }
    return miss;
}

static double largest(size_t n, const double x[])
{
    double most = 0.0;
    for (size_t i = 0; i < n; i++) {
        most = fmax(most, fabs(x[i]));
    }
    return most;
}

static qx_status combination_row(qx_ctx *cx,
                                 const qx_design *d,
                                 const qx_design_cells *cells,
                                 double row[],
                                 bool *estimable)
{
    double *full;
    size_t *at;
    QX_NEW(cx, full, d->full);
    QX_NEW(cx, at, d->frame->factor_count);
    for (size_t f = 0; f < d->frame->factor_count; f++) {
        at[f] = QX_NO_COLUMN;
    }
    for (size_t c = 0; c < cells->count; c++) {
        for (size_t i = 0; i < cells->factor_count; i++) {
            at[cells->factor[i]] = cells->level[c * cells->factor_count + i];
        }
        add_cell(d,
                 &(cell){at, QX_NO_COLUMN},
                 cells->weight == NULL ? 1.0 : cells->weight[c],
                 full);
    }
    *estimable = true;
    const double slack = ESTIMABLE_SLACK * fmax(1.0, largest(d->full, full));
    for (size_t k = 0; k < d->inner->bound_count; k++) {
        *estimable = *estimable && fabs(missing_at(d, full, k)) < slack;
    }
    for (size_t j = 0; j < d->p; j++) {
        row[j] = full[d->kept[j]];
    }
    return QX_OK;
}

qx_status qx_design_combination(qx_ctx *cx,
                                const qx_design *design,
                                const qx_design_cells *cells,
                                double row[],
                                bool *estimable)
{
    qx_status status;
    for (size_t k = 0; k < cells->count * cells->factor_count; k++) {
        const size_t f = cells->factor[k % cells->factor_count];
        if (f >= design->frame->factor_count ||
            cells->level[k] >= design->frame->factor[f].level_count) {
            return qx_fail(
                cx, QX_E_ARG, "a mean was asked for a level that is not there");
        }
    }
    QX_SCRATCH(cx, status, combination_row(cx, design, cells, row, estimable));
    return status;
}

qx_status qx_design_mean(qx_ctx *cx,
                         const qx_design *design,
                         size_t factor_count,
                         const size_t factor[],
                         const size_t level[],
                         double row[],
                         bool *estimable)
{
    const qx_design_cells one = {
        .factor_count = factor_count, .factor = factor, .count = 1, .level = level};
    return qx_design_combination(cx, design, &one, row, estimable);
}

/* The number of cells of a term's factors, and the levels of the c-th. */
static size_t cell_count(const qx_frame *frame, const qx_term *term)
{
    size_t count = 1;
    for (size_t i = 0; i < term->factor_count; i++) {
        count *= frame->factor[term->factor[i]].level_count;
    }
    return count;
}

/* Share of cell c in hypothesis row r: the product over the factors of "level minus mean
 * of all levels", the rows of sum-to-zero coding; the last level has no row of its own. */
static double
hypothesis_weight(const qx_frame *frame, const qx_term *term, size_t r, size_t c)
{
    double weight = 1.0;
    for (size_t i = 0; i < term->factor_count; i++) {
        const size_t levels = frame->factor[term->factor[i]].level_count;
        const bool same = r % (levels - 1) == c % levels;
        weight *= (same ? 1.0 : 0.0) - 1.0 / (double)levels;
        r /= levels - 1;
        c /= levels;
    }
    return weight;
}

/* All rows of the hypothesis over the full columns: out is full x rows. */
static qx_status hypothesis(qx_ctx *cx, const qx_design *d, size_t term, qx_mat out)
{
    const qx_term *t = &d->term[term];
    const size_t cells = cell_count(d->frame, t);
    size_t *at;
    double *row;
    QX_NEW(cx, at, d->frame->factor_count);
    QX_NEW(cx, row, d->full);
    for (size_t f = 0; f < d->frame->factor_count; f++) {
        at[f] = QX_NO_COLUMN;
    }
    for (size_t c = 0; c < cells; c++) {
        size_t rest = c;
        for (size_t i = 0; i < t->factor_count; i++) {
            at[t->factor[i]] = rest % d->frame->factor[t->factor[i]].level_count;
            rest /= d->frame->factor[t->factor[i]].level_count;
        }
        memset(row, 0, d->full * sizeof *row);
        add_cell(d, &(cell){at, t->number}, 1.0, row);
        for (size_t r = 0; r < out.cols; r++) {
            const double weight = hypothesis_weight(d->frame, t, r, c);
            for (size_t j = 0; j < d->full; j++) {
                QX_AT(out, j, r) += weight * row[j];
            }
        }
    }
    return QX_OK;
}

/* Orthonormal combinations (columns of `keep`, `count` of them) of the rows that miss
 * nothing: the null space of E E', E = what each row misses at each bound column. */
static qx_status
estimable_part(qx_ctx *cx, const qx_design *d, qx_mat rows, qx_mat keep, size_t *count)
{
    const size_t r = rows.cols;
    qx_mat miss, square;
    double *value;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), d->inner->bound_count, r, &miss));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), r, r, &square));
    QX_NEW(cx, value, r);
    for (size_t a = 0; a < r; a++) {
        for (size_t k = 0; k < d->inner->bound_count; k++) {
            QX_AT(miss, k, a) = missing_at(d, &QX_AT(rows, 0, a), k);
        }
    }
    if (largest(miss.rows * miss.cols, miss.at) < ESTIMABLE_SLACK) {
        for (size_t a = 0; a < r; a++) {
            QX_AT(keep, a, a) = 1.0;
        }
        *count = r;
        return QX_OK;
    }
    QX_TRY(qx_mat_crossprod(cx, miss, square));
    QX_TRY(qx_eigen_symmetric(cx, square, value, keep));
    *count = 0;
    while (*count < r && value[*count] < ESTIMABLE_SLACK * value[r - 1]) {
        (*count)++;
    }
    return QX_OK;
}

/* Rows in terms of the kept columns; those that depend on others are left out. */
static qx_status
settle_rows(qx_ctx *cx, qx_arena *arena, const qx_design *d, qx_mat rows, qx_mat *out)
{
    qx_mat keep, kept;
    qx_qr qr;
    size_t count = 0;
    qx_arena *scratch = qx_ctx_scratch(cx);
    QX_TRY(qx_mat_new(cx, scratch, rows.cols, rows.cols, &keep));
    QX_TRY(estimable_part(cx, d, rows, keep, &count));
    QX_TRY(qx_mat_new(cx, scratch, d->p, count, &kept));
    for (size_t a = 0; a < count; a++) {
        for (size_t j = 0; j < d->p; j++) {
            double sum = 0.0;
            for (size_t b = 0; b < rows.cols; b++) {
                sum += QX_AT(rows, d->kept[j], b) * QX_AT(keep, b, a);
            }
            QX_AT(kept, j, a) = sum;
        }
    }
    if (count == 0) {
        return qx_mat_new(cx, arena, 0, d->p, out);
    }
    QX_TRY(qx_qr_factor(cx, scratch, kept, &qr));
    QX_TRY(qx_mat_new(cx, arena, qr.rank, d->p, out));
    for (size_t a = 0; a < qr.rank; a++) {
        for (size_t j = 0; j < d->p; j++) {
            QX_AT(*out, a, j) = QX_AT(kept, j, qr.kept[a]);
        }
    }
    return QX_OK;
}

static qx_status
marginal(qx_ctx *cx, qx_arena *arena, const qx_design *d, size_t term, qx_mat *out)
{
    const size_t columns = qx_term_columns(d->frame, &d->term[term]);
    qx_mat rows;
    if (d->term_df[term] == 0) {
        return qx_mat_new(cx, arena, 0, d->p, out);
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), d->full, columns, &rows));
    QX_TRY(hypothesis(cx, d, term, rows));
    QX_TRY(settle_rows(cx, arena, d, rows, out));
    if (out->rows < d->term_df[term] && d->term[term].factor_count > 0) {
        return qx_note(
            cx,
            "%s: equal-weighted means of its levels are not all estimable from "
            "these data; its test has %zu instead of %zu degrees of freedom.",
            d->term[term].name,
            out->rows,
            columns);
    }
    return QX_OK;
}

qx_status qx_design_marginal(
    qx_ctx *cx, qx_arena *arena, const qx_design *design, size_t term, qx_mat *out)
{
    qx_status status;
    if (term >= design->term_count) {
        return qx_fail(cx, QX_E_ARG, "there is no fixed term number %zu", term);
    }
    if (arena == qx_ctx_scratch(cx)) {
        return marginal(cx, arena, design, term, out); /* the caller rewinds */
    }
    QX_SCRATCH(cx, status, marginal(cx, arena, design, term, out));
    return status;
}

qx_status qx_design_sequential(
    qx_ctx *cx, qx_arena *arena, const qx_design *design, size_t term, qx_mat *out)
{
    if (term >= design->term_count) {
        return qx_fail(cx, QX_E_ARG, "there is no fixed term number %zu", term);
    }
    QX_TRY(qx_mat_new(cx, arena, design->term_df[term], design->p, out));
    for (size_t j = 0, r = 0; j < design->p; j++) {
        if (design->term_of[j] != term) {
            continue;
        }
        const double pivot = QX_AT(design->qr.R, j, design->kept[j]);
        for (size_t k = j; k < design->p; k++) {
            QX_AT(*out, r, k) = QX_AT(design->qr.R, j, design->kept[k]) / pivot;
        }
        r++;
    }
    return QX_OK;
}
