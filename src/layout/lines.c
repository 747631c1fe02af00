#include "layout/lines.h"

#include <math.h>
#include <string.h>

static bool inside(const qx_drawing *d, size_t line)
{
    return d->stratum->group_count > 0 &&
           qx_plan_above(d->plan, line, d->stratum->group[0]);
}

qx_status qx_lines_find(qx_drawing *d, qx_lines *l)
{
    const qx_stratum *s = d->stratum;
    l->cells = d->group_count * s->row_held * s->column_held;
    QX_NEW(d->cx, l->row, d->plots);
    QX_NEW(d->cx, l->column, d->plots);
    QX_NEW(d->cx, l->cell, l->cells);
    QX_TRY(qx_drawing_codes(d, 1, &s->rows, l->row, &l->rows));
    QX_TRY(qx_drawing_codes(d, 1, &s->columns, l->column, &l->columns));
    l->row_inside = inside(d, s->rows);
    l->column_inside = inside(d, s->columns);
    for (size_t i = 0; i < l->cells; i++) {
        l->cell[i] = QX_NO_PLOT;
    }
    for (size_t i = 0; i < d->plots; i++) {
        const size_t row = qx_drawing_line(d, i, s->rows);
        const size_t column = qx_drawing_line(d, i, s->columns);
        l->cell[(d->group[i] * s->row_held + row) * s->column_held + column] = i;
    }
    return QX_OK;
}

/* --- which lines may change places --- */

static bool is_gap(const qx_drawing *d, const qx_lines *l, size_t g, size_t r, size_t c)
{
    const qx_stratum *s = d->stratum;
    return l->cell[(g * s->row_held + r) * s->column_held + c] == QX_NO_PLOT;
}

/* Have lines a and b of rectangle g their gaps at the same places? */
static bool
alike_in(const qx_drawing *d, const qx_lines *l, bool rows, size_t g, size_t a, size_t b)
{
    const size_t across = rows ? d->stratum->column_held : d->stratum->row_held;
    for (size_t i = 0; i < across; i++) {
        const bool at_a = rows ? is_gap(d, l, g, a, i) : is_gap(d, l, g, i, a);
        const bool at_b = rows ? is_gap(d, l, g, b, i) : is_gap(d, l, g, i, b);
        if (at_a != at_b) {
            return false;
        }
    }
    return true;
}

static bool
alike(const qx_drawing *d, const qx_lines *l, bool rows, size_t g, size_t a, size_t b)
{
    const bool own = rows ? l->row_inside : l->column_inside;
    bool same = alike_in(d, l, rows, g, a, b);
    for (size_t k = 0; same && !own && k < d->group_count; k++) {
        same = alike_in(d, l, rows, k, a, b);
    }
    return same;
}

static bool rectangles_alike(const qx_drawing *d, const qx_lines *l, size_t a, size_t b)
{
    const size_t cells = d->stratum->row_held * d->stratum->column_held;
    for (size_t i = 0; i < cells; i++) {
        if ((l->cell[a * cells + i] == QX_NO_PLOT) !=
            (l->cell[b * cells + i] == QX_NO_PLOT)) {
            return false;
        }
    }
    return true;
}

/* Shuffles 0 ... n-1 among those of one class; class[i] is the first that i is like. */
static void shuffle_classes(
    qx_drawing *d, size_t n, const size_t class[], size_t member[], size_t order[])
{
    for (size_t c = 0; c < n; c++) {
        size_t count = 0;
        for (size_t i = c; i < n && class[c] == c; i++) {
            if (class[i] == c) {
                member[count++] = i;
            }
        }
        qx_rng_shuffle(&d->rng, count, member);
        count = 0;
        for (size_t i = c; i < n && class[c] == c; i++) {
            if (class[i] == c) {
                order[i] = member[count++];
            }
        }
    }
}

static qx_status
order_lines(qx_drawing *d, const qx_lines *l, bool rows, size_t held, size_t **out)
{
    const bool own = rows ? l->row_inside : l->column_inside;
    size_t *class = NULL;
    size_t *member = NULL;
    QX_NEW(d->cx, *out, d->group_count * held);
    QX_NEW(d->cx, class, held);
    QX_NEW(d->cx, member, held);
    for (size_t g = 0; g < d->group_count; g++) {
        size_t *order = *out + g * held;
        if (!own && g > 0) {
            memcpy(order, *out, held * sizeof *order);
            continue;
        }
        for (size_t i = 0; i < held; i++) {
            class[i] = i;
            for (size_t k = 0; class[i] == i && k < i; k++) {
                class[i] = class[k] == k && alike(d, l, rows, g, k, i) ? k : i;
            }
        }
        shuffle_classes(d, held, class, member, order);
    }
    return QX_OK;
}

static qx_status order_rectangles(qx_drawing *d, const qx_lines *l, size_t **out)
{
    size_t *class = NULL;
    size_t *member = NULL;
    QX_NEW(d->cx, *out, d->group_count);
    QX_NEW(d->cx, class, d->group_count);
    QX_NEW(d->cx, member, d->group_count);
    for (size_t g = 0; g < d->group_count; g++) {
        class[g] = g;
        for (size_t k = 0; class[g] == g && k < g; k++) {
            class[g] = class[k] == k && rectangles_alike(d, l, k, g) ? k : g;
        }
    }
    shuffle_classes(d, d->group_count, class, member, *out);
    return QX_OK;
}

/* Columns as they are, or mirrored. */
static qx_status mirror_columns(qx_drawing *d, size_t held, size_t **out)
{
    const bool mirrored = qx_rng_below(&d->rng, 2) == 1;
    QX_NEW(d->cx, *out, d->group_count * held);
    for (size_t i = 0; i < d->group_count * held; i++) {
        (*out)[i] = mirrored ? held - 1 - i % held : i % held;
    }
    return QX_OK;
}

qx_status
qx_lines_shuffle(qx_drawing *d, const qx_lines *l, bool columns_stay, qx_line_orders *out)
{
    const qx_stratum *s = d->stratum;
    QX_TRY(order_rectangles(d, l, &out->group));
    QX_TRY(order_lines(d, l, true, s->row_held, &out->row));
    return columns_stay ? mirror_columns(d, s->column_held, &out->column)
                        : order_lines(d, l, false, s->column_held, &out->column);
}

size_t qx_lines_source(const qx_drawing *d,
                       const qx_lines *l,
                       const qx_line_orders *o,
                       size_t plot)
{
    const qx_stratum *s = d->stratum;
    const size_t g = d->group[plot];
    const size_t r = o->row[g * s->row_held + qx_drawing_line(d, plot, s->rows)];
    const size_t c = o->column[g * s->column_held + qx_drawing_line(d, plot, s->columns)];
    return l->cell[(o->group[g] * s->row_held + r) * s->column_held + c];
}

/* --- what is left of plots --- */

#define SINGULAR 1e-9 /* a pivot below: the column is told by those before it */

typedef struct leaving {
    const qx_lines *l;
    size_t n, rows, columns;
    size_t *size;  /* plots of each row */
    double *meets; /* rows x columns: plots of the row in the column */
    double *L;     /* columns x columns, lower: S = L L', zero columns where singular */
    double *y;     /* n x columns: L y_p = f_p */
} leaving;

/* S = Z'(I - P_rows) Z of the columns. */
static void form_columns(const leaving *w)
{
    const size_t c = w->columns;
    for (size_t p = 0; p < w->n; p++) {
        w->L[w->l->column[p] * (c + 1)] += 1;
    }
    for (size_t r = 0; r < w->rows; r++) {
        const double *row = w->meets + r * c;
        for (size_t i = 0; i < c; i++) {
            for (size_t j = 0; j < c; j++) {
                w->L[i * c + j] -= row[i] * row[j] / (double)w->size[r];
            }
        }
    }
}

static void factor_columns(const leaving *w)
{
    const size_t c = w->columns;
    for (size_t j = 0; j < c; j++) {
        double *row_j = w->L + j * c;
        double pivot = row_j[j];
        for (size_t k = 0; k < j; k++) {
            pivot -= row_j[k] * row_j[k];
        }
        row_j[j] = pivot > SINGULAR ? sqrt(pivot) : 0;
        for (size_t i = j + 1; i < c; i++) {
            double *row_i = w->L + i * c;
            double sum = row_i[j];
            for (size_t k = 0; k < j; k++) {
                sum -= row_i[k] * row_j[k];
            }
            row_i[j] = row_j[j] > 0 ? sum / row_j[j] : 0;
        }
    }
}

static void solve_plot(const leaving *w, size_t p)
{
    const size_t c = w->columns;
    const size_t r = w->l->row[p];
    double *y = w->y + p * c;
    for (size_t j = 0; j < c; j++) {
        double f =
            (w->l->column[p] == j ? 1 : 0) - w->meets[r * c + j] / (double)w->size[r];
        for (size_t k = 0; k < j; k++) {
            f -= w->L[j * c + k] * y[k];
        }
        y[j] = w->L[j * (c + 1)] > 0 ? f / w->L[j * (c + 1)] : 0;
    }
}

static void fill_left(const leaving *w, double out[])
{
    for (size_t p = 0; p < w->n; p++) {
        for (size_t q = 0; q <= p; q++) {
            double sum = p == q ? 1 : 0;
            sum -= w->l->row[p] == w->l->row[q] ? 1 / (double)w->size[w->l->row[p]] : 0;
            for (size_t k = 0; k < w->columns; k++) {
                sum -= w->y[p * w->columns + k] * w->y[q * w->columns + k];
            }
            out[p * w->n + q] = out[q * w->n + p] = sum;
        }
    }
}

qx_status qx_lines_left(qx_drawing *d, const qx_lines *l, double **out)
{
    leaving w = {.l = l, .n = d->plots, .rows = l->rows, .columns = l->columns};
    if (d->plots > QX_GAPS_IN_MOST) {
        return qx_fail(d->cx,
                       QX_E_INPUT,
                       "rows and columns with gaps hold %zu trees; expected %zu at most, "
                       "or blocks",
                       d->plots,
                       QX_GAPS_IN_MOST);
    }
    QX_NEW(d->cx, *out, d->plots * d->plots);
    QX_NEW(d->cx, w.size, w.rows);
    QX_NEW(d->cx, w.meets, w.rows * w.columns);
    QX_NEW(d->cx, w.L, w.columns * w.columns);
    QX_NEW(d->cx, w.y, w.n * w.columns);
    for (size_t p = 0; p < w.n; p++) {
        w.size[l->row[p]]++;
        w.meets[l->row[p] * w.columns + l->column[p]] += 1;
    }
    form_columns(&w);
    factor_columns(&w);
    for (size_t p = 0; p < w.n; p++) {
        solve_plot(&w, p);
    }
    fill_left(&w, *out);
    return QX_OK;
}
