#include "layout/ground.h"

static bool stands_around(const qx_plan *plan, size_t unit)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    return wishes != NULL && wishes->around != NULL && wishes->around[unit];
}

/* The placed unit with the most things, the last of them; above what stands around it. */
static size_t tree_of(const qx_plan *plan)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    size_t tree = QX_NO_WISH;
    if (wishes != NULL && wishes->tree != QX_NO_WISH) {
        return wishes->tree;
    }
    for (size_t i = 0; i < plan->spec->unit_count; i++) {
        const size_t u = plan->order[i];
        if (plan->placed[u] &&
            (tree == QX_NO_WISH || plan->total[u] >= plan->total[tree])) {
            tree = u;
        }
    }
    while (tree != QX_NO_WISH && stands_around(plan, tree) &&
           plan->spec->unit[tree].parent_count > 0) {
        tree = plan->spec->unit[tree].parent[0];
    }
    return tree;
}

/* Up by the first parents: the first of two that cross, else the outermost. */
static size_t row_of(const qx_plan *plan, size_t tree)
{
    size_t unit = tree;
    while (plan->spec->unit[unit].parent_count == 1) {
        unit = plan->spec->unit[unit].parent[0];
    }
    if (plan->spec->unit[unit].parent_count > 1) {
        return plan->spec->unit[unit].parent[0];
    }
    return unit == tree ? QX_WHOLE_TRIAL : unit;
}

qx_ground qx_ground_of(const qx_plan *plan, const qx_places *places)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    qx_ground ground = {.plan = plan, .places = places, .tree = tree_of(plan)};
    ground.row = QX_WHOLE_TRIAL;
    if (ground.tree == QX_NO_WISH) {
        return ground;
    }
    if (wishes != NULL && wishes->rows > 0) {
        ground.trees_in_row =
            (plan->total[ground.tree] + wishes->rows - 1) / wishes->rows;
    } else if (wishes != NULL && wishes->row != QX_NO_WISH) {
        ground.row =
            qx_plan_above(plan, ground.tree, wishes->row) ? wishes->row : QX_WHOLE_TRIAL;
    } else {
        ground.row = row_of(plan, ground.tree);
    }
    return ground;
}

/* The first thing of `unit` that stands in `thing`. */
static size_t first_below(const qx_ground *g, size_t thing, size_t unit)
{
    const size_t first = g->places->first[unit];
    const size_t above = g->places->placed[thing].unit;
    for (size_t i = first; i < first + g->places->things[unit]; i++) {
        if (qx_place_above(g->plan, g->places, i, above) == thing) {
            return i;
        }
    }
    return first;
}

size_t qx_ground_tree(const qx_ground *g, size_t thing)
{
    const size_t unit = g->places->placed[thing].unit;
    if (qx_plan_above(g->plan, unit, g->tree)) {
        return qx_place_above(g->plan, g->places, thing, g->tree);
    }
    return qx_plan_above(g->plan, g->tree, unit) ? first_below(g, thing, g->tree)
                                                 : g->places->first[g->tree];
}

size_t qx_ground_row(const qx_ground *g, size_t thing)
{
    const size_t tree = qx_ground_tree(g, thing);
    if (g->trees_in_row > 0) {
        return (tree - g->places->first[g->tree]) / g->trees_in_row;
    }
    return g->row == QX_WHOLE_TRIAL ? 0
                                    : qx_place_above(g->plan, g->places, tree, g->row) -
                                          g->places->first[g->row];
}

/* --- neighbours --- */

static bool same_parents(const qx_ground *g, size_t a, size_t b)
{
    const size_t unit = g->places->placed[a].unit;
    for (size_t k = 0; k < g->plan->spec->unit[unit].parent_count; k++) {
        if (g->places->placed[a].parent[k] != g->places->placed[b].parent[k]) {
            return false;
        }
    }
    return true;
}

/* Do the things a and a + 1 of one unit stand beside each other? */
static bool beside(const qx_ground *g, size_t a, size_t unit)
{
    const bool below_tree = unit != g->tree && qx_plan_above(g->plan, unit, g->tree);
    if (stands_around(g->plan, unit) || below_tree) {
        return same_parents(g, a, a + 1);
    }
    if (!qx_plan_above(g->plan, g->tree, unit)) {
        return same_parents(g, a, a + 1);
    }
    const bool rows_inside = g->row != QX_WHOLE_TRIAL && unit != g->row &&
                             !qx_plan_above(g->plan, unit, g->row);
    return !rows_inside && unit != g->row &&
           qx_ground_row(g, a) == qx_ground_row(g, a + 1);
}

qx_status qx_ground_neighbours(
    qx_ctx *cx, qx_arena *arena, const qx_ground *g, size_t unit, qx_neighbours *out)
{
    const size_t first = g->places->first[unit];
    const size_t things = g->places->things[unit];
    size_t(*pair)[2] = NULL;
    size_t count = 0;
    QX_NEW_IN(cx, arena, pair, 2 * things + 1);
    for (size_t i = first; i + 1 < first + things; i++) {
        if (beside(g, i, unit)) {
            pair[count][0] = i;
            pair[count++][1] = i + 1;
        }
    }
    const size_t round = g->plan->spec->unit[unit].count;
    for (size_t i = first;
         stands_around(g->plan, unit) && round > 2 && i < first + things;
         i += round) {
        pair[count][0] = i + round - 1;
        pair[count++][1] = i;
    }
    *out = (qx_neighbours){.count = count, .pair = (const size_t(*)[2])pair};
    return QX_OK;
}

qx_status qx_ground_read(qx_ctx *cx,
                         qx_arena *arena,
                         const qx_layout_spec *spec,
                         const qx_layout *layout,
                         qx_plan **plan,
                         qx_places *places)
{
    qx_complaints to = {0};
    size_t *first = NULL;
    size_t *things = NULL;
    QX_TRY(qx_plan_make(cx, arena, spec, &to, plan));
    if (*plan == NULL || layout->treatment_count != spec->treatment_count) {
        return qx_fail(cx, QX_E_ARG, "the layout was made from other units");
    }
    QX_NEW_IN(cx, arena, first, spec->unit_count);
    QX_NEW_IN(cx, arena, things, spec->unit_count);
    for (size_t i = 0; i < layout->placed_count; i++) {
        const size_t unit = layout->placed[i].unit;
        if (unit >= spec->unit_count) {
            return qx_fail(cx, QX_E_ARG, "the layout was made from other units");
        }
        first[unit] = things[unit] == 0 ? i : first[unit];
        things[unit]++;
    }
    *places = (qx_places){layout->placed_count, layout->placed, first, things};
    return QX_OK;
}
