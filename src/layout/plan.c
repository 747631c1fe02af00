#include "layout/plan.h"

#include <string.h>

void qx_complaint(qx_complaints *to,
                  size_t unit,
                  size_t treatment,
                  const char *wrong,
                  const char *expected)
{
    to->count++;
    if (to->complain != NULL) {
        to->complain(to->listener, unit, treatment, wrong, expected);
    }
}

/* a * b, or SIZE_MAX when it does not fit or one of them did not. */
static size_t times(size_t a, size_t b)
{
    if (a != 0 && b > SIZE_MAX / a) {
        return SIZE_MAX;
    }
    return a * b;
}

bool qx_plan_above(const qx_plan *plan, size_t u, size_t a)
{
    return plan->above[u * plan->spec->unit_count + a];
}

size_t qx_plan_held(const qx_plan *plan, size_t u, size_t g)
{
    return g == QX_WHOLE_TRIAL ? plan->total[u] : plan->total[u] / plan->total[g];
}

/* --- the spec itself --- */

static void check_unit(const qx_layout_spec *spec, size_t u, qx_complaints *to)
{
    const qx_layout_unit *unit = &spec->unit[u];
    if (unit->parent_count > QX_LAYOUT_PARENTS) {
        qx_complaint(
            to, u, SIZE_MAX, "a unit crosses more than 4 others", "expected 4 at most");
        return;
    }
    for (size_t i = 0; i < unit->parent_count; i++) {
        if (unit->parent[i] >= spec->unit_count) {
            qx_complaint(to,
                         u,
                         SIZE_MAX,
                         "a unit stands within one that does not exist",
                         "expected the name of a unit");
        }
    }
}

static void check_treatment(const qx_layout_spec *spec, size_t t, qx_complaints *to)
{
    const qx_layout_treatment *treatment = &spec->treatment[t];
    if (treatment->on >= spec->unit_count) {
        qx_complaint(to,
                     SIZE_MAX,
                     t,
                     "a treatment is put on a unit that does not exist",
                     "expected the name of a unit");
    } else if (treatment->level_count == 0) {
        qx_complaint(to,
                     treatment->on,
                     t,
                     "a treatment has no levels",
                     "expected levels such as [none, early]");
    }
}

static bool spec_is_sound(const qx_layout_spec *spec, qx_complaints *to)
{
    const size_t before = to->count;
    if (spec->unit_count == 0) {
        qx_complaint(
            to, SIZE_MAX, SIZE_MAX, "there are no units", "expected units: {tree: ...}");
    }
    if (spec->unit_count > QX_UNITS_MOST) {
        qx_complaint(to,
                     SIZE_MAX,
                     SIZE_MAX,
                     "there are more units than a layout can hold",
                     "expected 64 at most");
        return false;
    }
    for (size_t u = 0; u < spec->unit_count; u++) {
        check_unit(spec, u, to);
    }
    for (size_t t = 0; t < spec->treatment_count; t++) {
        check_treatment(spec, t, to);
    }
    return to->count == before;
}

/* --- order, path, totals --- */

static bool parents_done(const qx_layout_unit *unit, const bool done[])
{
    for (size_t i = 0; i < unit->parent_count; i++) {
        if (!done[unit->parent[i]]) {
            return false;
        }
    }
    return true;
}

/* Parents before children, else as in the spec; false for a circle. */
static bool sort_units(qx_plan *plan)
{
    const qx_layout_spec *spec = plan->spec;
    bool done[QX_UNITS_MOST] = {false};
    size_t n = 0;
    for (bool moved = true; moved;) {
        moved = false;
        for (size_t u = 0; u < spec->unit_count; u++) {
            if (!done[u] && parents_done(&spec->unit[u], done)) {
                plan->order[n++] = u;
                done[u] = true;
                moved = true;
            }
        }
    }
    return n == spec->unit_count;
}

static void fill_unit(qx_plan *plan, size_t u)
{
    const size_t n = plan->spec->unit_count;
    const qx_layout_unit *unit = &plan->spec->unit[u];
    plan->above[u * n + u] = true;
    plan->placed[u] = !unit->sample;
    for (size_t i = 0; i < unit->parent_count; i++) {
        plan->placed[u] = plan->placed[u] && plan->placed[unit->parent[i]];
        for (size_t a = 0; a < n; a++) {
            plan->above[u * n + a] =
                plan->above[u * n + a] || qx_plan_above(plan, unit->parent[i], a);
        }
    }
    plan->total[u] = 1;
    for (size_t a = 0; a < n; a++) {
        if (qx_plan_above(plan, u, a) && !plan->spec->unit[a].sample) {
            plan->total[u] = times(plan->total[u], plan->spec->unit[a].count);
        }
    }
}

static bool fill_units(qx_plan *plan, qx_complaints *to)
{
    size_t things = 0;
    for (size_t i = 0; i < plan->spec->unit_count; i++) {
        const size_t u = plan->order[i];
        fill_unit(plan, u);
        if (plan->placed[u] && plan->spec->unit[u].count == 0) {
            qx_complaint(to,
                         u,
                         SIZE_MAX,
                         "a unit has a count of 0",
                         "expected 1 or more inside each parent");
            return false;
        }
        if (plan->placed[u]) {
            things = plan->total[u] > QX_PLACED_MOST ? SIZE_MAX : things + plan->total[u];
        }
        if (things > QX_PLACED_MOST) {
            qx_complaint(to,
                         u,
                         SIZE_MAX,
                         "there are more things to place than a layout can hold",
                         "expected 1,000,000 at most, all units together");
            return false;
        }
    }
    return true;
}

/* --- strata --- */

static bool has_treatments(const qx_plan *plan, size_t unit)
{
    for (size_t t = 0; t < plan->spec->treatment_count; t++) {
        if (plan->spec->treatment[t].on == unit) {
            return true;
        }
    }
    return false;
}

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

/* `cell` lies in two crossed units: is there a Latin square for the stratum? */
static void try_latin(const qx_plan *plan, qx_stratum *s, size_t cell)
{
    const qx_layout_unit *unit = &plan->spec->unit[cell];
    size_t group = QX_WHOLE_TRIAL;
    s->rows = unit->parent[0];
    s->columns = unit->parent[1];
    s->row_held = line_held(plan, s->rows, QX_WHOLE_TRIAL);
    s->column_held = line_held(plan, s->columns, QX_WHOLE_TRIAL);
    s->group_count = 0;
    const bool treated =
        has_treatments(plan, s->rows) || has_treatments(plan, s->columns);
    if (treated || !common_group(plan, s, &group)) {
        return;
    }
    if (group != QX_WHOLE_TRIAL) {
        s->group[0] = group;
        s->group_count = 1;
    }
    s->row_held = line_held(plan, s->rows, group);
    s->column_held = line_held(plan, s->columns, group);
    s->held = times(s->row_held, s->column_held);
    if (s->row_held == s->combinations && s->column_held == s->combinations &&
        s->combinations <= QX_LATIN_ORDER_MOST) {
        s->rule = QX_RULE_LATIN;
    }
}

/* One step up from `unit` (the stratum's, or one that holds a single thing of it): sets the
 * group and the rule, or gives true to go on from *unit. */
static bool step_up(const qx_plan *plan, qx_stratum *s, size_t *unit)
{
    const qx_layout_unit *here = &plan->spec->unit[*unit];
    s->group_count = here->parent_count;
    memcpy(s->group, here->parent, here->parent_count * sizeof s->group[0]);
    if (here->parent_count == 0) {
        s->held = plan->total[s->unit];
    } else {
        s->held = times(s->held, here->count);
    }
    QX_ASSERT(s->combinations > 0); /* a treatment without levels is complained of */
    if (s->combinations > 0 && s->held % s->combinations == 0) {
        s->rule = QX_RULE_SHUFFLE;
        return false;
    }
    if (s->held != 1 || here->parent_count == 0) {
        return false;
    }
    if (here->parent_count == 1) {
        *unit = here->parent[0];
        return !has_treatments(plan, *unit);
    }
    if (here->parent_count == 2) {
        try_latin(plan, s, *unit);
    }
    return false;
}

static void find_rule(const qx_plan *plan, qx_stratum *s)
{
    s->rule = QX_RULE_NONE;
    s->rows = s->columns = QX_WHOLE_TRIAL;
    s->held = 1;
    if (s->combinations == 0 || s->combinations == SIZE_MAX || !plan->placed[s->unit]) {
        return;
    }
    size_t unit = s->unit;
    while (step_up(plan, s, &unit)) {
    }
}

static qx_status make_stratum(qx_ctx *cx, qx_arena *arena, qx_plan *plan, size_t unit)
{
    qx_stratum *s = &plan->stratum[plan->stratum_count++];
    s->unit = unit;
    s->combinations = 1;
    QX_NEW_IN(cx, arena, s->treatment, plan->spec->treatment_count);
    for (size_t t = 0; t < plan->spec->treatment_count; t++) {
        if (plan->spec->treatment[t].on == unit) {
            s->treatment[s->treatment_count++] = t;
            s->combinations =
                times(s->combinations, plan->spec->treatment[t].level_count);
        }
    }
    find_rule(plan, s);
    return QX_OK;
}

qx_status qx_plan_make(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_layout_spec *spec,
                       qx_complaints *to,
                       qx_plan **out)
{
    *out = NULL;
    if (!spec_is_sound(spec, to)) {
        return QX_OK;
    }
    qx_plan *plan = NULL;
    QX_NEW_IN(cx, arena, plan, 1);
    plan->spec = spec;
    QX_NEW_IN(cx, arena, plan->order, spec->unit_count);
    QX_NEW_IN(cx, arena, plan->above, spec->unit_count * spec->unit_count);
    QX_NEW_IN(cx, arena, plan->placed, spec->unit_count);
    QX_NEW_IN(cx, arena, plan->total, spec->unit_count);
    QX_NEW_IN(cx, arena, plan->stratum, spec->unit_count);
    if (!sort_units(plan)) {
        qx_complaint(to,
                     SIZE_MAX,
                     SIZE_MAX,
                     "units stand within themselves",
                     "expected an outermost unit with no \"within\"");
        return QX_OK;
    }
    if (!fill_units(plan, to)) {
        return QX_OK;
    }
    for (size_t i = 0; i < spec->unit_count; i++) {
        if (has_treatments(plan, plan->order[i])) {
            QX_TRY(make_stratum(cx, arena, plan, plan->order[i]));
        }
    }
    *out = plan;
    return QX_OK;
}

/* --- names for messages and descriptions --- */

const char *qx_stratum_names(qx_arena *arena, const qx_plan *plan, const qx_stratum *s)
{
    const char *names = plan->spec->treatment[s->treatment[0]].name;
    for (size_t i = 1; i < s->treatment_count && names != NULL; i++) {
        names = qx_arena_printf(
            arena, "%s x %s", names, plan->spec->treatment[s->treatment[i]].name);
    }
    return names;
}

const char *qx_stratum_group(qx_arena *arena, const qx_plan *plan, const qx_stratum *s)
{
    if (s->group_count == 0) {
        return "trial";
    }
    const char *names = plan->spec->unit[s->group[0]].name;
    if (s->group_count == 1) {
        return names;
    }
    for (size_t i = 1; i < s->group_count && names != NULL; i++) {
        names = qx_arena_printf(
            arena, "%s and %s", names, plan->spec->unit[s->group[i]].name);
    }
    return names == NULL ? NULL : qx_arena_printf(arena, "cell of %s", names);
}
