/* A unit with treatments in the cells of rows and columns that cross. */
#include "layout/plan.h"

/* The unit, or QX_WHOLE_TRIAL, inside which rows and columns both lie: the same parent, or
 * one of them inside a unit that the other runs across. False if there is none. */
static bool common_group(const qx_plan *plan, const qx_stratum *s, size_t *group)
{
    const qx_layout_unit *rows = &plan->spec->unit[s->rows];
    const qx_layout_unit *columns = &plan->spec->unit[s->columns];
    if (rows->parent_count > 1 || columns->parent_count > 1) {
        return false;
    }
    const size_t a = rows->parent_count == 1 ? rows->parent[0] : QX_WHOLE_TRIAL;
    const size_t b = columns->parent_count == 1 ? columns->parent[0] : QX_WHOLE_TRIAL;
    if (a != b && a != QX_WHOLE_TRIAL && b != QX_WHOLE_TRIAL) {
        return false;
    }
    *group = a == QX_WHOLE_TRIAL ? b : a;
    return true;
}

/* Rows and columns held by one group; a unit that runs across the groups is whole in each. */
static size_t line_held(const qx_plan *plan, size_t line, size_t group)
{
    const bool inside = group != QX_WHOLE_TRIAL && qx_plan_above(plan, line, group);
    return qx_plan_held(plan, line, inside ? group : QX_WHOLE_TRIAL);
}

/* Can n things tell so many combinations apart when so many blocks are taken out? */
bool qx_connectable(size_t things, size_t blocks, size_t combinations)
{
    return things >= combinations && things - combinations + 1 >= blocks;
}

/* A rectangle that is no Latin square, has gaps or holds checks: rows and columns at once, by
 * search. Checks and gaps are looked at over the whole trial. */
static void try_rectangle(const qx_plan *plan, qx_stratum *s, size_t group)
{
    const size_t groups = group == QX_WHOLE_TRIAL ? 1 : plan->total[group];
    const bool inside = group != QX_WHOLE_TRIAL &&
                        qx_plan_above(plan, s->columns, group) &&
                        qx_plan_above(plan, s->rows, group);
    const size_t lines =
        plan->total[s->rows] + plan->total[s->columns] - (inside ? groups : 1);
    const size_t all = qx_times(groups, s->held);
    const size_t things = all > s->left_out ? all - s->left_out : 0;
    const bool checked =
        s->check == NULL || (s->checks > 0 && s->checks < s->combinations);
    s->set = group;
    s->set_held = s->held;
    if (s->held % s->share_sum != 0 || group == QX_WHOLE_TRIAL || s->check != NULL ||
        s->left_out > 0) {
        s->set = QX_WHOLE_TRIAL;
        s->set_held = all;
    }
    if (s->row_held > 1 && s->column_held > 1 && checked &&
        qx_connectable(things, lines, s->combinations)) {
        s->rule = QX_RULE_ROWCOL;
    }
}

void qx_stratum_cross(const qx_plan *plan, qx_stratum *s, size_t cell)
{
    const qx_layout_unit *unit = &plan->spec->unit[cell];
    size_t group = QX_WHOLE_TRIAL;
    s->rows = unit->parent[0];
    s->columns = unit->parent[1];
    s->row_held = line_held(plan, s->rows, QX_WHOLE_TRIAL);
    s->column_held = line_held(plan, s->columns, QX_WHOLE_TRIAL);
    s->group_count = 0;
    const bool treated =
        qx_plan_treated(plan, s->rows) || qx_plan_treated(plan, s->columns);
    if (treated || !common_group(plan, s, &group)) {
        return;
    }
    if (group != QX_WHOLE_TRIAL) {
        s->group[0] = group;
        s->group_count = 1;
    }
    s->row_held = line_held(plan, s->rows, group);
    s->column_held = line_held(plan, s->columns, group);
    s->held = qx_times(s->row_held, s->column_held);
    if (s->row_held == s->combinations && s->column_held == s->combinations &&
        s->share == NULL && s->check == NULL && s->left_out == 0 &&
        s->combinations <= QX_LATIN_ORDER_MOST) {
        s->rule = QX_RULE_LATIN;
    } else {
        try_rectangle(plan, s, group);
    }
}
