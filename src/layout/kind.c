#include "layout/kind.h"

#include <string.h>

#include "layout/randomise.h"

static const qx_layout_kind *const kinds[] = {
#define X(key) &qx_kind_##key,
#include "layout/kinds.def"
#undef X
};

size_t qx_kind_count(void)
{
    return QX_COUNT(kinds);
}

const qx_layout_kind *qx_kind_get(size_t i)
{
    return i < QX_COUNT(kinds) ? kinds[i] : NULL;
}

const qx_layout_kind *qx_kind_find(const char *key)
{
    for (size_t i = 0; i < QX_COUNT(kinds); i++) {
        if (strcmp(kinds[i]->key, key) == 0) {
            return kinds[i];
        }
    }
    return NULL;
}

const qx_layout_kind *qx_kind_suiting(const qx_plan *plan)
{
    for (size_t i = 0; i < QX_COUNT(kinds); i++) {
        if (kinds[i]->suits(plan)) {
            return kinds[i];
        }
    }
    return NULL;
}

/* --- complaints that several kinds share --- */

/* "pinch has 3 levels" or "pinch x angle has 6 combinations". */
static const char *
holds(qx_arena *arena, const qx_plan *plan, const qx_stratum *s, const char *names)
{
    const bool single = s->treatment_count == 1;
    const size_t n =
        single ? plan->spec->treatment[s->treatment[0]].level_count : s->combinations;
    const char *what = single ? "level" : "combination";
    return qx_arena_printf(arena, "%s has %zu %s%s", names, n, what, n == 1 ? "" : "s");
}

static qx_status
complain_latin(qx_ctx *cx, const qx_plan *plan, const qx_stratum *s, qx_complaints *to)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    const char *names = qx_stratum_names(arena, plan, s);
    const char *has = names == NULL ? NULL : holds(arena, plan, s, names);
    const char *wrong = has == NULL ? NULL
                                    : qx_arena_printf(arena,
                                                      "%s, but %zu of %s cross %zu of %s",
                                                      has,
                                                      s->row_held,
                                                      plan->spec->unit[s->rows].name,
                                                      s->column_held,
                                                      plan->spec->unit[s->columns].name);
    const char *expected =
        s->combinations > QX_LATIN_ORDER_MOST
            ? qx_arena_printf(
                  arena, "expected %zu at most in a Latin square", QX_LATIN_ORDER_MOST)
            : qx_arena_printf(arena,
                              "expected a Latin square: %zu of %s and %zu of %s, with no "
                              "treatment on either",
                              s->combinations,
                              plan->spec->unit[s->rows].name,
                              s->combinations,
                              plan->spec->unit[s->columns].name);
    if (wrong == NULL || expected == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a message");
    }
    qx_complaint(to, s->unit, s->treatment[0], wrong, expected);
    return QX_OK;
}

static qx_status
complain_count(qx_ctx *cx, const qx_plan *plan, const qx_stratum *s, qx_complaints *to)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    const char *names = qx_stratum_names(arena, plan, s);
    const char *has = names == NULL ? NULL : holds(arena, plan, s, names);
    const char *group = qx_stratum_group(arena, plan, s);
    const char *wrong = has == NULL || group == NULL
                            ? NULL
                            : qx_arena_printf(arena,
                                              "%s, but %s %s holds %zu of %s",
                                              has,
                                              s->group_count == 0 ? "the" : "each",
                                              group,
                                              s->held,
                                              plan->spec->unit[s->unit].name);
    const size_t below = s->held / s->combinations * s->combinations;
    const size_t from = below == 0 ? s->combinations : below;
    const char *expected =
        qx_arena_printf(arena,
                        "expected a multiple of %zu: %zu, %zu, %zu ...",
                        s->combinations,
                        from,
                        from + s->combinations,
                        from + 2 * s->combinations);
    if (wrong == NULL || expected == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a message");
    }
    qx_complaint(to, s->unit, s->treatment[0], wrong, expected);
    return QX_OK;
}

static qx_status
complain_sampled(qx_ctx *cx, const qx_plan *plan, const qx_stratum *s, qx_complaints *to)
{
    const char *wrong =
        qx_arena_printf(qx_ctx_scratch(cx),
                        "%s is put on %s, which is sampled while recording",
                        plan->spec->treatment[s->treatment[0]].name,
                        plan->spec->unit[s->unit].name);
    if (wrong == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a message");
    }
    qx_complaint(to,
                 s->unit,
                 s->treatment[0],
                 wrong,
                 "expected a unit with a count: it must be there before chance can draw");
    return QX_OK;
}

static qx_status
check_stratum(qx_ctx *cx, const qx_plan *plan, const qx_stratum *s, qx_complaints *to)
{
    if (!plan->placed[s->unit]) {
        return complain_sampled(cx, plan, s, to);
    }
    if (s->combinations > QX_PLACED_MOST) {
        qx_complaint(to,
                     s->unit,
                     s->treatment[0],
                     "the treatments have more combinations than a layout can hold",
                     "expected fewer levels, or fewer treatments on one unit");
        return QX_OK;
    }
    if (s->rule != QX_RULE_NONE) {
        return QX_OK;
    }
    return s->rows != QX_WHOLE_TRIAL ? complain_latin(cx, plan, s, to)
                                     : complain_count(cx, plan, s, to);
}

qx_status qx_kind_check_strata(qx_ctx *cx, const qx_plan *plan, qx_complaints *to)
{
    for (size_t s = 0; s < plan->stratum_count; s++) {
        QX_TRY(check_stratum(cx, plan, &plan->stratum[s], to));
    }
    return QX_OK;
}

qx_status qx_kind_build_strata(qx_ctx *cx,
                               const qx_plan *plan,
                               const qx_places *places,
                               uint64_t seed,
                               uint32_t level[])
{
    for (size_t s = 0; s < plan->stratum_count; s++) {
        QX_TRY(qx_randomise(cx, plan, places, s, seed, level));
    }
    return QX_OK;
}

/* --- description in words --- */

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

qx_status qx_kind_describe_stratum(qx_ctx *cx,
                                   const qx_plan *plan,
                                   const qx_stratum *s,
                                   qx_text *out)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    const char *names = qx_stratum_names(arena, plan, s);
    const char *group = qx_stratum_group(arena, plan, s);
    if (names == NULL || group == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a description");
    }
    qx_text_printf(out,
                   "Chance gave each %s one of the %zu %s of %s, each ",
                   plan->spec->unit[s->unit].name,
                   s->combinations,
                   s->treatment_count == 1 ? "levels" : "combinations",
                   names);
    if (s->rule == QX_RULE_LATIN) {
        qx_text_printf(out,
                       "once in every %s and once in every %s",
                       plan->spec->unit[s->rows].name,
                       plan->spec->unit[s->columns].name);
        if (s->group_count > 0) {
            qx_text_printf(out, " of each %s", group);
        }
    } else {
        add_times(out, s->held / s->combinations);
        qx_text_printf(
            out, " in %s %s", s->group_count == 0 ? "the whole" : "every", group);
    }
    qx_text_printf(out, " (%zu in all).", plan->total[s->unit]);
    return QX_OK;
}
