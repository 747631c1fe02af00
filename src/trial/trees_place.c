#include "trial/trees_place.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "layout/odd.h"
#include "layout/wishes.h"
#include "trial/trees_runs.h"

/* Spacing where the protocol gives none: rows some three times as far apart as trees. */
#define ROW_M   3.5
#define PLACE_M 1.0

typedef struct placing {
    qx_ctx *cx;
    qx_arena *arena;
    const qx_protocol *protocol;
    const qx_trees *trees;
    double reach_m;
    qx_layout *layout;
    qx_trees_placed *out;
    size_t unit;   /* trees in the protocol */
    size_t outer;  /* blocks; QX_NONE: none */
    size_t count;  /* trees of the layout */
    size_t *thing; /* count: their numbers in the layout */
    size_t *block; /* count: block of each, 0 ... */
    size_t blocks; /* 1 without */
    size_t usable;
    size_t *free_tree; /* usable: numbers in the list */
    qx_alike_tree *at; /* usable */
    size_t *chosen;    /* count: tree of the list for each thing */
} placing;

/* --- which unit the list is about --- */

static bool is_placed(const placing *p, size_t unit)
{
    for (size_t i = 0; i < p->layout->placed_count; i++) {
        if (p->layout->placed[i].unit == unit) {
            return true;
        }
    }
    return false;
}

static size_t find_unit(const placing *p)
{
    const qx_layout_wishes *wishes = p->protocol->wishes;
    if (wishes != NULL && wishes->tree != QX_NO_WISH) {
        return wishes->tree;
    }
    const size_t named = qx_protocol_find_unit(p->protocol, "tree");
    if (named != QX_NONE && is_placed(p, named)) {
        return named;
    }
    size_t last = 0;
    for (size_t i = 0; i < p->protocol->unit_count; i++) {
        const size_t u = p->protocol->unit_order[i];
        last = is_placed(p, u) ? u : last;
    }
    return last;
}

static size_t outermost(const placing *p)
{
    size_t found = QX_NONE;
    for (size_t u = 0; u < p->protocol->unit_count; u++) {
        if (p->protocol->unit[u].parent_count == 0 && u != p->unit &&
            qx_unit_reaches(p->protocol, u, p->unit)) {
            found = found == QX_NONE ? u : p->unit; /* two of them cross */
        }
    }
    return found;
}

static qx_status list_things(placing *p)
{
    QX_NEW(p->cx, p->thing, p->layout->placed_count);
    QX_NEW(p->cx, p->block, p->layout->placed_count);
    QX_NEW(p->cx, p->chosen, p->layout->placed_count);
    p->unit = find_unit(p);
    p->outer = outermost(p);
    size_t last = SIZE_MAX;
    for (size_t i = 0; i < p->layout->placed_count; i++) {
        if (p->layout->placed[i].unit != p->unit) {
            continue;
        }
        if (p->outer != QX_NONE && p->outer != p->unit) {
            const size_t block = qx_thing_above(p->protocol, p->layout, i, p->outer);
            p->blocks += (size_t)(block != last);
            last = block;
        }
        p->thing[p->count] = i;
        p->block[p->count++] = p->blocks == 0 ? 0 : p->blocks - 1;
    }
    p->blocks = p->blocks == 0 ? 1 : p->blocks;
    return QX_OK;
}

/* --- which trees may be used --- */

static qx_alike_tree stand_of(const placing *p, size_t tree)
{
    const qx_site *site = &p->protocol->site;
    const double row_m = site->row_spacing_m > 0.0 ? site->row_spacing_m : ROW_M;
    const double place_m = site->tree_spacing_m > 0.0 ? site->tree_spacing_m : PLACE_M;
    return (qx_alike_tree){.x_m = row_m * p->trees->tree[tree].row,
                           .y_m = place_m * p->trees->tree[tree].place,
                           .size = p->trees->tree[tree].trunk_area_cm2};
}

static qx_status list_trees(placing *p)
{
    size_t sized = 0;
    QX_NEW(p->cx, p->free_tree, p->trees->count);
    QX_NEW(p->cx, p->at, p->trees->count);
    for (size_t i = 0; i < p->trees->count; i++) {
        sized += (size_t)(p->trees->tree[i].status == QX_TREE_FREE &&
                          !isnan(p->trees->tree[i].trunk_area_cm2));
    }
    for (size_t i = 0; i < p->trees->count; i++) {
        const qx_tree *tree = &p->trees->tree[i];
        /* Where trees were measured, one without a size cannot be judged. */
        if (tree->status == QX_TREE_FREE &&
            (sized == 0 || !isnan(tree->trunk_area_cm2))) {
            p->at[p->usable] = stand_of(p, i);
            p->free_tree[p->usable++] = i;
        }
    }
    const qx_layout_wishes *wishes = p->protocol->wishes;
    const size_t spare =
        p->outer == p->unit && wishes != NULL ? wishes->left_out_count : 0;
    p->out->usable = p->usable;
    p->out->needed = p->count - (spare < p->count ? spare : p->count);
    /* gaps of rows and columns are told with where they are */
    const size_t there = p->outer == p->unit ? p->trees->count : p->usable;
    if (there >= p->out->needed) {
        return QX_OK;
    }
    return qx_fail(p->cx,
                   QX_E_INPUT,
                   "%s lists %zu trees that can be used, but the trial needs %zu (%zu of "
                   "the list are missing, guards, odd%s); expected a longer list or a "
                   "smaller trial",
                   p->trees->file,
                   p->usable,
                   p->out->needed,
                   p->trees->count - p->usable,
                   sized > 0 ? " or without a size" : "");
}

/* --- odd trees --- */

static int compare_odd(const void *a, const void *b)
{
    const qx_odd_tree *x = a, *y = b;
    if (fabs(x->z) != fabs(y->z)) {
        return fabs(x->z) > fabs(y->z) ? -1 : 1;
    }
    return x->tree < y->tree ? -1 : 1;
}

static qx_status find_odd(placing *p)
{
    double *x, *y, *size;
    qx_oddness *oddness;
    qx_odd_tree *odd;
    QX_NEW(p->cx, x, p->usable);
    QX_NEW(p->cx, y, p->usable);
    QX_NEW(p->cx, size, p->usable);
    QX_NEW(p->cx, oddness, p->usable);
    QX_NEW_IN(p->cx, p->arena, odd, p->usable);
    for (size_t i = 0; i < p->usable; i++) {
        x[i] = p->at[i].x_m;
        y[i] = p->at[i].y_m;
        size[i] = p->at[i].size;
    }
    QX_TRY(qx_odd_trees(p->cx, p->usable, x, y, size, oddness));
    for (size_t i = 0; i < p->usable; i++) {
        const double all = oddness[i].among_all, near = oddness[i].among_neighbours;
        const bool by_near = fabs(near) > QX_ODD_LIMIT && !(fabs(all) >= fabs(near));
        if (fabs(all) > QX_ODD_LIMIT || by_near) {
            odd[p->out->odd_count++] = (qx_odd_tree){.tree = p->free_tree[i],
                                                     .z = by_near ? near : all,
                                                     .among_neighbours = by_near};
        }
    }
    qsort(odd, p->out->odd_count, sizeof *odd, compare_odd);
    for (size_t i = 0; i < p->out->odd_count; i++) {
        for (size_t k = 0; k < p->count; k++) {
            odd[i].used = odd[i].used || p->chosen[k] == odd[i].tree;
        }
    }
    p->out->odd = odd;
    return QX_OK;
}

/* --- blocks --- */

typedef struct spot {
    double row, place;
    size_t block, tree;
} spot;

static int compare_spots(const void *a, const void *b)
{
    const spot *x = a, *y = b;
    if (x->block != y->block) {
        return x->block < y->block ? -1 : 1;
    }
    if (x->row != y->row) {
        return x->row < y->row ? -1 : 1;
    }
    if (x->place != y->place) {
        return x->place < y->place ? -1 : 1;
    }
    return 0;
}

/* The free trees along the rows: all of them as one block. */
static qx_status along_rows(placing *p, spot **out)
{
    QX_NEW(p->cx, *out, p->usable);
    for (size_t i = 0; i < p->usable; i++) {
        const qx_tree *tree = &p->trees->tree[p->free_tree[i]];
        (*out)[i] = (spot){.row = tree->row, .place = tree->place, .tree = i};
    }
    qsort(*out, p->usable, sizeof **out, compare_spots);
    return QX_OK;
}

/* Blocks of the free trees, numbered anew by where they begin along the rows. */
static qx_status number_blocks(placing *p, const size_t from[], size_t **out)
{
    spot *spots;
    size_t *number;
    size_t blocks = 0;
    QX_TRY(along_rows(p, &spots));
    QX_NEW(p->cx, number, p->usable);
    QX_NEW(p->cx, *out, p->usable);
    for (size_t b = 0; b < p->usable; b++) {
        number[b] = QX_NO_BLOCK;
    }
    for (size_t i = 0; i < p->usable; i++) {
        const size_t block = from[spots[i].tree];
        if (block != QX_NO_BLOCK && number[block] == QX_NO_BLOCK) {
            number[block] = blocks++;
        }
        (*out)[spots[i].tree] = block == QX_NO_BLOCK ? QX_NO_BLOCK : number[block];
    }
    return QX_OK;
}

/* Trees of each block along the rows. */
static qx_status hand_out(placing *p, const size_t block[])
{
    spot *spots;
    size_t used = 0;
    QX_NEW(p->cx, spots, p->usable);
    for (size_t i = 0; i < p->usable; i++) {
        const qx_tree *tree = &p->trees->tree[p->free_tree[i]];
        if (block[i] != QX_NO_BLOCK) {
            spots[used++] = (spot){.row = tree->row,
                                   .place = tree->place,
                                   .block = block[i],
                                   .tree = p->free_tree[i]};
        }
    }
    qsort(spots, used, sizeof *spots, compare_spots);
    for (size_t i = 0; i < p->count; i++) {
        p->chosen[i] = spots[i].tree;
    }
    return QX_OK;
}

/* Are treatments put on groups of trees inside a block, which then must stand together? */
static bool plots_are_treated(const placing *p)
{
    for (size_t t = 0; t < p->protocol->treatment_count; t++) {
        const size_t on = p->protocol->treatment[t].on;
        if (on != p->unit && on != p->outer &&
            qx_unit_reaches(p->protocol, on, p->unit)) {
            return true;
        }
    }
    return false;
}

/* Does the layout say anything about who stands beside whom? */
static bool neighbours_matter(const qx_protocol *p)
{
    const qx_layout_wishes *w = p->wishes;
    if (w == NULL) {
        return false;
    }
    bool any = w->row != QX_NO_WISH;
    for (size_t t = 0; t < p->treatment_count; t++) {
        any = any || (w->apart != NULL && w->apart[t]) ||
              (w->even_neighbours != NULL && w->even_neighbours[t]) ||
              (w->run != NULL && w->run[t] > 0);
    }
    for (size_t u = 0; u < p->unit_count; u++) {
        any = any || (w->guards != NULL && w->guards[u] > 0);
    }
    return any;
}

typedef struct likeness {
    double apart;
    size_t at;
} likeness;

static int compare_likeness(const void *a, const void *b)
{
    const likeness *x = a, *y = b;
    if (x->apart != y->apart) {
        return x->apart < y->apart ? -1 : 1;
    }
    return x->at < y->at ? -1 : 1;
}

static int compare_number(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Without blocks: the trees nearest to the middle size, or the first along the rows. */
static qx_status form_group(placing *p)
{
    likeness *order;
    double *size;
    size_t *block;
    QX_NEW(p->cx, order, p->usable);
    QX_NEW(p->cx, size, p->usable);
    QX_NEW(p->cx, block, p->usable);
    for (size_t i = 0; i < p->usable; i++) {
        size[i] = p->at[i].size;
    }
    qsort(size, p->usable, sizeof *size, compare_number);
    const double middle = size[p->usable / 2];
    for (size_t i = 0; i < p->usable; i++) {
        const double apart = fabs(log(p->at[i].size / middle));
        order[i] = (likeness){isnan(apart) ? 0.0 : apart, i};
    }
    qsort(order, p->usable, sizeof *order, compare_likeness);
    for (size_t i = 0; i < p->usable; i++) {
        block[order[i].at] = i < p->count ? 0 : QX_NO_BLOCK;
    }
    p->out->by_place = true;
    p->out->within = p->out->within_by_place = (double)NAN;
    return hand_out(p, block);
}

/* Blocks by number in the list. */
static qx_status keep_blocks(placing *p, const size_t from[], const size_t **out)
{
    size_t *block;
    QX_NEW_IN(p->cx, p->arena, block, p->trees->count);
    for (size_t i = 0; i < p->trees->count; i++) {
        block[i] = QX_NO_BLOCK;
    }
    for (size_t i = 0; i < p->usable; i++) {
        block[p->free_tree[i]] = from[i];
    }
    *out = block;
    return QX_OK;
}

/* Blocks of trees that stand beside each other. */
static qx_status form_runs(placing *p, size_t each)
{
    const qx_layout_wishes *wishes = p->protocol->wishes;
    const bool own_row = wishes != NULL && wishes->row == p->outer;
    qx_run_tree *tree;
    size_t *block;
    bool found;
    QX_NEW(p->cx, tree, p->usable);
    QX_NEW(p->cx, block, p->usable);
    for (size_t i = 0; i < p->usable; i++) {
        const qx_tree *of = &p->trees->tree[p->free_tree[i]];
        tree[i] = (qx_run_tree){of->row, of->place};
    }
    QX_TRY(qx_trees_runs(p->cx,
                         p->usable,
                         tree,
                         p->blocks,
                         each,
                         own_row,
                         block,
                         &p->out->broken,
                         &found));
    if (!found) {
        return qx_fail(
            p->cx,
            QX_E_INPUT,
            "each %s is to be a row of its own with %zu trees, but %s has not %zu "
            "rows with so many trees that can be used; expected longer rows or a "
            "smaller trial, or no \"row: %s\" under \"layout\"",
            p->protocol->unit[p->outer].name,
            each,
            p->trees->file,
            p->blocks,
            p->protocol->unit[p->outer].name);
    }
    p->out->by_place = p->out->in_runs = true;
    p->out->within = p->out->within_by_place = (double)NAN;
    p->out->block_count = p->blocks;
    QX_TRY(number_blocks(p, block, &block));
    QX_TRY(keep_blocks(p, block, &p->out->block));
    p->out->block_by_place = p->out->block;
    return hand_out(p, block);
}

static qx_status form_blocks(placing *p)
{
    qx_alike alike;
    const size_t each = p->count / p->blocks;
    const qx_alike_wish wish = {
        .count = p->usable,
        .tree = p->at,
        .blocks = p->blocks,
        .per_block = each,
        .reach_m = p->blocks == 1 && p->reach_m == 0.0 ? (double)1e9 : p->reach_m,
        .weight = QX_ALIKE_WEIGHT,
        .seed = p->layout->seed};
    const bool runs = neighbours_matter(p->protocol) || plots_are_treated(p);
    if (runs && p->outer != QX_NONE) {
        return form_runs(p, each);
    }
    if (p->blocks == 1) {
        return form_group(p);
    }
    if (each * p->blocks != p->count || each < 2) {
        return qx_fail(p->cx,
                       QX_E_INPUT,
                       "trees cannot be put into blocks of alike trees: %zu trees in %zu "
                       "blocks; expected at least two in each, equally many",
                       p->count,
                       p->blocks);
    }
    QX_TRY(qx_alike_make(p->cx, p->arena, &wish, &alike));
    p->out->by_place = isnan(alike.within);
    p->out->within = p->out->by_place ? alike.within_by_place : alike.within;
    p->out->within_by_place = alike.within_by_place;
    p->out->farthest_m = p->out->by_place ? alike.farthest_by_place_m : alike.farthest_m;
    p->out->farthest_by_place_m = alike.farthest_by_place_m;
    p->out->reach_m = alike.reach_m;
    p->out->block_count = p->blocks;
    size_t *block, *by_place;
    QX_TRY(number_blocks(p, alike.by_place, &by_place));
    QX_TRY(number_blocks(p, p->out->by_place ? alike.by_place : alike.block, &block));
    QX_TRY(keep_blocks(p, block, &p->out->block));
    QX_TRY(keep_blocks(p, by_place, &p->out->block_by_place));
    return hand_out(p, block);
}

/* --- rows and columns --- */

static int compare_tree(const void *a, const void *b)
{
    return compare_spots(a, b);
}

/* Is there a free tree at (row, place)? Its number among the sorted spots, or `used`. */
static size_t find_spot(const spot spots[], size_t used, double row, double place)
{
    for (size_t i = 0; i < used; i++) {
        if (spots[i].row == row && spots[i].place == place) {
            return i;
        }
    }
    return used;
}

/* A rectangle of rows and places and where it begins. */
typedef struct rectangle {
    double row, place;
    size_t rows, columns;
    const bool *left_out; /* of each cell: stays untreated, needs no tree */
} rectangle;

/* Cells that need a tree and have none that is free; `tree` gets the others. */
static size_t
fill_rectangle(const placing *p, const spot spots[], const rectangle *at, size_t tree[])
{
    size_t gaps = 0;
    for (size_t i = 0; i < at->rows * at->columns; i++) {
        const size_t row = i / at->columns;
        const size_t found = find_spot(spots,
                                       p->usable,
                                       at->row + (double)row,
                                       at->place + (double)(i % at->columns));
        tree[i] = found == p->usable ? QX_NONE : spots[found].tree;
        gaps += found == p->usable && !at->left_out[i] ? 1 : 0;
    }
    return gaps;
}

/* Things of the trees' unit that the protocol leaves out (layout/wishes.h). */
static qx_status list_left_out(const placing *p, bool **out)
{
    const qx_layout_wishes *w = p->protocol->wishes;
    const qx_unit *unit = &p->protocol->unit[p->unit];
    QX_NEW(p->cx, *out, p->count);
    for (size_t i = 0; w != NULL && i < w->left_out_count; i++) {
        const qx_left_out *gap = &w->left_out[i];
        for (size_t k = 0; gap->unit == p->unit && gap->depth == 3 && k < p->count; k++) {
            const qx_placed *thing = &p->layout->placed[p->thing[k]];
            size_t of[2];
            for (size_t q = 0; q < 2; q++) {
                of[q] = p->layout->placed[thing->parent[q]].number;
            }
            /* numbers stand in the order of the units, which may not be the parents' */
            const bool turned = unit->parent[0] > unit->parent[1];
            (*out)[k] = (*out)[k] || (gap->number[0] == of[turned ? 1 : 0] &&
                                      gap->number[1] == of[turned ? 0 : 1]);
        }
    }
    return QX_OK;
}

static size_t count_things(const placing *p, size_t unit)
{
    size_t count = 0;
    for (size_t i = 0; i < p->layout->placed_count; i++) {
        count += (size_t)(p->layout->placed[i].unit == unit);
    }
    return count;
}

/* Where cells of the rectangle nearest to fitting have no free tree, as the protocol would
 * leave them out: "[1, 4, 1], [3, 2, 1]". */
static const char *gaps_text(const placing *p, const rectangle *at, const size_t tree[])
{
    qx_arena *arena = qx_ctx_scratch(p->cx);
    const char *text = "";
    for (size_t i = 0; text != NULL && i < at->rows * at->columns; i++) {
        if (tree[i] == QX_NONE && !at->left_out[i]) {
            text = qx_arena_printf(arena,
                                   "%s%s[%zu, %zu, 1]",
                                   text,
                                   text[0] == '\0' ? "" : ", ",
                                   i / at->columns + 1,
                                   i % at->columns + 1);
        }
    }
    return text;
}

#define GAPS_TOLD 12 /* more gaps than that are no rectangle */

static qx_status
no_rectangle(const placing *p, const spot spots[], rectangle at, const rectangle *nearest)
{
    size_t *tree;
    QX_NEW(p->cx, tree, p->count);
    const size_t gaps =
        nearest->rows == 0 ? p->count : fill_rectangle(p, spots, nearest, tree);
    if (gaps > GAPS_TOLD || gaps * 4 > p->count) {
        return qx_fail(p->cx,
                       QX_E_INPUT,
                       "%s holds no rectangle of %zu rows and %zu places without a gap; "
                       "expected one, or blocks instead of rows and columns",
                       p->trees->file,
                       at.rows,
                       at.columns);
    }
    const char *text = gaps_text(p, nearest, tree);
    if (text == NULL) {
        return qx_fail(p->cx, QX_E_NOMEM, "no memory for a message");
    }
    return qx_fail(
        p->cx,
        QX_E_INPUT,
        "%s holds no rectangle of %zu rows and %zu places without a gap; the "
        "one that begins at row %.0f, place %.0f has %zu; expected one without, "
        "or in the protocol layout: {left_out: {%s: [%s]}}",
        p->trees->file,
        at.rows,
        at.columns,
        nearest->row,
        nearest->place,
        gaps,
        p->protocol->unit[p->unit].name,
        text);
}

/* Parents that cross and stand outermost: row r and column c get the tree at (r, c). */
static qx_status find_rectangle(placing *p)
{
    const qx_unit *unit = &p->protocol->unit[p->unit];
    rectangle at = {.rows = count_things(p, unit->parent[0]),
                    .columns =
                        unit->parent_count == 2 ? count_things(p, unit->parent[1]) : 0};
    rectangle nearest = {0};
    size_t least = SIZE_MAX;
    bool *left_out;
    spot *spots;
    spot *corners;
    if (at.rows * at.columns != p->count) {
        return qx_fail(
            p->cx,
            QX_E_INPUT,
            "trees of a list can be given to blocks, or to rows and columns with "
            "one tree in each cell; these units are neither");
    }
    QX_TRY(list_left_out(p, &left_out));
    QX_NEW(p->cx, corners, p->trees->count);
    at.left_out = left_out;
    QX_NEW(p->cx, spots, p->usable);
    for (size_t i = 0; i < p->usable; i++) {
        const qx_tree *tree = &p->trees->tree[p->free_tree[i]];
        spots[i] =
            (spot){.row = tree->row, .place = tree->place, .tree = p->free_tree[i]};
    }
    qsort(spots, p->usable, sizeof *spots, compare_tree);
    for (size_t i = 0; i < p->trees->count; i++) {
        corners[i] = (spot){
            .row = p->trees->tree[i].row, .place = p->trees->tree[i].place, .tree = i};
    }
    qsort(corners, p->trees->count, sizeof *corners, compare_tree);
    for (size_t i = 0; i < p->trees->count; i++) {
        at.row = corners[i].row;
        at.place = corners[i].place;
        const size_t gaps = fill_rectangle(p, spots, &at, p->chosen);
        if (gaps == 0) {
            p->out->by_place = true;
            p->out->within = p->out->within_by_place = (double)NAN;
            return QX_OK;
        }
        if (gaps < least) {
            least = gaps;
            nearest = at;
        }
    }
    return no_rectangle(p, spots, at, &nearest);
}

/* --- the layout with its trees --- */

static qx_status keep(placing *p)
{
    qx_placed *placed;
    qx_stand *stand;
    QX_NEW_IN(p->cx, p->layout->arena, placed, p->layout->placed_count);
    QX_NEW_IN(p->cx, p->layout->arena, stand, p->layout->placed_count);
    memcpy(placed, p->layout->placed, p->layout->placed_count * sizeof *placed);
    for (size_t i = 0; i < p->layout->placed_count; i++) {
        stand[i] = (qx_stand){(double)NAN, (double)NAN, (double)NAN};
    }
    for (size_t k = 0; k < p->count; k++) {
        if (p->chosen[k] == QX_NONE) {
            continue; /* left out, and nothing stands there */
        }
        const qx_tree *tree = &p->trees->tree[p->chosen[k]];
        const char *label = qx_arena_copy(p->layout->arena, tree->label);
        if (label == NULL) {
            return qx_fail(p->cx, QX_E_NOMEM, "no memory for the trees");
        }
        placed[p->thing[k]].label = label;
        stand[p->thing[k]] = (qx_stand){tree->row, tree->place, tree->trunk_area_cm2};
    }
    p->layout->placed = placed;
    p->layout->stand = stand;
    return QX_OK;
}

static qx_status place(placing *p)
{
    QX_TRY(list_things(p));
    QX_TRY(list_trees(p));
    QX_TRY(p->outer == p->unit ? find_rectangle(p) : form_blocks(p));
    QX_TRY(find_odd(p));
    return keep(p);
}

qx_status qx_trees_place(qx_ctx *cx,
                         qx_arena *arena,
                         const qx_protocol *protocol,
                         const qx_trees *trees,
                         double reach_m,
                         qx_layout *layout,
                         qx_trees_placed *out)
{
    qx_trees_placed made = {0};
    placing p = {.cx = cx,
                 .arena = arena,
                 .protocol = protocol,
                 .trees = trees,
                 .reach_m = reach_m,
                 .layout = layout,
                 .out = &made};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, place(&p));
    if (status == QX_OK) {
        *out = made;
    }
    return status;
}
