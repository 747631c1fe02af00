/* Rows and columns whose neighbours along the rows are even.
 *
 * A Latin square comes from one sequence, 0 1 n-1 2 n-2 ..., developed mod n: its steps hold
 * each difference +-d twice, so that in the n rows every two levels stand side by side twice
 * (Williams 1949, Aust J Sci Res A 2:149-168; there every ordered pair once for even n, and
 * two squares for odd n, since he counts left and right apart). Several squares take the same
 * plan, each with names of its own.
 *
 * A rectangle is planned for its efficiency first, which the order of the columns does not
 * touch; then columns change places so that sum m_ij^2 becomes small (m_ij: times that i and j
 * stand side by side; alike ones count 16), under a threshold that falls to zero.
 *
 * Chance: names, rectangles, rows, and whether the columns are mirrored (draw_rowcol.c). All
 * of these keep the counts m, so that the layout is uniform among those that come from the
 * plan in this way and every two combinations are neighbours with the same chance. */
#include "layout/lines.h"

#define LEVELS 24  /* thresholds, the last one zero */
#define STEPS  400 /* exchanges for each column at each threshold */
#define SAME   16  /* weight of alike neighbours */

static size_t cell_of(const qx_drawing *d, size_t g, size_t r, size_t c)
{
    return (g * d->stratum->row_held + r) * d->stratum->column_held + c;
}

static void plan_squares(qx_drawing *d, const qx_lines *l)
{
    const size_t n = d->stratum->combinations;
    for (size_t g = 0; g < d->group_count; g++) {
        for (size_t r = 0; r < n; r++) {
            for (size_t c = 0; c < n; c++) {
                const size_t head = c % 2 == 1 ? (c + 1) / 2 : (n - c / 2) % n;
                d->design[l->cell[cell_of(d, g, r, c)]] = (head + r) % n;
            }
        }
    }
}

/* --- columns of a rectangle --- */

typedef struct evening {
    qx_drawing *d;
    const qx_lines *l;
    size_t *at; /* group_count x column_held: column of the plan that stands here */
    size_t *m;  /* combinations x combinations, a <= b */
    double cost;
} evening;

static size_t seen(const evening *e, size_t g, size_t r, size_t c)
{
    const size_t from = e->at[g * e->d->stratum->column_held + c];
    return e->d->design[e->l->cell[cell_of(e->d, g, r, from)]];
}

/* Adds (or takes away) the pairs between columns c and c + 1 of rectangle g. */
static void count_border(evening *e, size_t g, size_t c, bool add)
{
    for (size_t r = 0; r < e->d->stratum->row_held; r++) {
        const size_t a = seen(e, g, r, c);
        const size_t b = seen(e, g, r, c + 1);
        size_t *m =
            &e->m[(a < b ? a : b) * e->d->stratum->combinations + (a < b ? b : a)];
        const double weight = a == b ? SAME : 1;
        *m -= add ? 0 : 1;
        e->cost += (add ? weight : -weight) * (double)(2 * *m + 1);
        *m += add ? 1 : 0;
    }
}

/* All borders at which column a or b of rectangle g stands, each once. */
static void count_borders(evening *e, size_t g, size_t a, size_t b, bool add)
{
    const size_t last = e->d->stratum->column_held - 1;
    for (size_t c = 0; c < last; c++) {
        if (c == a || c == b || c + 1 == a || c + 1 == b) {
            count_border(e, g, c, add);
        }
    }
}

static void exchange(evening *e, size_t g, size_t a, size_t b)
{
    size_t *at = e->at + g * e->d->stratum->column_held;
    const size_t kept = at[a];
    at[a] = at[b];
    at[b] = kept;
}

/* Columns a and b change places: in rectangle g, or in all where they run through. */
static void change(evening *e, size_t g, size_t a, size_t b)
{
    for (size_t k = 0; k < e->d->group_count; k++) {
        if (k == g || !e->l->column_inside) {
            count_borders(e, k, a, b, false);
            exchange(e, k, a, b);
            count_borders(e, k, a, b, true);
        }
    }
}

static void even_columns(evening *e)
{
    const size_t held = e->d->stratum->column_held;
    qx_rng *rng = &e->d->search;
    for (size_t level = 0; level < LEVELS; level++) {
        const double threshold = 6.0 * (double)(LEVELS - 1 - level) / LEVELS;
        for (size_t i = 0; i < STEPS * held; i++) {
            const size_t g = (size_t)qx_rng_below(rng, e->d->group_count);
            const size_t a = (size_t)qx_rng_below(rng, held);
            const size_t b = (size_t)qx_rng_below(rng, held);
            const double before = e->cost;
            if (a != b) {
                change(e, g, a, b);
            }
            if (a != b && e->cost - before > threshold) {
                change(e, g, a, b);
            }
        }
    }
}

static qx_status order_columns(qx_drawing *d, const qx_lines *l)
{
    const qx_stratum *s = d->stratum;
    const size_t v = s->combinations;
    evening e = {.d = d, .l = l};
    size_t *design = NULL;
    QX_NEW(d->cx, e.at, d->group_count * s->column_held);
    QX_NEW(d->cx, e.m, v * v);
    QX_NEW(d->cx, design, d->plots);
    for (size_t g = 0; g < d->group_count; g++) {
        for (size_t c = 0; c < s->column_held; c++) {
            e.at[g * s->column_held + c] = c;
        }
    }
    for (size_t g = 0; g < d->group_count; g++) {
        for (size_t c = 0; c + 1 < s->column_held; c++) {
            count_border(&e, g, c, true);
        }
    }
    even_columns(&e);
    for (size_t g = 0; g < d->group_count; g++) {
        for (size_t r = 0; r < s->row_held; r++) {
            for (size_t c = 0; c < s->column_held; c++) {
                design[l->cell[cell_of(d, g, r, c)]] = seen(&e, g, r, c);
            }
        }
    }
    for (size_t i = 0; i < d->plots; i++) {
        d->design[i] = design[i];
    }
    return QX_OK;
}

qx_status qx_plan_even_lines(qx_drawing *d)
{
    qx_lines l = {0};
    d->columns_stay = true;
    if (d->stratum->rule == QX_RULE_ROWCOL) {
        QX_TRY(qx_plan_rowcol(d));
        QX_TRY(qx_lines_find(d, &l));
        return order_columns(d, &l);
    }
    QX_TRY(qx_lines_find(d, &l));
    plan_squares(d, &l);
    return QX_OK;
}
