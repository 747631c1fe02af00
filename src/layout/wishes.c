/* Wishes that do not go together with the units or with each other. */
#include <string.h>

#include "layout/ground.h"
#include "layout/kind.h"
#include "layout/lines.h"

typedef struct wishing {
    qx_ctx *cx;
    const qx_plan *plan;
    const qx_layout_spec *spec;
    const qx_layout_wishes *wishes;
    qx_complaints *to;
} wishing;

static qx_status tell(const wishing *w,
                      size_t unit,
                      size_t treatment,
                      const char *wrong,
                      const char *expected)
{
    if (wrong == NULL || expected == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for a message");
    }
    qx_complaint(w->to, unit, treatment, wrong, expected);
    return QX_OK;
}

static qx_arena *arena_of(const wishing *w)
{
    return qx_ctx_scratch(w->cx);
}

/* --- kind --- */

static qx_status check_kind(const wishing *w)
{
    const qx_layout_kind *made = qx_kind_suiting(w->plan);
    const qx_layout_kind *beneath = qx_kind_beneath(w->plan);
    const qx_layout_kind *meant =
        w->wishes->kind == NULL ? NULL : qx_kind_find(w->wishes->kind);
    if (meant == NULL || meant == made || meant == beneath) {
        return QX_OK;
    }
    return tell(w,
                SIZE_MAX,
                SIZE_MAX,
                qx_arena_printf(arena_of(w),
                                "the units and treatments make \"%s\", not \"%s\"",
                                beneath->title,
                                meant->title),
                "expected other units, or no kind");
}

/* --- one stratum --- */

static qx_status check_checks(const wishing *w, const qx_stratum *s)
{
    for (size_t i = 0; i < s->treatment_count; i++) {
        const size_t t = s->treatment[i];
        if (w->wishes->check == NULL || w->wishes->check[t] == NULL) {
            continue;
        }
        if (s->treatment_count > 1) {
            return tell(
                w,
                s->unit,
                t,
                qx_arena_printf(arena_of(w),
                                "%s has checks, but %s carries other treatments too",
                                w->spec->treatment[t].name,
                                w->spec->unit[s->unit].name),
                "expected the new levels and the checks as one treatment alone");
        }
        if (s->share != NULL) {
            return tell(w,
                        s->unit,
                        t,
                        qx_arena_printf(arena_of(w),
                                        "%s has both checks and replicates",
                                        w->spec->treatment[t].name),
                        "expected one of them: checks stand in every block, the others "
                        "once");
        }
        if (s->checks == 0 || s->checks == s->combinations) {
            return tell(w,
                        s->unit,
                        t,
                        qx_arena_printf(arena_of(w),
                                        "%s levels of %s are checks",
                                        s->checks == 0 ? "no" : "all",
                                        w->spec->treatment[t].name),
                        "expected some checks and some that are new");
        }
    }
    return QX_OK;
}

static qx_status check_even(const wishing *w, const qx_stratum *s)
{
    const bool *even = w->wishes->even_neighbours;
    const bool crossed = s->rule == QX_RULE_LATIN || s->rule == QX_RULE_ROWCOL;
    for (size_t i = 0; even != NULL && i < s->treatment_count; i++) {
        const size_t t = s->treatment[i];
        const char *name = w->spec->treatment[t].name;
        if (even[t] && s->check != NULL) {
            return tell(w,
                        s->unit,
                        t,
                        qx_arena_printf(arena_of(w),
                                        "neighbours of %s cannot be evened out with "
                                        "checks: what is new stands once",
                                        name),
                        "expected no checks, or no even_neighbours");
        }
        if (even[t] && crossed && s->left_out > 0) {
            return tell(w,
                        s->unit,
                        t,
                        qx_arena_printf(arena_of(w),
                                        "neighbours of %s cannot be evened out in rows "
                                        "and columns with gaps: columns must change "
                                        "places for it",
                                        name),
                        "expected nothing left out, or blocks, or no even_neighbours");
        }
    }
    return QX_OK;
}

/* Trees that one thing of the unit holds: what a run of its treatment is at least. */
static size_t trees_held(const wishing *w, size_t unit)
{
    const qx_places none = {0};
    const qx_ground ground = qx_ground_of(w->plan, &none);
    if (ground.tree == QX_NO_WISH || ground.tree == unit ||
        !qx_plan_above(w->plan, ground.tree, unit)) {
        return 1;
    }
    return qx_plan_held(w->plan, ground.tree, unit);
}

static qx_status check_runs(const wishing *w, const qx_stratum *s)
{
    for (size_t i = 0; w->wishes->run != NULL && i < s->treatment_count; i++) {
        const size_t t = s->treatment[i];
        const size_t held = trees_held(w, s->unit);
        if (w->wishes->run[t] <= held) {
            continue;
        }
        const char *unit = w->spec->unit[s->unit].name;
        const char *name = w->spec->treatment[t].name;
        QX_TRY(tell(
            w,
            s->unit,
            t,
            qx_arena_printf(arena_of(w),
                            "%s is to stay the same on %zu beside each other, but chance "
                            "gives it to each %s, which holds %zu",
                            name,
                            w->wishes->run[t],
                            unit,
                            held),
            qx_arena_printf(arena_of(w),
                            "expected the run as a unit of its own, for it is what the "
                            "treatment is put on: run: {count: ...}, %s: {within: run, "
                            "count: %zu}, and %s on run",
                            unit,
                            w->wishes->run[t],
                            name)));
    }
    return QX_OK;
}

/* More of one level in a row than can be kept apart. Only where each group is a stretch. */
static qx_status check_apart(const wishing *w, const qx_stratum *s)
{
    const bool *apart = w->wishes->apart;
    if (apart == NULL || s->treatment_count != 1 || !apart[s->treatment[0]] ||
        s->group_count > 1 || s->rule != QX_RULE_SHUFFLE || s->guards > 0) {
        return QX_OK;
    }
    const bool round = w->wishes->around != NULL && w->wishes->around[s->unit];
    const size_t most = round ? s->held / 2 : (s->held + 1) / 2;
    for (size_t c = 0; c < s->combinations; c++) {
        const size_t times =
            s->held / s->share_sum * (s->share == NULL ? 1 : s->share[c]);
        if (times > most && s->held > 1) {
            const qx_layout_treatment *treatment = &w->spec->treatment[s->treatment[0]];
            return tell(w,
                        s->unit,
                        s->treatment[0],
                        qx_arena_printf(arena_of(w),
                                        "%s \"%s\" stands on %zu of %zu beside each "
                                        "other and cannot be kept apart",
                                        treatment->name,
                                        treatment->level[c],
                                        times,
                                        s->held),
                        qx_arena_printf(arena_of(w), "expected %zu at most", most));
        }
    }
    return QX_OK;
}

/* --- units --- */

static qx_status check_guards(const wishing *w, size_t unit)
{
    const size_t guards = w->wishes->guards == NULL ? 0 : w->wishes->guards[unit];
    const size_t count = w->spec->unit[unit].count;
    const bool round = w->wishes->around != NULL && w->wishes->around[unit];
    const bool treated = qx_plan_treated(w->plan, unit);
    if (guards == 0) {
        return QX_OK;
    }
    if (treated && round && count % (guards + 1) != 0) {
        const size_t fits = count / (guards + 1) * (guards + 1);
        return tell(w,
                    unit,
                    SIZE_MAX,
                    qx_arena_printf(arena_of(w),
                                    "%zu of %s stand around, which %zu guards after each "
                                    "treated one do not divide",
                                    count,
                                    w->spec->unit[unit].name,
                                    guards),
                    qx_arena_printf(arena_of(w),
                                    "expected a multiple of %zu: %zu, %zu ...",
                                    guards + 1,
                                    fits == 0 ? guards + 1 : fits,
                                    fits + (fits == 0 ? 2 : 1) * (guards + 1)));
    }
    if (treated && count <= guards) {
        return tell(w,
                    unit,
                    SIZE_MAX,
                    qx_arena_printf(arena_of(w),
                                    "%zu of %s cannot hold a treated one and %zu guards "
                                    "after it",
                                    count,
                                    w->spec->unit[unit].name,
                                    guards),
                    qx_arena_printf(arena_of(w),
                                    "expected %zu or more of %s, or %zu guards at most",
                                    guards + 1,
                                    w->spec->unit[unit].name,
                                    count - 1));
    }
    if (!treated && count <= 2 * guards) {
        return tell(w,
                    unit,
                    SIZE_MAX,
                    qx_arena_printf(arena_of(w),
                                    "%zu guards at both ends leave nothing of %zu of %s",
                                    guards,
                                    count,
                                    w->spec->unit[unit].name),
                    qx_arena_printf(arena_of(w),
                                    "expected %zu or more of %s",
                                    2 * guards + 1,
                                    w->spec->unit[unit].name));
    }
    return QX_OK;
}

/* "block 3, tree 9": are there such things, and may they be left out? */
static qx_status check_left_out(const wishing *w, const qx_left_out *out)
{
    size_t path[QX_UNITS_MOST];
    const size_t depth = qx_plan_path(w->plan, out->unit, path);
    const char *unit = w->spec->unit[out->unit].name;
    if (out->depth != depth) {
        return tell(w,
                    out->unit,
                    SIZE_MAX,
                    qx_arena_printf(arena_of(w),
                                    "a %s that is left out is told by %zu of %zu numbers",
                                    unit,
                                    out->depth,
                                    depth),
                    "expected a number for each unit above, larger ones first, and its "
                    "own: [[block, tree]]");
    }
    for (size_t k = 0; k < depth; k++) {
        const qx_layout_unit *at = &w->spec->unit[path[k]];
        if (out->number[k] == 0 || out->number[k] > at->count) {
            return tell(w,
                        out->unit,
                        SIZE_MAX,
                        qx_arena_printf(arena_of(w),
                                        "%s %zu of a %s that is left out is not there",
                                        at->name,
                                        out->number[k],
                                        unit),
                        qx_arena_printf(arena_of(w), "expected 1 to %zu", at->count));
        }
    }
    for (const qx_left_out *other = w->wishes->left_out; other != out; other++) {
        if (other->unit == out->unit && other->depth == depth &&
            memcmp(other->number, out->number, depth * sizeof out->number[0]) == 0) {
            return tell(w,
                        out->unit,
                        SIZE_MAX,
                        qx_arena_printf(arena_of(w), "a %s is left out twice", unit),
                        "expected each once");
        }
    }
    return QX_OK;
}

/* Things are left out of blocks, of a whole trial, or of rows and columns with one in each
 * cell. */
static qx_status check_uneven(const wishing *w, const qx_stratum *s)
{
    if (s->left_out == 0 || s->rule != QX_RULE_NONE || s->group_count < 2 ||
        s->rows != QX_WHOLE_TRIAL) {
        return QX_OK;
    }
    return tell(w,
                s->unit,
                s->treatment[0],
                qx_arena_printf(arena_of(w),
                                "%s is left out where units cross and each cell holds "
                                "several",
                                w->spec->unit[s->unit].name),
                "expected one in each cell of two units that cross, or blocks");
}

/* Gaps in rows and columns are searched with a table of all pairs of trees. */
static qx_status check_gaps(const wishing *w, const qx_stratum *s)
{
    const size_t things = qx_stratum_things(w->plan, s);
    if (s->left_out == 0 || s->rule != QX_RULE_ROWCOL || things <= QX_GAPS_IN_MOST) {
        return QX_OK;
    }
    return tell(
        w,
        s->unit,
        s->treatment[0],
        qx_arena_printf(arena_of(w),
                        "%zu of %s stand in rows and columns with gaps",
                        things,
                        w->spec->unit[s->unit].name),
        qx_arena_printf(arena_of(w), "expected %zu at most, or blocks", QX_GAPS_IN_MOST));
}

/* The levels of an added control are of treatments on one unit. */
static qx_status check_control(const wishing *w)
{
    size_t first = SIZE_MAX;
    size_t named = 0;
    for (size_t t = 0; t < w->spec->treatment_count; t++) {
        if (w->wishes->added_control == NULL ||
            w->wishes->added_control[t] == QX_NO_WISH) {
            continue;
        }
        named++;
        first = first == SIZE_MAX ? t : first;
        if (w->spec->treatment[t].on != w->spec->treatment[first].on) {
            return tell(
                w,
                w->spec->treatment[t].on,
                t,
                qx_arena_printf(arena_of(w),
                                "the added control joins %s and %s, which are put "
                                "on different units",
                                w->spec->treatment[first].name,
                                w->spec->treatment[t].name),
                "expected treatments that are put on the same unit");
        }
    }
    if (named == 1) {
        return tell(w,
                    w->spec->treatment[first].on,
                    first,
                    qx_arena_printf(arena_of(w),
                                    "the added control names a level of %s alone",
                                    w->spec->treatment[first].name),
                    "expected a level of each treatment it is not crossed with, such as "
                    "{product: none, dose: 0}");
    }
    return QX_OK;
}

qx_status qx_wishes_check(qx_ctx *cx, const qx_plan *plan, qx_complaints *to)
{
    wishing w = {.cx = cx,
                 .plan = plan,
                 .spec = plan->spec,
                 .wishes = plan->spec->wishes,
                 .to = to};
    if (w.wishes == NULL) {
        return QX_OK;
    }
    QX_TRY(check_kind(&w));
    QX_TRY(check_control(&w));
    for (size_t u = 0; u < w.spec->unit_count; u++) {
        QX_TRY(check_guards(&w, u));
    }
    for (size_t i = 0; i < w.wishes->left_out_count; i++) {
        QX_TRY(check_left_out(&w, &w.wishes->left_out[i]));
    }
    for (size_t s = 0; s < plan->stratum_count; s++) {
        QX_TRY(check_uneven(&w, &plan->stratum[s]));
        QX_TRY(check_gaps(&w, &plan->stratum[s]));
        QX_TRY(check_checks(&w, &plan->stratum[s]));
        QX_TRY(check_even(&w, &plan->stratum[s]));
        QX_TRY(check_runs(&w, &plan->stratum[s]));
        QX_TRY(check_apart(&w, &plan->stratum[s]));
    }
    return QX_OK;
}
