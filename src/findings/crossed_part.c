#include "findings/crossed_part.h"

/* Factors of a term, then those of the control that are not among them. */
typedef struct grid {
    size_t count, own; /* factors; the first `own` are the term's */
    size_t factor[2 * QX_TERM_FACTORS_MOST];
    size_t levels[2 * QX_TERM_FACTORS_MOST];  /* in the crossed part */
    size_t control[2 * QX_TERM_FACTORS_MOST]; /* level left out, or QX_NO_COLUMN */
} grid;

static size_t place_of(size_t count, const size_t list[], size_t x)
{
    size_t i = 0;
    while (i < count && list[i] != x) {
        i++;
    }
    return i;
}

static void add_factor(const qx_work *w, const qx_added *a, size_t factor, grid *g)
{
    const size_t at = place_of(a->count, a->factor, factor);
    const bool meets = at < a->count;
    g->factor[g->count] = factor;
    g->levels[g->count] = w->data.frame.factor[factor].level_count - (meets ? 1 : 0);
    g->control[g->count++] = meets ? a->level[at] : QX_NO_COLUMN;
}

static grid
make_grid(const qx_work *w, const qx_added *a, size_t count, const size_t factor[])
{
    grid g = {.own = count};
    for (size_t i = 0; i < count; i++) {
        add_factor(w, a, factor[i], &g);
    }
    for (size_t i = 0; i < a->count; i++) {
        if (place_of(count, factor, a->factor[i]) == count) {
            add_factor(w, a, a->factor[i], &g);
        }
    }
    return g;
}

/* Combinations of the factors from ... to - 1. */
static size_t combinations(const grid *g, size_t from, size_t to)
{
    size_t count = 1;
    for (size_t i = from; i < to; i++) {
        count *= g->levels[i];
    }
    return count;
}

/* Place of factor i in combination c among all: the last factor runs fastest. */
static size_t place_in(const grid *g, size_t c, size_t i)
{
    return c / combinations(g, i + 1, g->count) % g->levels[i];
}

static size_t level_in(const grid *g, size_t c, size_t i)
{
    const size_t place = place_in(g, c, i);
    return place + (g->control[i] != QX_NO_COLUMN && place >= g->control[i] ? 1 : 0);
}

/* All combinations of the part; weights are nought. Room for `more` cells behind them. */
static qx_status list_part(qx_work *w,
                           const grid *g,
                           size_t more,
                           size_t **level,
                           double **weight,
                           size_t *count)
{
    *count = combinations(g, 0, g->count);
    QX_NEW(w->cx, *level, (*count + more) * g->count);
    QX_NEW(w->cx, *weight, *count + more);
    for (size_t c = 0; c < *count; c++) {
        for (size_t i = 0; i < g->count; i++) {
            (*level)[c * g->count + i] = level_in(g, c, i);
        }
    }
    return QX_OK;
}

qx_status qx_part_cells(
    qx_work *w, const qx_added *a, size_t count, const size_t factor[], qx_cells *out)
{
    const grid g = make_grid(w, a, count, factor);
    const size_t inside = combinations(&g, g.own, g.count);
    size_t all = 0;
    size_t *level, *own;
    double *weight;
    bool *estimable;
    QX_TRY(list_part(w, &g, 0, &level, &weight, &all));
    const size_t cells = all / inside;
    QX_NEW(w->cx, own, cells * count);
    QX_NEW(w->cx, estimable, cells);
    *out = (qx_cells){.factor_count = count, .factor = factor, .count = cells};
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), w->design->p, cells, &out->row));
    for (size_t k = 0; k < inside; k++) {
        weight[k] = 1.0 / (double)inside;
    }
    for (size_t c = 0; c < cells; c++) {
        const size_t *first = &level[c * inside * g.count];
        const qx_design_cells one = {g.count, g.factor, inside, first, weight};
        QX_TRY(qx_design_combination(
            w->cx, w->design, &one, &QX_AT(out->row, 0, c), &estimable[c]));
        for (size_t i = 0; i < count; i++) {
            own[c * count + i] = first[i];
        }
    }
    out->level = own;
    out->estimable = estimable;
    return QX_OK;
}

/* Share of combination c in row r: "level minus mean of all levels" over the term's own
 * factors, equal weights over the others. */
static double share(const grid *g, size_t r, size_t c)
{
    double weight = 1.0 / (double)combinations(g, g->own, g->count);
    for (size_t i = g->own; i-- > 0;) {
        const bool same = r % (g->levels[i] - 1) == place_in(g, c, i);
        weight *= (same ? 1.0 : 0.0) - 1.0 / (double)g->levels[i];
        r /= g->levels[i] - 1;
    }
    return weight;
}

static size_t hypothesis_rows(const grid *g)
{
    size_t rows = 1;
    for (size_t i = 0; i < g->own; i++) {
        rows *= g->levels[i] - 1;
    }
    return rows;
}

/* Row r of `out` from weighted cells. */
static qx_status
put_row(qx_work *w, const qx_design_cells *cells, size_t r, qx_mat out, bool *estimable)
{
    double *row;
    bool known;
    QX_NEW(w->cx, row, out.cols);
    QX_TRY(qx_design_combination(w->cx, w->design, cells, row, &known));
    *estimable = *estimable && known;
    for (size_t j = 0; j < out.cols; j++) {
        QX_AT(out, r, j) = row[j];
    }
    return QX_OK;
}

qx_status qx_part_hypothesis(
    qx_work *w, const qx_added *a, const qx_term *term, qx_mat *out, bool *estimable)
{
    const grid g = make_grid(w, a, term->factor_count, term->factor);
    size_t count = 0;
    size_t *level;
    double *weight;
    const size_t rows = hypothesis_rows(&g);
    *estimable = true;
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), rows, w->design->p, out));
    if (rows == 0) {
        return QX_OK;
    }
    QX_TRY(list_part(w, &g, 0, &level, &weight, &count));
    for (size_t r = 0; r < rows; r++) {
        for (size_t c = 0; c < count; c++) {
            weight[c] = share(&g, r, c);
        }
        const qx_design_cells cells = {g.count, g.factor, count, level, weight};
        QX_TRY(put_row(w, &cells, r, *out, estimable));
    }
    return QX_OK;
}

qx_status qx_part_against_control(qx_work *w,
                                  const qx_added *a,
                                  size_t count,
                                  const size_t factor[],
                                  qx_mat *out,
                                  bool *estimable)
{
    const grid g = make_grid(w, a, count, factor);
    const size_t outside = combinations(&g, 0, g.own);
    const size_t inside = combinations(&g, g.own, g.count);
    size_t all = 0;
    size_t *level;
    double *weight;
    QX_TRY(list_part(w, &g, outside, &level, &weight, &all));
    for (size_t o = 0; o < outside; o++) { /* the control beside each combination */
        for (size_t i = 0; i < g.count; i++) {
            level[(all + o) * g.count + i] =
                i < g.own ? level_in(&g, o * inside, i) : g.control[i];
        }
    }
    const size_t rows = hypothesis_rows(&g);
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), rows, w->design->p, out));
    *estimable = true;
    for (size_t r = 0; r < rows; r++) {
        for (size_t c = 0; c < all; c++) {
            weight[c] = -share(&g, r, c);
        }
        for (size_t o = 0; o < outside; o++) {
            weight[all + o] = share(&g, r, o * inside) * (double)inside;
        }
        const qx_design_cells cells = {g.count, g.factor, all + outside, level, weight};
        QX_TRY(put_row(w, &cells, r, *out, estimable));
    }
    return QX_OK;
}

/* ---- which combination is the control ------------------------------------------------- */

/* The level of factor g that has exactly the rows of level l of f, or QX_NO_COLUMN. */
static size_t same_rows(const qx_work *w, size_t f, size_t l, size_t g)
{
    const uint32_t *x = w->data.frame.factor[f].code;
    const uint32_t *y = w->data.frame.factor[g].code;
    size_t m = QX_NO_COLUMN;
    for (size_t i = 0; i < w->data.n; i++) {
        if (x[i] == l) {
            m = y[i];
            break;
        }
    }
    for (size_t i = 0; m != QX_NO_COLUMN && i < w->data.n; i++) {
        if ((x[i] == l) != (y[i] == m)) {
            return QX_NO_COLUMN;
        }
    }
    return m;
}

/* Are all combinations of the other levels there, two or more? */
static qx_status rest_is_crossed(qx_work *w, qx_added *a, bool *out)
{
    const grid g = make_grid(w, a, 0, NULL);
    size_t found = 0;
    bool *seen;
    a->rest = combinations(&g, 0, g.count);
    QX_NEW(w->cx, seen, a->rest);
    for (size_t row = 0; row < w->data.n; row++) {
        size_t at = 0;
        bool inside = true;
        for (size_t i = 0; i < g.count; i++) {
            const size_t code = w->data.frame.factor[g.factor[i]].code[row];
            inside = inside && code != g.control[i];
            at = at * g.levels[i] + code - (code > g.control[i] ? 1 : 0);
        }
        if (inside && !seen[at]) {
            seen[at] = true;
            found++;
        }
    }
    *out = a->rest > 1 && found == a->rest;
    return QX_OK;
}

/* Treatments whose main effects stand in the model. */
static size_t list_treatments(const qx_work *w, size_t out[])
{
    size_t count = 0;
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        if (qx_choice_is_treatment_term(&w->choice, t) && term->factor_count == 1 &&
            term->factor[0] != w->data.season && term->factor[0] != w->data.date &&
            count < QX_TERM_FACTORS_MOST) {
            out[count++] = term->factor[0];
        }
    }
    return count;
}

/* The control that level l of the k-th treatment belongs to, with the later treatments. */
static qx_status try_level(
    qx_work *w, size_t count, const size_t treatment[], size_t k, size_t l, qx_added *out)
{
    qx_added a = {.count = 1, .factor = {treatment[k]}, .level = {l}};
    bool crossed = false;
    for (size_t g = k + 1; g < count; g++) {
        const size_t m = same_rows(w, treatment[k], l, treatment[g]);
        if (m != QX_NO_COLUMN) {
            a.factor[a.count] = treatment[g];
            a.level[a.count++] = m;
        }
    }
    if (a.count > 1) {
        QX_TRY(rest_is_crossed(w, &a, &crossed));
    }
    if (crossed) {
        *out = a;
    }
    return QX_OK;
}

qx_status qx_added_find(qx_work *w, qx_added *out)
{
    size_t treatment[QX_TERM_FACTORS_MOST];
    const size_t count = list_treatments(w, treatment);
    *out = (qx_added){0};
    for (size_t k = 0; k < count; k++) {
        const size_t levels = w->data.frame.factor[treatment[k]].level_count;
        for (size_t l = 0; l < levels; l++) {
            QX_TRY(try_level(w, count, treatment, k, l, out));
            if (out->count > 0) {
                return QX_OK;
            }
        }
    }
    return QX_OK;
}

bool qx_added_in(const qx_added *a, const qx_term *term, bool all)
{
    size_t has = 0;
    for (size_t i = 0; i < a->count; i++) {
        has +=
            place_of(term->factor_count, term->factor, a->factor[i]) < term->factor_count
                ? 1
                : 0;
    }
    return all ? has == a->count : has > 0;
}
