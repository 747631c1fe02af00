/* What chance did, in sentences for the report. */
#include "layout/assess.h"
#include "layout/kind.h"
#include "layout/neighbour.h"
#include "layout/restrict.h"

#define SIZE_MOST 1200 /* blocks and combinations of which the efficiency is told */

/* "once", "twice", "3 times". */
static void add_times(qx_text *out, size_t n)
{
    if (n == 1) {
        qx_text_add(out, "once");
    } else if (n == 2) {
        qx_text_add(out, "twice");
    } else {
        qx_text_printf(out, "%zu times", n);
    }
}

/* "twice", "4 to 5 times": how often a combination stands among all. */
static void add_replicates(const qx_stratum *s, size_t things, qx_text *out)
{
    if (s->share != NULL) {
        qx_text_add(out, "as often as was wished");
    } else if (things % s->combinations == 0) {
        add_times(out, things / s->combinations);
    } else {
        qx_text_printf(out,
                       "%zu or %zu times",
                       things / s->combinations,
                       things / s->combinations + 1);
    }
}

static void add_shuffled(const qx_stratum *s, const char *group, qx_text *out)
{
    if (s->share == NULL) {
        qx_text_add(out, ", each ");
        add_times(out, s->held / s->combinations);
    } else {
        qx_text_add(out, ", as often as was wished");
    }
    qx_text_printf(out, " in %s %s", s->group_count == 0 ? "the whole" : "every", group);
}

static void add_lines(const qx_plan *plan, const qx_stratum *s, qx_text *out)
{
    qx_text_printf(out,
                   ", each once in every %s and once in every %s",
                   plan->spec->unit[s->rows].name,
                   plan->spec->unit[s->columns].name);
}

static void add_in_all(const qx_stratum *s, size_t things, qx_text *out)
{
    qx_text_add(out, ", each ");
    add_replicates(s, things, out);
    qx_text_add(out, " in the whole trial");
}

/* 0.8125 as "0.812": rounded to even ends does not matter here. */
static void add_share(double share, qx_text *out)
{
    const size_t part = (size_t)(share * 1000 + 0.5);
    qx_text_printf(out, "%zu.%03zu", part / 1000, part % 1000);
}

static qx_status add_efficiency(qx_ctx *cx,
                                const qx_plan *plan,
                                const qx_drawn *drawn,
                                const qx_stratum *s,
                                qx_text *out)
{
    qx_criteria c = {0};
    size_t blocks = s->combinations;
    for (size_t u = 0; u < plan->spec->unit_count; u++) {
        blocks += u != s->unit && qx_plan_above(plan, s->unit, u) ? plan->total[u] : 0;
    }
    if (blocks > SIZE_MOST) {
        return QX_OK;
    }
    QX_TRY(qx_stratum_criteria(cx, plan, drawn->places, drawn->level, s, &c));
    if (c.parts == 1 && s->combinations > 1) {
        qx_text_add(out, " Differences keep ");
        add_share(c.a_efficiency, out);
        qx_text_add(out, " of what complete blocks would tell (A-efficiency; at most ");
        add_share(c.a_bound, out);
        qx_text_add(out, " can be reached).");
    }
    return QX_OK;
}

static void add_set(const qx_plan *plan, const qx_stratum *s, qx_text *out)
{
    if (s->set != QX_WHOLE_TRIAL) {
        qx_text_printf(
            out, "; every %s holds all of them", plan->spec->unit[s->set].name);
    }
}

static void
add_rectangle(const qx_plan *plan, const qx_stratum *s, size_t things, qx_text *out)
{
    if (s->check == NULL) {
        add_in_all(s, things, out);
    } else {
        qx_text_printf(out,
                       ": the %zu checks share %zu places down the diagonals, the %zu "
                       "others stand once in the whole trial",
                       s->checks,
                       things - (s->combinations - s->checks),
                       s->combinations - s->checks);
    }
    qx_text_printf(out,
                   ", %s%zu in every %s and %zu in every %s",
                   s->left_out > 0 ? "at most " : "",
                   s->column_held,
                   plan->spec->unit[s->rows].name,
                   s->row_held,
                   plan->spec->unit[s->columns].name);
    add_set(plan, s, out);
}

static void add_rule(const qx_plan *plan,
                     const qx_stratum *s,
                     size_t things,
                     const char *group,
                     qx_text *out)
{
    switch (s->rule) {
    case QX_RULE_SHUFFLE:
        add_shuffled(s, group, out);
        break;
    case QX_RULE_LATIN:
        add_lines(plan, s, out);
        if (s->group_count > 0) {
            qx_text_printf(out, " of each %s", group);
        }
        break;
    case QX_RULE_INCOMPLETE:
        add_in_all(s, things, out);
        qx_text_printf(out,
                       s->left_out > 0 ? ", at most %zu in every %s"
                                       : ", %zu in every %s",
                       s->held,
                       group);
        add_set(plan, s, out);
        break;
    case QX_RULE_ROWCOL:
        add_rectangle(plan, s, things, out);
        break;
    case QX_RULE_AUGMENTED:
        qx_text_printf(out,
                       ": the %zu checks stand in every %s, the %zu others once in the "
                       "whole trial",
                       s->checks,
                       group,
                       s->combinations - s->checks);
        break;
    case QX_RULE_UNEQUAL:
    case QX_RULE_NONE:
        add_in_all(s, things, out);
        break;
    }
}

/* "Every two of spray stand side by side in a row 2 to 3 times." */
static qx_status add_even(qx_ctx *cx,
                          const qx_plan *plan,
                          const qx_drawn *drawn,
                          const qx_stratum *s,
                          qx_text *out)
{
    const qx_layout made = {.placed_count = drawn->places->count,
                            .placed = drawn->places->placed,
                            .treatment_count = plan->spec->treatment_count,
                            .level = drawn->level};
    qx_neighbour_balance n = {0};
    const bool crossed = s->rule == QX_RULE_LATIN || s->rule == QX_RULE_ROWCOL;
    if (!crossed || !qx_wants_even(plan, s)) {
        return QX_OK;
    }
    QX_TRY(qx_neighbour_balance_of(
        cx, plan->spec, &made, s->treatment_count, s->treatment, &n));
    qx_text_printf(out, " Every two stand side by side %zu", n.least);
    if (n.most > n.least) {
        qx_text_printf(out, " to %zu", n.most);
    }
    qx_text_add(out, n.most == 1 ? " time" : " times");
    qx_text_add(out, " along the rows");
    if (n.same > 0) {
        qx_text_printf(out, ", and one beside itself %zu times in all", n.same);
    }
    qx_text_add(out, ".");
    return QX_OK;
}

static void add_wishes(const qx_plan *plan, const qx_stratum *s, qx_text *out)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    for (size_t i = 0; wishes != NULL && i < s->treatment_count; i++) {
        const size_t t = s->treatment[i];
        if (wishes->apart != NULL && wishes->apart[t]) {
            qx_text_printf(out,
                           " The same %s never stands side by side: chance chose among "
                           "such layouts alone.",
                           plan->spec->treatment[t].name);
        }
        if (wishes->even_neighbours != NULL && wishes->even_neighbours[t]) {
            qx_text_printf(out,
                           " Every two of %s stand side by side about equally often; "
                           "chance then gave the names.",
                           plan->spec->treatment[t].name);
        }
    }
}

qx_status qx_kind_describe_stratum(qx_ctx *cx,
                                   const qx_plan *plan,
                                   const qx_drawn *drawn,
                                   const qx_stratum *s,
                                   qx_text *out)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    const char *names = qx_stratum_names(arena, plan, s);
    const char *group = qx_stratum_group(arena, plan, s);
    const size_t things = qx_stratum_things(plan, s);
    if (names == NULL || group == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a description");
    }
    qx_text_printf(out,
                   "Chance gave each %s%s one of the %zu %s of %s",
                   s->guards > 0 ? "treated " : "",
                   plan->spec->unit[s->unit].name,
                   s->combinations,
                   s->treatment_count == 1 ? "levels" : "combinations",
                   names);
    add_rule(plan, s, things, group, out);
    qx_text_printf(out, " (%zu in all", things);
    if (s->left_out > 0) {
        qx_text_printf(out, "; %zu left out", s->left_out);
    }
    qx_text_add(out, ").");
    add_wishes(plan, s, out);
    QX_TRY(add_even(cx, plan, drawn, s, out));
    const bool searched = s->rule == QX_RULE_INCOMPLETE || s->rule == QX_RULE_ROWCOL;
    return searched ? add_efficiency(cx, plan, drawn, s, out) : QX_OK;
}

qx_status qx_kind_describe_strata(qx_ctx *cx,
                                  const qx_plan *plan,
                                  const qx_drawn *drawn,
                                  const char *head,
                                  qx_text *out)
{
    qx_text_add(out, head);
    for (size_t s = 0; s < plan->stratum_count; s++) {
        qx_text_add(out, " ");
        QX_TRY(qx_kind_describe_stratum(cx, plan, drawn, &plan->stratum[s], out));
    }
    return QX_OK;
}
