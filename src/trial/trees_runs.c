#include "trial/trees_runs.h"

#include <math.h>
#include <stdlib.h>

#include "layout/alike.h"

/* Places are whole numbers that were read as double. */
#define NEXT 1.5

/* --- groups --- */

typedef struct spot {
    double row, place;
    size_t tree;
} spot;

static int compare_spots(const void *a, const void *b)
{
    const spot *x = a, *y = b;
    if (x->row != y->row) {
        return x->row < y->row ? -1 : 1;
    }
    if (x->place != y->place) {
        return x->place < y->place ? -1 : 1;
    }
    return 0;
}

typedef enum { WITHOUT_GAP, INSIDE_A_ROW, ALONG_ROWS } way;

typedef struct gathering {
    const spot *spot;
    size_t count, groups, each;
    bool own_row;
    size_t *group;
} gathering;

/* May the tree stand in one group with the one before it? */
static bool goes_on(const spot *before, const spot *now, way how)
{
    return how == ALONG_ROWS ||
           (before->row == now->row &&
            (how == INSIDE_A_ROW || now->place - before->place < NEXT));
}

static bool has_group(const gathering *g, size_t i)
{
    return g->group[g->spot[i].tree] != QX_NO_BLOCK;
}

/* Does any tree of this one's row have a group? */
static bool row_is_taken(const gathering *g, size_t i)
{
    size_t first = i;
    while (first > 0 && g->spot[first - 1].row == g->spot[i].row) {
        first--;
    }
    for (size_t k = first; k < g->count && g->spot[k].row == g->spot[i].row; k++) {
        if (has_group(g, k)) {
            return true;
        }
    }
    return false;
}

/* More groups along the rows, of trees that have none yet; gives how many there are now. */
static size_t gather(const gathering *g, way how, size_t made)
{
    size_t length = 0;
    for (size_t i = 0; i < g->count && made < g->groups; i++) {
        if (has_group(g, i) || (g->own_row && row_is_taken(g, i))) {
            length = 0;
            continue;
        }
        const bool on = length > 0 && goes_on(&g->spot[i - 1], &g->spot[i], how);
        length = on ? length + 1 : 1;
        if (length == g->each) {
            for (size_t k = 0; k < g->each; k++) {
                g->group[g->spot[i - k].tree] = made;
            }
            made++;
            length = 0;
        }
    }
    return made;
}

/* The last resort: all groups anew, whatever stands between their trees. */
static size_t gather_all(const gathering *g)
{
    for (size_t i = 0; i < g->count; i++) {
        g->group[i] = QX_NO_BLOCK;
    }
    return gather(g, ALONG_ROWS, 0);
}

static size_t count_broken(const gathering *g)
{
    size_t broken = 0, last = QX_NO_BLOCK, before = 0;
    bool told = false;
    for (size_t i = 0; i < g->count; i++) {
        const size_t of = g->group[g->spot[i].tree];
        if (of == QX_NO_BLOCK) {
            continue;
        }
        if (of == last && !told && !goes_on(&g->spot[before], &g->spot[i], WITHOUT_GAP)) {
            broken++;
            told = true;
        }
        told = told && of == last;
        last = of;
        before = i;
    }
    return broken;
}

qx_status qx_trees_runs(qx_ctx *cx,
                        size_t count,
                        const qx_run_tree tree[],
                        size_t groups,
                        size_t each,
                        bool own_row,
                        size_t group[],
                        size_t *broken,
                        bool *found)
{
    spot *spots;
    QX_NEW(cx, spots, count);
    for (size_t i = 0; i < count; i++) {
        spots[i] = (spot){tree[i].row, tree[i].place, i};
    }
    qsort(spots, count, sizeof *spots, compare_spots);
    const gathering g = {.spot = spots,
                         .count = count,
                         .groups = groups,
                         .each = each,
                         .own_row = own_row,
                         .group = group};
    for (size_t i = 0; i < count; i++) {
        group[i] = QX_NO_BLOCK;
    }
    size_t made = gather(&g, WITHOUT_GAP, 0);
    made = gather(&g, INSIDE_A_ROW, made);
    made = own_row ? made : gather(&g, ALONG_ROWS, made);
    made = made < groups && !own_row ? gather_all(&g) : made;
    *found = made == groups;
    *broken = *found ? count_broken(&g) : 0;
    return QX_OK;
}
