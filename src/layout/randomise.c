#include "layout/randomise.h"

#include "layout/drawing.h"
#include "layout/restrict.h"

/* --- the drawer of a stratum --- */

static qx_status plan_step(qx_drawing *d)
{
    switch (d->stratum->rule) {
    case QX_RULE_INCOMPLETE:
        return qx_plan_incomplete(d);
    case QX_RULE_ROWCOL:
        return qx_plan_rowcol(d);
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

static bool is_left_out(const qx_drawing *d, size_t thing)
{
    const qx_layout_wishes *wishes = d->plan->spec->wishes;
    size_t path[QX_UNITS_MOST];
    const size_t depth = qx_plan_path(d->plan, d->stratum->unit, path);
    for (size_t i = 0; d->stratum->left_out > 0 && i < wishes->left_out_count; i++) {
        const qx_left_out *out = &wishes->left_out[i];
        bool same = out->unit == d->stratum->unit && out->depth == depth;
        for (size_t k = 0; same && k < depth; k++) {
            const size_t above = qx_place_above(d->plan, d->places, thing, path[k]);
            same = d->places->placed[above].number == out->number[k];
        }
        if (same) {
            return true;
        }
    }
    return false;
}

static qx_status list_plots(qx_drawing *d)
{
    const qx_stratum *s = d->stratum;
    const size_t first = d->places->first[s->unit];
    const size_t things = d->places->things[s->unit];
    QX_NEW(d->cx, d->plot, things);
    QX_NEW(d->cx, d->group, things);
    QX_NEW(d->cx, d->combination, things);
    QX_NEW(d->cx, d->design, things);
    QX_NEW(d->cx, d->part, things);
    for (size_t i = 0; i < things; i++) {
        if (qx_stratum_treats(s, d->places->placed[first + i].number) &&
            !is_left_out(d, first + i)) {
            d->plot[d->plots++] = first + i;
        }
    }
    return qx_drawing_codes(d, s->group_count, s->group, d->group, &d->group_count);
}

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
    QX_TRY(list_plots(d));
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

uint32_t qx_randomise_version(const qx_plan *plan)
{
    for (size_t s = 0; s < plan->stratum_count; s++) {
        const qx_stratum *stratum = &plan->stratum[s];
        const bool first =
            stratum->rule == QX_RULE_SHUFFLE || stratum->rule == QX_RULE_LATIN;
        if (!first || stratum->cell != NULL || stratum->share != NULL ||
            stratum->guards > 0 || qx_restricts(plan, stratum)) {
            return 2;
        }
    }
    return 1;
}
