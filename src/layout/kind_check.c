/* What stands against a plan, in the user's words and with what would fit. */
#include "layout/ground.h"
#include "layout/kind.h"

static qx_status no_memory(qx_ctx *cx)
{
    return qx_fail(cx, QX_E_NOMEM, "no memory for a message");
}

/* Passes on a complaint about the stratum's first treatment; NULL: no memory. */
static qx_status tell(qx_ctx *cx,
                      const qx_stratum *s,
                      qx_complaints *to,
                      const char *wrong,
                      const char *expected)
{
    if (wrong == NULL || expected == NULL) {
        return no_memory(cx);
    }
    qx_complaint(to, s->unit, s->treatment[0], wrong, expected);
    return QX_OK;
}

/* "pinch has 3 levels" or "pinch x angle has 6 combinations". */
static const char *holds(qx_arena *arena, const qx_plan *plan, const qx_stratum *s)
{
    const bool single = s->treatment_count == 1;
    const size_t n =
        single ? plan->spec->treatment[s->treatment[0]].level_count : s->combinations;
    const char *names = qx_stratum_names(arena, plan, s);
    return names == NULL ? NULL
                         : qx_arena_printf(arena,
                                           "%s has %zu %s%s",
                                           names,
                                           n,
                                           single ? "level" : "combination",
                                           n == 1 ? "" : "s");
}

/* Blocks: how many groups there are in the whole trial. */
static size_t groups_in_all(const qx_plan *plan, const qx_stratum *s)
{
    return s->held == 0 ? 0 : (qx_stratum_things(plan, s) + s->left_out) / s->held;
}

/* --- rows and columns --- */

static qx_status
complain_crossed(qx_ctx *cx, const qx_plan *plan, const qx_stratum *s, qx_complaints *to)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    const char *row = plan->spec->unit[s->rows].name;
    const char *column = plan->spec->unit[s->columns].name;
    const char *has = holds(arena, plan, s);
    const char *wrong = has == NULL ? NULL
                                    : qx_arena_printf(arena,
                                                      "%s, but %zu of %s cross %zu of %s",
                                                      has,
                                                      s->row_held,
                                                      row,
                                                      s->column_held,
                                                      column);
    /* (rows - 1)(columns - 1) must reach levels - 1 */
    const size_t rows = s->row_held < 2 ? 2 : s->row_held;
    const size_t columns = (s->combinations - 1 + rows - 2) / (rows - 1) + 1;
    const char *expected = qx_arena_printf(arena,
                                           "expected %zu of %s or more for a row-column "
                                           "layout, or a Latin square: %zu of %s "
                                           "and %zu of %s; no treatment on either",
                                           columns,
                                           column,
                                           s->combinations,
                                           row,
                                           s->combinations,
                                           column);
    return tell(cx, s, to, wrong, expected);
}

/* --- blocks and the whole trial --- */

static qx_status
complain_few(qx_ctx *cx, const qx_plan *plan, const qx_stratum *s, qx_complaints *to)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    const char *has = holds(arena, plan, s);
    const char *unit = plan->spec->unit[s->unit].name;
    const size_t things = qx_stratum_things(plan, s);
    const char *wrong = has == NULL
                            ? NULL
                            : qx_arena_printf(arena,
                                              "%s, but there %s only %zu of %s%s in all",
                                              has,
                                              things == 1 ? "is" : "are",
                                              things,
                                              unit,
                                              s->guards > 0 ? " between the guards" : "");
    return tell(cx,
                s,
                to,
                wrong,
                qx_arena_printf(arena,
                                "expected %zu of %s at least, or fewer levels",
                                s->combinations,
                                unit));
}

/* Numbers that were wished and do not add up to the trees. */
static qx_status
complain_wished(qx_ctx *cx, const qx_plan *plan, const qx_stratum *s, qx_complaints *to)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    const char *names = qx_stratum_names(arena, plan, s);
    const char *unit = plan->spec->unit[s->unit].name;
    const size_t below = s->held / s->share_sum * s->share_sum;
    const size_t from = below == 0 ? s->share_sum : below;
    const char *wrong =
        names == NULL ? NULL
                      : qx_arena_printf(
                            arena,
                            "the replicates of %s take %zu of %s together, but the trial "
                            "holds %zu",
                            names,
                            s->share_sum,
                            unit,
                            s->held);
    return tell(cx,
                s,
                to,
                wrong,
                qx_arena_printf(arena,
                                "expected a multiple of %zu: %zu, %zu, %zu ...",
                                s->share_sum,
                                from,
                                from + s->share_sum,
                                from + 2 * s->share_sum));
}

/* Blocks in which not every two combinations can be compared. */
static qx_status
complain_blocks(qx_ctx *cx, const qx_plan *plan, const qx_stratum *s, qx_complaints *to)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    const char *has = holds(arena, plan, s);
    const char *group = qx_stratum_group(arena, plan, s);
    const char *unit = plan->spec->unit[s->unit].name;
    const size_t groups = groups_in_all(plan, s);
    if (has == NULL || group == NULL) {
        return no_memory(cx);
    }
    const char *wrong = qx_arena_printf(
        arena, "%s, but each %s holds %zu of %s", has, group, s->held, unit);
    if (s->held < 2) {
        return tell(
            cx,
            s,
            to,
            wrong,
            qx_arena_printf(arena,
                            "expected %zu of %s in each for complete blocks, 2 at "
                            "least for incomplete ones",
                            s->combinations,
                            unit));
    }
    wrong = qx_arena_printf(
        arena,
        "%s, but each %s holds %zu of %s and there %s %zu: too few to compare every two",
        has,
        group,
        s->held,
        unit,
        groups == 1 ? "is" : "are",
        groups);
    return tell(cx,
                s,
                to,
                wrong,
                qx_arena_printf(arena,
                                "expected %zu such groups at least, or %zu of %s in each",
                                (s->combinations - 1 + s->held - 2) / (s->held - 1),
                                (s->combinations - 1 + groups - 1) / groups + 1,
                                unit));
}

/* --- checks --- */

/* Rows and columns: the checks alone must tie all of them together. */
static qx_status complain_augmented_lines(qx_ctx *cx,
                                          const qx_plan *plan,
                                          const qx_stratum *s,
                                          qx_complaints *to)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    const char *name = plan->spec->treatment[s->treatment[0]].name;
    const char *unit = plan->spec->unit[s->unit].name;
    const size_t entries = s->combinations - s->checks;
    const size_t things = qx_stratum_things(plan, s);
    const size_t left = things > entries ? things - entries : 0;
    const size_t lines = plan->total[s->rows] + plan->total[s->columns];
    const size_t need = s->checks + lines - 2;
    return tell(cx,
                s,
                to,
                qx_arena_printf(arena,
                                "%zu new levels of %s leave %zu of %zu of %s for the %zu "
                                "checks, too few to tie %zu rows and columns together",
                                entries,
                                name,
                                left,
                                things,
                                unit,
                                s->checks,
                                lines),
                things > need
                    ? qx_arena_printf(arena,
                                      "expected %zu places for checks: at most %zu new "
                                      "levels, or more rows and columns",
                                      need,
                                      things - need)
                    : "expected more rows and columns, or fewer checks");
}

static qx_status complain_augmented(qx_ctx *cx,
                                    const qx_plan *plan,
                                    const qx_stratum *s,
                                    qx_complaints *to)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    const char *name = plan->spec->treatment[s->treatment[0]].name;
    const char *unit = plan->spec->unit[s->unit].name;
    const char *group = qx_stratum_group(arena, plan, s);
    const size_t entries = s->combinations - s->checks;
    const size_t groups = groups_in_all(plan, s);
    if (group == NULL) {
        return no_memory(cx);
    }
    if (s->rows != QX_WHOLE_TRIAL && s->row_held > 1 && s->column_held > 1) {
        return complain_augmented_lines(cx, plan, s, to);
    }
    if (s->group_count == 0 || groups < 2 || s->rows != QX_WHOLE_TRIAL) {
        return tell(
            cx,
            s,
            to,
            qx_arena_printf(arena,
                            "%s has checks, which stand in every block, but %s lies "
                            "in no blocks",
                            name,
                            unit),
            qx_arena_printf(arena,
                            "expected several blocks, such as block: {count: 4}, "
                            "%s: {within: block, count: %zu}",
                            unit,
                            s->checks + (entries + 3) / 4));
    }
    if (s->held <= s->checks) {
        return tell(cx,
                    s,
                    to,
                    qx_arena_printf(arena,
                                    "%s has %zu checks, but each %s holds %zu of %s",
                                    name,
                                    s->checks,
                                    group,
                                    s->held,
                                    unit),
                    qx_arena_printf(arena,
                                    "expected %zu of %s in each, or fewer checks",
                                    s->checks + (entries + groups - 1) / groups,
                                    unit));
    }
    return tell(
        cx,
        s,
        to,
        qx_arena_printf(arena,
                        "%zu new levels of %s and %zu checks in each of %zu %ss take %zu "
                        "of %s, but there are %zu",
                        entries,
                        name,
                        s->checks,
                        groups,
                        group,
                        entries + s->checks * groups,
                        unit,
                        qx_stratum_things(plan, s)),
        qx_arena_printf(arena,
                        "expected %zu of %s in each, or %zu blocks",
                        s->checks + (entries + groups - 1) / groups,
                        unit,
                        (entries + s->held - s->checks - 1) / (s->held - s->checks)));
}

static qx_status
complain_sampled(qx_ctx *cx, const qx_plan *plan, const qx_stratum *s, qx_complaints *to)
{
    const char *wrong =
        qx_arena_printf(qx_ctx_scratch(cx),
                        "%s is put on %s, which is sampled while recording",
                        plan->spec->treatment[s->treatment[0]].name,
                        plan->spec->unit[s->unit].name);
    return tell(cx,
                s,
                to,
                wrong,
                "expected a unit with a count: it must be there before chance can draw");
}

qx_status
qx_stratum_check(qx_ctx *cx, const qx_plan *plan, const qx_stratum *s, qx_complaints *to)
{
    if (!plan->placed[s->unit]) {
        return complain_sampled(cx, plan, s, to);
    }
    if (s->combinations > QX_PLACED_MOST || s->share_sum > QX_PLACED_MOST) {
        qx_complaint(to,
                     s->unit,
                     s->treatment[0],
                     "the treatments have more combinations than a layout can hold",
                     "expected fewer levels, or fewer treatments on one unit");
        return QX_OK;
    }
    /* cells that hold several and have gaps: told in wishes.c */
    if (s->rule != QX_RULE_NONE ||
        (s->left_out > 0 && s->group_count > 1 && s->rows == QX_WHOLE_TRIAL)) {
        return QX_OK;
    }
    if (s->check != NULL) {
        return complain_augmented(cx, plan, s, to);
    }
    if (s->rows != QX_WHOLE_TRIAL) {
        return complain_crossed(cx, plan, s, to);
    }
    if (s->group_count == 0 && s->share != NULL) {
        return complain_wished(cx, plan, s, to);
    }
    return s->group_count == 0 || qx_stratum_things(plan, s) < s->combinations
               ? complain_few(cx, plan, s, to)
               : complain_blocks(cx, plan, s, to);
}
