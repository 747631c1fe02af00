/* Units with treatments: what is drawn on them, how often, and inside what. */
#include <string.h>

#include "layout/plan.h"

size_t qx_stratum_treated(const qx_stratum *s, size_t count)
{
    return (count + s->guards) / (s->guards + 1);
}

bool qx_stratum_treats(const qx_stratum *s, size_t number)
{
    return (number - 1) % (s->guards + 1) == 0;
}

size_t qx_stratum_things(const qx_plan *plan, const qx_stratum *s)
{
    const size_t count = plan->spec->unit[s->unit].count;
    return plan->total[s->unit] / count * qx_stratum_treated(s, count) - s->left_out;
}

/* --- blocks --- */

/* The smallest unit above the groups that holds every combination as wished. */
static void find_set(const qx_plan *plan, qx_stratum *s)
{
    size_t unit = s->group_count == 1 ? s->group[0] : QX_WHOLE_TRIAL;
    s->set = QX_WHOLE_TRIAL;
    s->set_held = qx_stratum_treated(s, plan->spec->unit[s->unit].count) *
                  (plan->total[s->unit] / plan->spec->unit[s->unit].count);
    while (unit != QX_WHOLE_TRIAL && plan->spec->unit[unit].parent_count == 1) {
        const size_t above = plan->spec->unit[unit].parent[0];
        const size_t held = qx_times(s->held, qx_plan_held(plan, s->group[0], above));
        if (held % s->share_sum == 0 && plan->total[above] > 1) {
            s->set = above;
            s->set_held = held;
            return;
        }
        unit = above;
    }
}

static void try_incomplete(const qx_plan *plan, qx_stratum *s)
{
    find_set(plan, s);
    const size_t sets = s->set == QX_WHOLE_TRIAL ? 1 : plan->total[s->set];
    const size_t things = sets * s->set_held;
    if (s->held > 1 && qx_connectable(things, things / s->held, s->combinations)) {
        s->rule = QX_RULE_INCOMPLETE;
    }
}

/* Checks in each of the groups, what is new once: does everything have its place? */
static void try_augmented(const qx_plan *plan, qx_stratum *s)
{
    find_set(plan, s);
    const size_t sets = s->set == QX_WHOLE_TRIAL ? 1 : plan->total[s->set];
    const size_t groups = s->held == 0 ? 0 : sets * s->set_held / s->held;
    const size_t entries = s->combinations - s->checks;
    s->set = QX_WHOLE_TRIAL;
    s->set_held = groups * s->held;
    if (s->group_count > 0 && groups > 1 && s->held > s->checks && s->checks > 0 &&
        entries > 0 && entries <= groups * (s->held - s->checks)) {
        s->rule = QX_RULE_AUGMENTED;
    }
}

/* --- going up --- */

/* One step up from `unit` (the stratum's, or one that holds a single thing of it): sets the
 * group and the rule, or gives true to go on from *unit. */
static bool step_up(const qx_plan *plan, qx_stratum *s, size_t *unit)
{
    const qx_layout_unit *here = &plan->spec->unit[*unit];
    const size_t count =
        *unit == s->unit ? qx_stratum_treated(s, here->count) : here->count;
    s->group_count = here->parent_count;
    memcpy(s->group, here->parent, here->parent_count * sizeof s->group[0]);
    s->held = qx_times(s->held, count);
    QX_ASSERT(s->share_sum > 0); /* a treatment without levels is complained of */
    if (s->check == NULL && s->share_sum > 0 && s->held % s->share_sum == 0) {
        s->rule = QX_RULE_SHUFFLE;
        return false;
    }
    if (s->held != 1 || here->parent_count == 0) {
        return false;
    }
    if (here->parent_count == 1) {
        *unit = here->parent[0];
        return !qx_plan_treated(plan, *unit);
    }
    if (here->parent_count == 2) {
        qx_stratum_cross(plan, s, *unit);
    }
    return false;
}

/* Is the thing that is left out one that would be treated? */
static bool leaves_out(const qx_stratum *s, const qx_left_out *out)
{
    const size_t own = out->depth == 0 ? 0 : out->number[out->depth - 1];
    return out->unit == s->unit && own > 0 && qx_stratum_treats(s, own);
}

/* Do two things that are left out stand in the same thing of `group`? */
static bool
same_group(const qx_plan *plan, size_t group, const qx_left_out *a, const qx_left_out *b)
{
    size_t path[QX_UNITS_MOST];
    const size_t depth = qx_plan_path(plan, a->unit, path);
    for (size_t k = 0; k < depth && k < a->depth && k < b->depth; k++) {
        if (qx_plan_above(plan, group, path[k]) && a->number[k] != b->number[k]) {
            return false;
        }
    }
    return true;
}

/* Most things that one of the stratum's groups misses. */
static size_t most_missed(const qx_plan *plan, const qx_stratum *s)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    size_t most = 0;
    for (size_t i = 0; i < wishes->left_out_count; i++) {
        size_t missed = 0;
        for (size_t k = 0; k < wishes->left_out_count; k++) {
            missed +=
                leaves_out(s, &wishes->left_out[i]) &&
                        leaves_out(s, &wishes->left_out[k]) &&
                        same_group(
                            plan, s->group[0], &wishes->left_out[i], &wishes->left_out[k])
                    ? 1
                    : 0;
        }
        most = missed > most ? missed : most;
    }
    return most;
}

/* Checks in each of the uneven groups, what is new once. */
static void try_uneven_checks(const qx_plan *plan, qx_stratum *s, size_t groups)
{
    const size_t things = qx_stratum_things(plan, s);
    const size_t missed = most_missed(plan, s);
    const size_t least = s->held > missed ? s->held - missed : 0;
    const size_t entries = s->combinations - s->checks;
    if (groups > 1 && s->checks > 0 && entries > 0 && least >= s->checks &&
        entries <= things - groups * s->checks) {
        s->rule = QX_RULE_AUGMENTED;
    }
}

/* Some things are left out: blocks, rows and columns hold what there is. */
static void find_uneven(const qx_plan *plan, qx_stratum *s)
{
    const size_t things = qx_stratum_things(plan, s);
    size_t unit = s->unit;
    size_t groups = 1;
    s->held = qx_stratum_treated(s, plan->spec->unit[unit].count);
    while (s->held == 1 && plan->spec->unit[unit].parent_count == 1 &&
           !qx_plan_treated(plan, plan->spec->unit[unit].parent[0])) {
        unit = plan->spec->unit[unit].parent[0];
        s->held = plan->spec->unit[unit].count;
    }
    const qx_layout_unit *here = &plan->spec->unit[unit];
    s->group_count = here->parent_count;
    memcpy(s->group, here->parent, here->parent_count * sizeof s->group[0]);
    s->set_held = things;
    if (here->parent_count > 1) {
        if (here->parent_count == 2 && s->held == 1) {
            qx_stratum_cross(plan, s, unit);
        }
        return;
    }
    groups = here->parent_count == 1 ? plan->total[here->parent[0]] : 1;
    if (s->check != NULL) {
        if (here->parent_count == 1) {
            try_uneven_checks(plan, s, groups);
        }
        return;
    }
    if (qx_connectable(things, groups, s->combinations)) {
        s->rule = here->parent_count == 1 ? QX_RULE_INCOMPLETE : QX_RULE_UNEQUAL;
    }
}

static void find_rule(const qx_plan *plan, qx_stratum *s)
{
    s->rule = QX_RULE_NONE;
    s->rows = s->columns = QX_WHOLE_TRIAL;
    s->set = QX_WHOLE_TRIAL;
    s->held = 1;
    if (s->combinations == 0 || s->share_sum == 0 || s->combinations == SIZE_MAX ||
        s->combinations > QX_PLACED_MOST || s->share_sum > QX_PLACED_MOST ||
        !plan->placed[s->unit]) {
        return;
    }
    if (s->left_out > 0) {
        find_uneven(plan, s);
        return;
    }
    size_t unit = s->unit;
    while (step_up(plan, s, &unit)) {
    }
    if (s->rule != QX_RULE_NONE || s->rows != QX_WHOLE_TRIAL) {
        return;
    }
    if (s->check != NULL) {
        try_augmented(plan, s);
    } else if (s->group_count == 0) {
        const bool exact =
            s->share != NULL; /* wished numbers are kept or complained of */
        s->rule = s->held > s->combinations && !exact ? QX_RULE_UNEQUAL : QX_RULE_NONE;
    } else {
        try_incomplete(plan, s);
    }
}

/* --- combinations --- */

static size_t
level_in(const qx_plan *plan, const qx_stratum *s, size_t cell, size_t which)
{
    for (size_t i = s->treatment_count; i-- > which + 1;) {
        cell /= plan->spec->treatment[s->treatment[i]].level_count;
    }
    return cell % plan->spec->treatment[s->treatment[which]].level_count;
}

/* Does the cell go with the added control: all of its levels or none? */
static bool cell_stands(const qx_plan *plan, const qx_stratum *s, size_t cell)
{
    const size_t *control = plan->spec->wishes->added_control;
    size_t named = 0;
    size_t met = 0;
    for (size_t i = 0; i < s->treatment_count; i++) {
        const size_t level = control[s->treatment[i]];
        named += level != QX_NO_WISH ? 1 : 0;
        met += level != QX_NO_WISH && level == level_in(plan, s, cell, i) ? 1 : 0;
    }
    return met == 0 || met == named;
}

static qx_status
list_cells(qx_ctx *cx, qx_arena *arena, const qx_plan *plan, qx_stratum *s)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    if (wishes == NULL || wishes->added_control == NULL || s->treatment_count < 2 ||
        s->combinations > QX_PLACED_MOST) {
        return QX_OK;
    }
    size_t *cell = NULL;
    size_t kept = 0;
    QX_NEW_IN(cx, arena, cell, s->combinations);
    for (size_t c = 0; c < s->combinations; c++) {
        if (cell_stands(plan, s, c)) {
            cell[kept++] = c;
        }
    }
    s->cell = cell;
    s->combinations = kept;
    return QX_OK;
}

static qx_status
list_shares(qx_ctx *cx, qx_arena *arena, const qx_plan *plan, qx_stratum *s)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    bool wished = false;
    s->share_sum = s->combinations;
    for (size_t i = 0; wishes != NULL && i < s->treatment_count; i++) {
        wished = wished || (wishes->replicates != NULL &&
                            wishes->replicates[s->treatment[i]] != NULL);
    }
    if (!wished || s->combinations > QX_PLACED_MOST) {
        return QX_OK;
    }
    size_t *share = NULL;
    QX_NEW_IN(cx, arena, share, s->combinations);
    s->share_sum = 0;
    for (size_t c = 0; c < s->combinations; c++) {
        share[c] = 1;
        for (size_t i = 0; i < s->treatment_count; i++) {
            const size_t *of = wishes->replicates[s->treatment[i]];
            const size_t cell = s->cell == NULL ? c : s->cell[c];
            share[c] =
                qx_times(share[c], of == NULL ? 1 : of[level_in(plan, s, cell, i)]);
        }
        s->share_sum =
            share[c] > SIZE_MAX - s->share_sum ? SIZE_MAX : s->share_sum + share[c];
    }
    s->share = share;
    return QX_OK;
}

/* Checks are levels of the only treatment on the unit; plan_strata does not complain. */
static void list_checks(const qx_plan *plan, qx_stratum *s)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    if (wishes == NULL || wishes->check == NULL || s->treatment_count != 1) {
        return;
    }
    s->check = wishes->check[s->treatment[0]];
    for (size_t c = 0; s->check != NULL && c < s->combinations; c++) {
        s->checks += s->check[c] ? 1 : 0;
    }
}

/* Numbers are checked in wishes.c; what is out of range there is complained of. */
static void count_left_out(const qx_plan *plan, qx_stratum *s)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    for (size_t i = 0; wishes != NULL && i < wishes->left_out_count; i++) {
        const qx_left_out *out = &wishes->left_out[i];
        s->left_out += leaves_out(s, out) ? 1 : 0;
    }
    const size_t count = plan->spec->unit[s->unit].count;
    const size_t all = plan->placed[s->unit] && count > 0
                           ? plan->total[s->unit] / count * qx_stratum_treated(s, count)
                           : 0;
    s->left_out = s->left_out > all ? all : s->left_out;
}

qx_status qx_stratum_make(qx_ctx *cx, qx_arena *arena, qx_plan *plan, size_t unit)
{
    qx_stratum *s = &plan->stratum[plan->stratum_count++];
    const qx_layout_wishes *wishes = plan->spec->wishes;
    s->unit = unit;
    s->combinations = 1;
    s->guards = wishes == NULL || wishes->guards == NULL ? 0 : wishes->guards[unit];
    QX_NEW_IN(cx, arena, s->treatment, plan->spec->treatment_count);
    for (size_t t = 0; t < plan->spec->treatment_count; t++) {
        if (plan->spec->treatment[t].on == unit) {
            s->treatment[s->treatment_count++] = t;
            s->combinations =
                qx_times(s->combinations, plan->spec->treatment[t].level_count);
        }
    }
    count_left_out(plan, s);
    QX_TRY(list_cells(cx, arena, plan, s));
    QX_TRY(list_shares(cx, arena, plan, s));
    list_checks(plan, s);
    find_rule(plan, s);
    return QX_OK;
}
