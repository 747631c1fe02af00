#include "model/design.h"

#include <math.h>
#include <string.h>

#include "model/design_inner.h"
#include "model/design_rows.h"
#include "numeric/sums.h"

/* Numbers of X (8 MB) up to which all its rows are kept; beyond, the different ones, if they
 * are at most one of this many. */
#define WHOLE_MOST ((size_t)1000000)
#define ROWS_SHARE 4

size_t qx_term_columns(const qx_frame *frame, const qx_term *term)
{
    size_t columns = 1;
    for (size_t i = 0; i < term->factor_count; i++) {
        const size_t levels = frame->factor[term->factor[i]].level_count;
        columns *= levels > 0 ? levels - 1 : 0;
    }
    return columns;
}

/* The column of the term in which this row is not zero, counted in the term; false when a
 * level is the reference. The first factor runs fastest. */
static bool
row_column(const qx_frame *frame, const qx_term *term, size_t row, size_t *out)
{
    size_t at = 0;
    size_t stride = 1;
    for (size_t i = 0; i < term->factor_count; i++) {
        const qx_factor *f = &frame->factor[term->factor[i]];
        if (f->code[row] == 0) {
            return false;
        }
        at += (f->code[row] - 1) * stride;
        stride *= f->level_count - 1;
    }
    *out = at;
    return true;
}

/* Row `to` of X is that of data row `row`. */
static void fill_row(const qx_frame *frame,
                     size_t term_count,
                     const qx_term term[],
                     size_t row,
                     qx_mat X,
                     size_t to)
{
    size_t first = 1;
    QX_AT(X, to, 0) = 1.0;
    for (size_t t = 0; t < term_count; t++) {
        const size_t number = term[t].number;
        size_t at;
        if (row_column(frame, &term[t], row, &at)) {
            QX_AT(X, to, first + at) =
                number == QX_NO_COLUMN ? 1.0 : frame->number[number].value[row];
        }
        first += qx_term_columns(frame, &term[t]);
    }
}

/* "pinch=early:angle=60"; a unit's levels are told by label, or by number. */
static qx_status column_name(qx_ctx *cx,
                             qx_arena *arena,
                             const qx_frame *frame,
                             const qx_term *term,
                             size_t column,
                             const char **out)
{
    const char *name = "";
    for (size_t i = 0; name != NULL && i < term->factor_count; i++) {
        const qx_factor *f = &frame->factor[term->factor[i]];
        const size_t level = 1 + column % (f->level_count - 1);
        const char *join = i > 0 ? ":" : "";
        column /= f->level_count - 1;
        const char *const *text = f->level != NULL ? f->level : f->label;
        name = text != NULL
                   ? qx_arena_printf(arena, "%s%s%s=%s", name, join, f->name, text[level])
                   : qx_arena_printf(arena, "%s%s%s=%zu", name, join, f->name, level + 1);
    }
    if (name != NULL && term->number != QX_NO_COLUMN) {
        name = qx_arena_printf(arena,
                               "%s%s%s",
                               name,
                               term->factor_count > 0 ? ":" : "",
                               frame->number[term->number].name);
    }
    *out = name;
    return name != NULL ? QX_OK
                        : qx_fail(cx, QX_E_NOMEM, "no memory for a column's name");
}

/* Names, term numbers and counts of the kept columns. */
static qx_status describe(qx_ctx *cx, qx_arena *arena, qx_design *d)
{
    const char **name;
    size_t *term_of, *term_df;
    QX_NEW_IN(cx, arena, name, d->p);
    QX_NEW_IN(cx, arena, term_of, d->p);
    QX_NEW_IN(cx, arena, term_df, d->term_count);
    name[0] = "intercept";
    term_of[0] = QX_NO_COLUMN;
    size_t first = 1;
    size_t j = 1;
    for (size_t t = 0; t < d->term_count; t++) {
        const size_t columns = qx_term_columns(d->frame, &d->term[t]);
        for (; j < d->p && d->kept[j] < first + columns; j++) {
            QX_TRY(column_name(
                cx, arena, d->frame, &d->term[t], d->kept[j] - first, &name[j]));
            term_of[j] = t;
            term_df[t]++;
        }
        QX_TRY(qx_design_note_aliased(cx, d, t, columns, term_df[t]));
        first += columns;
    }
    d->name = name;
    d->term_of = term_of;
    d->term_df = term_df;
    return QX_OK;
}

/* How `fine` lies in `coarse`: parent[l] is the coarse level of fine level l; false when
 * some fine level is seen in two coarse ones or in none. */
static bool
nested_in(size_t n, const qx_factor *fine, const qx_factor *coarse, uint32_t parent[])
{
    for (size_t l = 0; l < fine->level_count; l++) {
        parent[l] = UINT32_MAX;
    }
    for (size_t i = 0; i < n; i++) {
        uint32_t *at = &parent[fine->code[i]];
        if (*at != UINT32_MAX && *at != coarse->code[i]) {
            return false;
        }
        *at = coarse->code[i];
    }
    for (size_t l = 0; l < fine->level_count; l++) {
        if (parent[l] == UINT32_MAX) {
            return false;
        }
    }
    return true;
}

/* Which factors stand in X. */
static qx_status list_used(qx_ctx *cx, const qx_design *d, bool **out)
{
    QX_NEW(cx, *out, d->frame->factor_count);
    for (size_t t = 0; t < d->term_count; t++) {
        for (size_t i = 0; i < d->term[t].factor_count; i++) {
            (*out)[d->term[t].factor[i]] = true;
        }
    }
    return QX_OK;
}

/* The parents of every unit in X inside every larger unit in X. */
static qx_status unit_parents(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_design *d,
                              const bool used[],
                              const uint32_t *const **out)
{
    const size_t count = d->frame->factor_count;
    const uint32_t **parent;
    QX_NEW_IN(cx, arena, parent, count * count);
    for (size_t f = 0; f < count; f++) {
        const qx_factor *fine = &d->frame->factor[f];
        for (size_t g = 0; g < count; g++) {
            const qx_factor *coarse = &d->frame->factor[g];
            uint32_t *holder;
            if (!used[f] || !used[g] || fine->level != NULL || coarse->level != NULL ||
                coarse->level_count >= fine->level_count) {
                continue;
            }
            QX_NEW_IN(cx, arena, holder, fine->level_count);
            if (nested_in(d->n, fine, coarse, holder)) {
                parent[f + g * count] = holder;
            }
        }
    }
    *out = parent;
    return QX_OK;
}

/* Shares of the levels of one unit: those of the smallest unit around it, split evenly
 * inside. `weight` has the larger units already. */
static qx_status unit_weights(qx_ctx *cx,
                              const qx_frame *frame,
                              size_t which,
                              const uint32_t *const parent[],
                              const double *const weight[],
                              double out[])
{
    const size_t levels = frame->factor[which].level_count;
    size_t around = QX_NO_COLUMN;
    size_t *children;
    for (size_t g = 0; g < frame->factor_count; g++) {
        if (parent[which + g * frame->factor_count] != NULL && weight[g] != NULL &&
            (around == QX_NO_COLUMN ||
             frame->factor[g].level_count > frame->factor[around].level_count)) {
            around = g;
        }
    }
    if (around == QX_NO_COLUMN) {
        return QX_OK;
    }
    const uint32_t *holder = parent[which + around * frame->factor_count];
    QX_NEW(cx, children, frame->factor[around].level_count);
    for (size_t l = 0; l < levels; l++) {
        children[holder[l]]++;
    }
    for (size_t l = 0; l < levels; l++) {
        out[l] = weight[around][holder[l]] / (double)children[holder[l]];
    }
    return QX_OK;
}

/* The factor in X without weights yet that has the fewest levels, or QX_NO_COLUMN: larger
 * units come before those inside them. */
static size_t
next_factor(const qx_frame *frame, const bool used[], const double *const weight[])
{
    size_t next = QX_NO_COLUMN;
    for (size_t f = 0; f < frame->factor_count; f++) {
        if (used[f] && weight[f] == NULL &&
            (next == QX_NO_COLUMN ||
             frame->factor[f].level_count < frame->factor[next].level_count)) {
            next = f;
        }
    }
    return next;
}

static qx_status grid_weights(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_design *d,
                              struct qx_design_inner *inner)
{
    const double **weight;
    bool *used;
    QX_NEW_IN(cx, arena, weight, d->frame->factor_count);
    QX_TRY(list_used(cx, d, &used));
    QX_TRY(unit_parents(cx, arena, d, used, &inner->parent));
    for (size_t f = next_factor(d->frame, used, weight); f != QX_NO_COLUMN;
         f = next_factor(d->frame, used, weight)) {
        const size_t levels = d->frame->factor[f].level_count;
        double *share;
        QX_NEW_IN(cx, arena, share, levels);
        for (size_t l = 0; l < levels; l++) {
            share[l] = 1.0 / (double)levels;
        }
        QX_TRY(unit_weights(cx, d->frame, f, inner->parent, weight, share));
        weight[f] = share;
    }
    inner->weight = weight;
    return QX_OK;
}

/* Aliased columns that a mean must not lean on, by number. What is estimable is judged
 * under the model that was asked for: an interaction that lost all its columns to empty
 * cells still counts, or means over an empty cell would rest on a sum of main effects that
 * nobody assumed. A covariate that is aliased whole is out of the model instead (told):
 * nothing can be adjusted by it. */
static size_t list_bound(const qx_design *d, size_t bound[])
{
    size_t count = 0;
    size_t first = 1;
    for (size_t t = 0; t < d->term_count; t++) {
        const size_t columns = qx_term_columns(d->frame, &d->term[t]);
        const bool asked = d->term_df[t] > 0 || d->term[t].number == QX_NO_COLUMN;
        for (size_t j = first; asked && j < first + columns; j++) {
            if (d->qr.aliased[j]) {
                bound[count++] = j;
            }
        }
        first += columns;
    }
    return count;
}

/* R_kk x = column `j` of R, by back substitution. */
static void dependence_of(const qx_qr *qr, size_t j, double x[])
{
    for (size_t i = qr->rank; i-- > 0;) {
        double sum = QX_AT(qr->R, i, j);
        for (size_t k = i + 1; k < qr->rank; k++) {
            sum -= QX_AT(qr->R, i, qr->kept[k]) * x[k];
        }
        x[i] = sum / QX_AT(qr->R, i, qr->kept[i]);
    }
}

static qx_status prepare_grid(qx_ctx *cx, qx_arena *arena, qx_design *d)
{
    struct qx_design_inner *inner;
    double *centre;
    size_t *bound;
    QX_NEW_IN(cx, arena, inner, 1);
    QX_NEW_IN(cx, arena, centre, d->frame->number_count);
    QX_NEW_IN(cx, arena, bound, d->full);
    for (size_t k = 0; k < d->frame->number_count; k++) {
        centre[k] = qx_mean(d->n, d->frame->number[k].value);
    }
    QX_TRY(grid_weights(cx, arena, d, inner));
    inner->centre = centre;
    inner->bound = bound;
    inner->bound_count = list_bound(d, bound);
    QX_TRY(qx_mat_new(cx, arena, d->p, inner->bound_count, &inner->dependence));
    for (size_t k = 0; k < inner->bound_count; k++) {
        dependence_of(&d->qr, bound[k], &QX_AT(inner->dependence, 0, k));
    }
    d->inner = inner;
    return QX_OK;
}

/* All rows of X, and the columns that are kept. */
static qx_status make_whole(qx_ctx *cx, qx_arena *arena, qx_design *d)
{
    qx_mat full;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), d->n, d->full, &full));
    for (size_t i = 0; i < d->n; i++) {
        fill_row(d->frame, d->term_count, d->term, i, full, i);
    }
    QX_TRY(qx_qr_factor(cx, arena, full, &d->qr));
    d->p = d->qr.rank;
    d->kept = d->qr.kept;
    QX_TRY(qx_mat_new(cx, arena, d->n, d->p, &d->X));
    for (size_t j = 0; j < d->p; j++) {
        memcpy(&QX_AT(d->X, 0, j), &QX_AT(full, 0, d->kept[j]), d->n * sizeof *full.at);
    }
    return QX_OK;
}

/* The different rows alone: X'X is that of the rows, each times the root of its count. */
static qx_status make_rows(qx_ctx *cx, qx_arena *arena, const qx_alike *a, qx_design *d)
{
    const uint32_t *first;
    double *count;
    qx_mat full;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), a->count, d->full, &full));
    QX_TRY(qx_alike_first(cx, qx_ctx_scratch(cx), a, &first));
    QX_NEW_IN(cx, arena, count, a->count);
    for (size_t i = 0; i < a->n; i++) {
        count[a->of[i]] += 1.0;
    }
    for (size_t i = 0; i < a->count; i++) {
        fill_row(d->frame, d->term_count, d->term, first[i], full, i);
    }
    for (size_t j = 0; j < d->full; j++) {
        for (size_t i = 0; i < a->count; i++) {
            QX_AT(full, i, j) *= sqrt(count[i]);
        }
    }
    QX_TRY(qx_qr_factor(cx, arena, full, &d->qr));
    d->p = d->qr.rank;
    d->kept = d->qr.kept;
    d->row_of = a->of;
    d->row_count = count;
    QX_TRY(qx_mat_new(cx, arena, a->count, d->p, &d->rows));
    for (size_t i = 0; i < a->count; i++) {
        fill_row(d->frame, d->term_count, d->term, first[i], full, i);
    }
    for (size_t j = 0; j < d->p; j++) {
        memcpy(&QX_AT(d->rows, 0, j),
               &QX_AT(full, 0, d->kept[j]),
               a->count * sizeof *full.at);
    }
    return QX_OK;
}

static qx_status make(qx_ctx *cx, qx_arena *arena, bool compact, qx_design *d)
{
    bool few = false;
    if (compact && d->n >= WHOLE_MOST / d->full) {
        qx_alike a;
        QX_TRY(qx_design_alike(cx, arena, d->frame, d->term_count, d->term, &a));
        few = a.count <= d->n / ROWS_SHARE;
        if (few) {
            QX_TRY(make_rows(cx, arena, &a, d));
        }
    }
    if (!few) {
        QX_TRY(make_whole(cx, arena, d));
    }
    QX_TRY(describe(cx, arena, d));
    return prepare_grid(cx, arena, d);
}

static qx_status make_design(qx_ctx *cx,
                             qx_arena *arena,
                             const qx_frame *frame,
                             size_t term_count,
                             const qx_term term[],
                             bool compact,
                             qx_design *out)
{
    qx_design d = {.frame = frame, .term_count = term_count, .n = frame->n, .full = 1};
    qx_term *copy;
    qx_status status;
    if (frame->n == 0) {
        return qx_fail(cx, QX_E_SHAPE, "there is no row of data to make a model from");
    }
    QX_NEW_IN(cx, arena, copy, term_count);
    for (size_t t = 0; t < term_count; t++) {
        copy[t] = term[t];
        d.full += qx_term_columns(frame, &term[t]);
    }
    d.term = copy;
    if (arena == qx_ctx_scratch(cx)) {
        status = make(cx, arena, compact, &d); /* the caller rewinds */
    } else {
        QX_SCRATCH(cx, status, make(cx, arena, compact, &d));
    }
    QX_TRY(status);
    *out = d;
    return QX_OK;
}

qx_status qx_design_make(qx_ctx *cx,
                         qx_arena *arena,
                         const qx_frame *frame,
                         size_t term_count,
                         const qx_term term[],
                         qx_design *out)
{
    return make_design(cx, arena, frame, term_count, term, false, out);
}

qx_status qx_design_make_compact(qx_ctx *cx,
                                 qx_arena *arena,
                                 const qx_frame *frame,
                                 size_t term_count,
                                 const qx_term term[],
                                 qx_design *out)
{
    return make_design(cx, arena, frame, term_count, term, true, out);
}
