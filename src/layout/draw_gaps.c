/* Starts for rows and columns that are not full, or hold checks.
 *
 * Gaps (trees left out). The rectangle is planned as if it were full (a Latin square, or the
 * best that the search finds); then its rows and columns are put in the order, of some that
 * chance tries, in which the gaps take most evenly from the combinations; what still stands
 * too often gives places to what stands too seldom, where that does least harm in row and
 * column. The search then works on what is there (search.h, `left`).
 *
 * Checks. What is new stands once; everything else is checks, which go down the diagonals of
 * the rectangles, so that every row and every column holds as many of them as any other, give
 * or take one, and each check moves through the rows. The search then makes the mean variance
 * of all differences small. Federer, Nair & Raghavarao 1975, Biometrics 31:361-373 (from
 * memory: checks that are orthogonal to rows or columns; here any number of them). */
#include "layout/lines.h"

#define TRIES 200 /* orders of rows and columns to compare; more gain little */

/* --- the full rectangle --- */

static size_t cell_unit(const qx_drawing *d)
{
    size_t unit = d->stratum->unit;
    while (d->plan->spec->unit[unit].parent_count == 1) {
        unit = d->plan->spec->unit[unit].parent[0];
    }
    return unit;
}

/* Combination of every cell as if nothing were left out. */
static qx_status plan_full(qx_drawing *d, const qx_lines *l, size_t full_cell[])
{
    qx_stratum full = *d->stratum;
    qx_drawing w = {.cx = d->cx,
                    .plan = d->plan,
                    .places = d->places,
                    .stratum = &full,
                    .rng = d->search,
                    .search = d->search,
                    .level = d->level};
    qx_lines lines = {0};
    full.left_out = 0;
    full.rule = QX_RULE_NONE;
    qx_stratum_cross(d->plan, &full, cell_unit(d));
    QX_TRY(qx_drawing_list(&w));
    if (full.rule == QX_RULE_LATIN) {
        QX_TRY(qx_draw_squares(&w));
        d->search = w.rng;
    } else {
        QX_TRY(qx_plan_rowcol(&w));
        d->search = w.search;
    }
    QX_TRY(qx_lines_find(&w, &lines));
    if (lines.cells != l->cells) {
        return qx_fail(d->cx,
                       QX_E_INPUT,
                       "a whole rectangle of rows and columns is left out; expected one "
                       "rectangle less");
    }
    for (size_t i = 0; i < l->cells; i++) {
        full_cell[i] = full.rule == QX_RULE_LATIN ? w.combination[lines.cell[i]]
                                                  : w.design[lines.cell[i]];
    }
    return QX_OK;
}

/* --- the fairest order of its lines --- */

typedef struct thinning {
    qx_drawing *d;
    const qx_lines *l;
    const size_t *full;   /* of each cell */
    size_t *row, *column; /* group_count x held */
    size_t *times;
} thinning;

static size_t source_cell(const thinning *t, size_t cell)
{
    const qx_stratum *s = t->d->stratum;
    const size_t columns = s->column_held == 0 ? 1 : s->column_held;
    const size_t rows = s->row_held == 0 ? 1 : s->row_held;
    const size_t g = cell / columns / rows;
    const size_t r = cell / columns % rows;
    const size_t c = cell % columns;
    return (g * s->row_held + t->row[g * s->row_held + r]) * s->column_held +
           t->column[g * s->column_held + c];
}

static void order_by_chance(qx_drawing *d, size_t held, bool own, size_t order[])
{
    for (size_t g = 0; g < d->group_count; g++) {
        for (size_t i = 0; i < held; i++) {
            order[g * held + i] = own || g == 0 ? i : order[i];
        }
        if (own || g == 0) {
            qx_rng_shuffle(&d->search, held, order + g * held);
        }
    }
}

/* Squared departure from what each combination should have. */
static double unevenness(const thinning *t)
{
    const qx_stratum *s = t->d->stratum;
    double sum = 0;
    for (size_t c = 0; c < s->combinations; c++) {
        t->times[c] = 0;
    }
    for (size_t i = 0; i < t->l->cells; i++) {
        t->times[t->full[source_cell(t, i)]] += t->l->cell[i] != QX_NO_PLOT ? 1 : 0;
    }
    for (size_t c = 0; c < s->combinations; c++) {
        const double share = s->share == NULL ? 1 : (double)s->share[c];
        const double off =
            (double)t->times[c] - (double)t->d->plots * share / (double)s->share_sum;
        sum += off * off;
    }
    return sum;
}

static void take_order(const thinning *t)
{
    for (size_t i = 0; i < t->l->cells; i++) {
        if (t->l->cell[i] != QX_NO_PLOT) {
            t->d->design[t->l->cell[i]] = t->full[source_cell(t, i)];
        }
    }
}

static qx_status thin_out(qx_drawing *d, const qx_lines *l)
{
    const qx_stratum *s = d->stratum;
    size_t *full = NULL;
    thinning t = {.d = d, .l = l};
    QX_NEW(d->cx, full, l->cells);
    QX_NEW(d->cx, t.row, d->group_count * s->row_held);
    QX_NEW(d->cx, t.column, d->group_count * s->column_held);
    QX_NEW(d->cx, t.times, s->combinations);
    QX_TRY(plan_full(d, l, full));
    t.full = full;
    double best = 0;
    for (size_t i = 0; i < TRIES; i++) {
        order_by_chance(d, s->row_held, l->row_inside, t.row);
        order_by_chance(d, s->column_held, l->column_inside, t.column);
        const double found = unevenness(&t);
        if (i == 0 || found < best) {
            best = found;
            take_order(&t);
        }
    }
    return QX_OK;
}

/* --- what stands too often gives places --- */

typedef struct evening {
    qx_drawing *d;
    const qx_lines *l;
    size_t *times, *want;
    size_t *in_row, *in_column; /* line x combinations */
} evening;

/* Places that each should have; with equal shares what is over goes to those that have most. */
static void find_wanted(const evening *e)
{
    const qx_stratum *s = e->d->stratum;
    const size_t v = s->combinations;
    qx_drawing_share_out(s, e->d->plots, e->want);
    if (s->share != NULL || v == 0) {
        return;
    }
    for (size_t c = 0; c < v; c++) {
        e->want[c] = e->d->plots / v;
    }
    for (size_t over = e->d->plots % v; over > 0; over--) {
        size_t most = v;
        for (size_t c = 0; c < v; c++) {
            if (e->want[c] == e->d->plots / v &&
                (most == v || e->times[c] > e->times[most])) {
                most = c;
            }
        }
        e->want[most]++;
    }
}

static void count_plot(const evening *e, size_t plot, size_t by)
{
    const size_t v = e->d->stratum->combinations;
    const size_t c = e->d->design[plot];
    e->times[c] += by;
    e->in_row[e->l->row[plot] * v + c] += by;
    e->in_column[e->l->column[plot] * v + c] += by;
}

/* The change that leaves fewest alike in a row or a column; false if none is needed. */
static bool find_change(const evening *e, size_t *plot, size_t *to)
{
    const size_t v = e->d->stratum->combinations;
    size_t least = SIZE_MAX;
    for (size_t i = 0; i < e->d->plots; i++) {
        const size_t from = e->d->design[i];
        for (size_t c = 0; e->times[from] > e->want[from] && c < v; c++) {
            const size_t meets =
                e->in_row[e->l->row[i] * v + c] + e->in_column[e->l->column[i] * v + c];
            if (e->times[c] < e->want[c] && meets < least) {
                least = meets;
                *plot = i;
                *to = c;
            }
        }
    }
    return least < SIZE_MAX;
}

static qx_status even_out(qx_drawing *d, const qx_lines *l)
{
    const size_t v = d->stratum->combinations;
    evening e = {.d = d, .l = l};
    size_t plot = 0;
    size_t to = 0;
    QX_NEW(d->cx, e.times, v);
    QX_NEW(d->cx, e.want, v);
    QX_NEW(d->cx, e.in_row, l->rows * v);
    QX_NEW(d->cx, e.in_column, l->columns * v);
    for (size_t i = 0; i < d->plots; i++) {
        count_plot(&e, i, 1);
    }
    find_wanted(&e);
    while (find_change(&e, &plot, &to)) {
        count_plot(&e, plot, (size_t)-1);
        d->design[plot] = to;
        count_plot(&e, plot, 1);
    }
    return QX_OK;
}

/* --- checks --- */

static size_t divisor(size_t a, size_t b)
{
    while (b > 0) {
        const size_t rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

/* The cell of step k down the diagonals of the rectangles in turn. */
static size_t diagonal_cell(const qx_drawing *d, size_t k)
{
    const qx_stratum *s = d->stratum;
    const size_t rows = s->row_held;
    const size_t columns = s->column_held;
    const size_t g = k % d->group_count;
    const size_t step = k / d->group_count;
    const size_t round = rows / divisor(rows, columns) * columns;
    if (round == 0) {
        return 0; /* never: no rectangle without cells */
    }
    return (g * rows + step % rows) * columns + (step + step / round) % columns;
}

static qx_status start_checks(qx_drawing *d, const qx_lines *l)
{
    const qx_stratum *s = d->stratum;
    size_t *check = NULL;
    size_t *entry = NULL;
    size_t checks = 0;
    size_t entries = 0;
    QX_NEW(d->cx, check, s->combinations);
    QX_NEW(d->cx, entry, s->combinations);
    for (size_t c = 0; c < s->combinations; c++) {
        if (s->check[c]) {
            check[checks++] = c;
        } else {
            entry[entries++] = c;
        }
    }
    size_t left = d->plots - entries; /* places of checks */
    size_t done = 0;
    if (checks == 0 || s->row_held == 0) {
        return qx_fail(d->cx, QX_E_ARG, "there are no checks");
    }
    /* else every row would have one check alone */
    const size_t shift = s->row_held % checks == 0 ? 1 : 0;
    for (size_t k = 0; k < l->cells; k++) {
        const size_t plot = l->cell[diagonal_cell(d, k)];
        if (plot != QX_NO_PLOT && left > 0) {
            left--;
            d->design[plot] = check[(done + done / s->row_held * shift) % checks];
            done++;
        } else if (plot != QX_NO_PLOT) {
            d->design[plot] = entry[--entries];
        }
    }
    return QX_OK;
}

qx_status qx_plan_gaps(qx_drawing *d)
{
    qx_lines l = {0};
    QX_TRY(qx_lines_find(d, &l));
    d->part_count = 1; /* the whole trial: `part` is zero */
    if (d->stratum->check != NULL) {
        QX_TRY(start_checks(d, &l));
    } else {
        QX_TRY(thin_out(d, &l));
        QX_TRY(even_out(d, &l));
    }
    return qx_rowcol_search(d, &l, true);
}
