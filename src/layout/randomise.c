#include "layout/randomise.h"

#include "layout/drawing.h"
#include "layout/restrict.h"

/* --- the drawer of a stratum --- */

static bool even_lines(const qx_drawing *d)
{
    const qx_rule rule = d->stratum->rule;
    return (rule == QX_RULE_LATIN || rule == QX_RULE_ROWCOL) &&
           qx_wants_even(d->plan, d->stratum);
}

static qx_status plan_step(qx_drawing *d)
{
    if (even_lines(d)) {
        return qx_plan_even_lines(d);
    }
    switch (d->stratum->rule) {
    case QX_RULE_INCOMPLETE:
        return qx_plan_incomplete(d);
    case QX_RULE_ROWCOL:
        return d->stratum->left_out > 0 || d->stratum->check != NULL ? qx_plan_gaps(d)
                                                                     : qx_plan_rowcol(d);
    case QX_RULE_SHUFFLE:
    case QX_RULE_LATIN:
    case QX_RULE_UNEQUAL:
    case QX_RULE_AUGMENTED:
        return QX_OK;
    case QX_RULE_NONE:
        break;
    }
    return qx_fail(d->cx, QX_E_ARG, "the units cannot hold the levels");
}

static qx_status draw_step(qx_drawing *d)
{
    if (even_lines(d)) {
        return qx_draw_rowcol(d);
    }
    switch (d->stratum->rule) {
    case QX_RULE_SHUFFLE:
        return qx_draw_shuffles(d);
    case QX_RULE_LATIN:
        return qx_draw_squares(d);
    case QX_RULE_UNEQUAL:
        return qx_draw_unequal(d);
    case QX_RULE_INCOMPLETE:
        return qx_draw_incomplete(d);
    case QX_RULE_ROWCOL:
        return qx_draw_rowcol(d);
    case QX_RULE_AUGMENTED:
        return qx_draw_augmented(d);
    case QX_RULE_NONE:
        break;
    }
    return qx_fail(d->cx, QX_E_ARG, "the units cannot hold the levels");
}

/* --- one stratum --- */

static void put(const qx_drawing *d, size_t plot, uint32_t level[])
{
    const qx_layout_spec *spec = d->plan->spec;
    const qx_stratum *s = d->stratum;
    size_t cell = d->combination[plot];
    cell = s->cell == NULL ? cell : s->cell[cell];
    for (size_t i = s->treatment_count; i-- > 0;) {
        const size_t t = s->treatment[i];
        const size_t levels = spec->treatment[t].level_count;
        level[d->plot[plot] * spec->treatment_count + t] = (uint32_t)(cell % levels);
        cell /= levels;
    }
}

static qx_status draw(qx_drawing *d, uint32_t level[])
{
    QX_TRY(qx_drawing_list(d));
    QX_TRY(plan_step(d));
    QX_TRY(qx_restrict(d, draw_step));
    for (size_t i = 0; i < d->plots; i++) {
        put(d, i, level);
    }
    return QX_OK;
}

qx_status qx_randomise(qx_ctx *cx,
                       const qx_plan *plan,
                       const qx_places *places,
                       size_t s,
                       uint64_t seed,
                       uint32_t level[])
{
    qx_drawing d = {.cx = cx,
                    .plan = plan,
                    .places = places,
                    .stratum = &plan->stratum[s],
                    .rng = qx_rng_stream(seed, s),
                    .search = qx_rng_stream(seed, QX_UNITS_MOST + s)};
    d.level = level;
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, draw(&d, level));
    return status;
}

/* Rows and columns with gaps, checks or even neighbours, blocks of checks with gaps. */
static bool needs_version_3(const qx_plan *plan, const qx_stratum *s)
{
    const bool crossed = s->rule == QX_RULE_LATIN || s->rule == QX_RULE_ROWCOL;
    return (s->left_out > 0 && (crossed || s->rule == QX_RULE_AUGMENTED)) ||
           (crossed && (s->check != NULL || qx_wants_even(plan, s)));
}

uint32_t qx_randomise_version(const qx_plan *plan)
{
    uint32_t version = 1;
    for (size_t s = 0; s < plan->stratum_count; s++) {
        const qx_stratum *stratum = &plan->stratum[s];
        const bool first =
            stratum->rule == QX_RULE_SHUFFLE || stratum->rule == QX_RULE_LATIN;
        if (needs_version_3(plan, stratum)) {
            return 3;
        }
        if (!first || stratum->cell != NULL || stratum->share != NULL ||
            stratum->guards > 0 || qx_restricts(plan, stratum)) {
            version = 2;
        }
    }
    return version;
}
