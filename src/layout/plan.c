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
            plan->total[u] = qx_times(plan->total[u], plan->spec->unit[a].count);
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
        if (qx_plan_treated(plan, plan->order[i])) {
            QX_TRY(qx_stratum_make(cx, arena, plan, plan->order[i]));
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
