/* Rows and columns that cross, incomplete in one direction or both. The plan is the best that
 * the search finds (from a Youden square where one is known); where a row or a column can
 * hold every combination, it does. Chance then names the combinations (those wished equally
 * often among each other), orders the rectangles, their rows and their columns (lines that
 * run through all rectangles keep their order in each; with gaps, lines that have them at the
 * same places among each other): the layout is uniform among all that
 * come from the plan in this way, so that the analysis with rows and columns holds (Bailey &
 * Rowley 1987, Proc R Soc Lond A 410:105-124, from memory). */
#include <math.h>

#include "layout/construct.h"
#include "layout/lines.h"
#include "layout/search.h"

#define HITS 12 /* starts that end alike: no bound says that it is the best */

/* Where combinations change places: inside rows or columns that hold all, else inside the
 * rectangle or the whole trial. */
static qx_status find_parts(qx_drawing *d)
{
    const qx_stratum *s = d->stratum;
    size_t unit[2] = {s->rows, s->rows};
    size_t count = 0;
    if (s->column_held % s->share_sum == 0) {
        unit[count++] = s->rows;
    } else if (s->row_held % s->share_sum == 0) {
        unit[count++] = s->columns;
    }
    if (s->group_count > 0 && (count > 0 || s->set != QX_WHOLE_TRIAL)) {
        unit[count++] = s->group[0];
    }
    return qx_drawing_codes(d, count, unit, d->part, &d->part_count);
}

/* Each part as wished, one place further on in each. */
static qx_status deal(qx_drawing *d)
{
    const qx_stratum *s = d->stratum;
    QX_ASSERT(d->part_count > 0);
    const size_t held = d->part_count > 0 ? d->plots / d->part_count : d->plots;
    size_t *times = NULL;
    size_t *list = NULL;
    size_t *next = NULL;
    size_t n = 0;
    QX_NEW(d->cx, times, s->combinations);
    QX_NEW(d->cx, list, held);
    QX_NEW(d->cx, next, d->part_count);
    qx_drawing_share_out(s, held, times);
    for (size_t round = 0; n < held; round++) {
        for (size_t c = 0; c < s->combinations; c++) {
            if (round < times[c]) {
                list[n++] = c;
            }
        }
    }
    for (size_t i = 0; i < d->plots; i++) {
        const size_t p = d->part[i];
        d->design[i] = held > 0 ? list[(next[p]++ + p) % held] : 0;
    }
    return QX_OK;
}

static qx_status construct(qx_drawing *d, const qx_lines *l, bool *found)
{
    const qx_stratum *s = d->stratum;
    const size_t v = s->combinations;
    const bool across = s->column_held == v;
    const size_t few = across ? s->row_held : s->column_held;
    uint32_t *made = NULL;
    *found = false;
    if (s->share != NULL || d->group_count != 1 || (!across && s->row_held != v)) {
        return QX_OK;
    }
    QX_NEW(d->cx, made, d->plots);
    QX_TRY(qx_construct_youden(d->cx, v, few, made, found));
    for (size_t i = 0; *found && i < few; i++) {
        for (size_t j = 0; j < v; j++) {
            const size_t at = across ? i * v + j : j * few + i;
            d->design[l->cell[at]] = made[i * v + j];
        }
    }
    return QX_OK;
}

static qx_status target_of(qx_drawing *d, const qx_blocking ways[2], double *target)
{
    const size_t v = d->stratum->combinations;
    size_t *replicates = NULL;
    double bound = 0;
    *target = 0;
    if (d->stratum->share != NULL || d->plots % v != 0) {
        return QX_OK;
    }
    QX_NEW(d->cx, replicates, v);
    for (size_t c = 0; c < v; c++) {
        replicates[c] = d->plots / v;
    }
    QX_TRY(qx_criteria_bound(d->cx, d->plots, v, replicates, 2, ways, &bound));
    *target = (double)(v - 1) / ((double)replicates[0] * bound);
    return QX_OK;
}

static qx_status narrow(qx_drawing *d, const size_t from[], uint32_t **to)
{
    QX_NEW(d->cx, *to, d->plots);
    for (size_t i = 0; i < d->plots; i++) {
        (*to)[i] = (uint32_t)from[i];
    }
    return QX_OK;
}

qx_status qx_rowcol_search(qx_drawing *d, const qx_lines *l, bool good)
{
    const size_t v = d->stratum->combinations;
    const bool whole = !l->row_inside || !l->column_inside;
    uint32_t *row = NULL;
    uint32_t *column = NULL;
    uint32_t *part = NULL;
    uint32_t *twice = NULL; /* what rows and columns both hold */
    uint32_t *treatment = NULL;
    size_t *all = NULL;
    double trace = 0;
    if (v < 2 || v > QX_SEARCH_TREATMENTS_MOST) {
        return QX_OK;
    }
    QX_NEW(d->cx, all, d->plots);
    QX_TRY(narrow(d, l->row, &row));
    QX_TRY(narrow(d, l->column, &column));
    QX_TRY(narrow(d, d->part, &part));
    QX_TRY(narrow(d, whole ? all : d->group, &twice));
    QX_TRY(narrow(d, d->design, &treatment));
    qx_search in = {.plots = d->plots,
                    .treatments = v,
                    .family_count = 1,
                    .blocking_count = 3,
                    .blocking = {{l->rows, row},
                                 {l->columns, column},
                                 {whole ? 1 : d->group_count, twice}},
                    .sign = {1, 1, -1},
                    .set_count = d->part_count,
                    .set = part,
                    .good_start = good,
                    .work = QX_SEARCH_WORK};
    if (d->stratum->left_out > 0 || d->stratum->check != NULL) {
        in.hits = HITS;
    }
    if (d->stratum->left_out > 0) {
        double *left = NULL;
        QX_TRY(qx_lines_left(d, l, &left));
        in.left = left;
    }
    QX_TRY(target_of(d, in.blocking, &in.target));
    QX_TRY(qx_search_run(d->cx, &in, &d->search, treatment, &trace));
    if (isinf(trace)) {
        return qx_fail(d->cx,
                       QX_E_INPUT,
                       "no layout was found in which every two combinations can be "
                       "compared inside the rows and columns; expected more of them");
    }
    for (size_t i = 0; i < d->plots; i++) {
        d->design[i] = treatment[i];
    }
    return QX_OK;
}

qx_status qx_plan_rowcol(qx_drawing *d)
{
    qx_lines l = {0};
    bool good = false;
    QX_TRY(qx_lines_find(d, &l));
    QX_TRY(find_parts(d));
    QX_TRY(construct(d, &l, &good));
    if (!good) {
        QX_TRY(deal(d));
    }
    return qx_rowcol_search(d, &l, good);
}

/* --- chance --- */

qx_status qx_draw_rowcol(qx_drawing *d)
{
    const size_t v = d->stratum->combinations;
    /* every square is whole by itself */
    const size_t namings =
        d->stratum->rule == QX_RULE_LATIN && d->group_count > 0 ? d->group_count : 1;
    qx_lines l = {0};
    qx_line_orders orders = {0};
    size_t *name = NULL;
    QX_TRY(qx_lines_find(d, &l));
    QX_NEW(d->cx, name, namings * v);
    for (size_t k = 0; k < namings; k++) {
        QX_TRY(qx_drawing_relabel(d, name + k * v));
    }
    QX_TRY(qx_lines_shuffle(d, &l, d->columns_stay, &orders));
    for (size_t i = 0; i < d->plots; i++) {
        const size_t from = d->design[qx_lines_source(d, &l, &orders, i)];
        d->combination[i] = name[d->group[i] % namings * v + from];
    }
    return QX_OK;
}
