#include "layout/assess.h"

#include "base/map.h"
#include "layout/ground.h"

typedef struct assessing {
    qx_ctx *cx;
    const qx_plan *plan;
    const qx_places *places;
    const uint32_t *level;
    size_t unit;
    size_t plots;
    size_t *plot;        /* treated things */
    uint32_t *treatment; /* of each plot */
    size_t treatments;
    size_t blocking_count;
    qx_blocking blocking[QX_BLOCKINGS_MOST];
} assessing;

/* Codes of the combinations, in the order in which they appear; untreated things go. */
static qx_status list_plots(assessing *a)
{
    const qx_layout_spec *spec = a->plan->spec;
    const size_t width = spec->treatment_count;
    qx_map *map = qx_map_new(qx_ctx_scratch(a->cx));
    uint32_t *key = NULL;
    QX_NEW(a->cx, key, width + 1);
    QX_NEW(a->cx, a->plot, a->places->things[a->unit]);
    QX_NEW(a->cx, a->treatment, a->places->things[a->unit]);
    if (map == NULL) {
        return qx_fail(a->cx, QX_E_NOMEM, "no memory for the criteria");
    }
    for (size_t i = 0; i < a->places->things[a->unit]; i++) {
        const size_t thing = a->places->first[a->unit] + i;
        bool treated = false;
        for (size_t t = 0; t < width; t++) {
            key[t] = spec->treatment[t].on == a->unit ? a->level[thing * width + t]
                                                      : QX_NO_LEVEL;
            treated = treated || key[t] != QX_NO_LEVEL;
        }
        if (!treated) {
            continue;
        }
        const size_t code = qx_map_add(map, (const char *)key, width * sizeof *key);
        if (code == QX_MAP_NONE) {
            return qx_fail(a->cx, QX_E_NOMEM, "no memory for the criteria");
        }
        a->treatment[a->plots] = (uint32_t)code;
        a->plot[a->plots++] = thing;
    }
    a->treatments = qx_map_count(map);
    return QX_OK;
}

static qx_status add_blocking(assessing *a, size_t above)
{
    uint32_t *block = NULL;
    bool *seen = NULL;
    size_t *number = NULL;
    size_t count = 0;
    QX_NEW(a->cx, block, a->plots);
    QX_NEW(a->cx, seen, a->places->things[above]);
    QX_NEW(a->cx, number, a->places->things[above]);
    for (size_t i = 0; i < a->plots; i++) {
        const size_t at = qx_place_above(a->plan, a->places, a->plot[i], above) -
                          a->places->first[above];
        if (!seen[at]) {
            seen[at] = true;
            number[at] = count++;
        }
        block[i] = (uint32_t)number[at];
    }
    if (count > 1 && count < a->plots) {
        a->blocking[a->blocking_count++] = (qx_blocking){count, block};
    }
    return QX_OK;
}

static qx_status assess(assessing *a, qx_criteria *out)
{
    QX_TRY(list_plots(a));
    if (a->treatments == 0) {
        return qx_fail(a->cx, QX_E_ARG, "no treatment is put on this unit");
    }
    for (size_t i = 0; i < a->plan->spec->unit_count; i++) {
        const size_t above = a->plan->order[i];
        if (above != a->unit && qx_plan_above(a->plan, a->unit, above) &&
            a->blocking_count < QX_BLOCKINGS_MOST) {
            QX_TRY(add_blocking(a, above));
        }
    }
    return qx_criteria_of(a->cx,
                          a->plots,
                          a->treatments,
                          a->treatment,
                          a->blocking_count,
                          a->blocking,
                          out);
}

qx_status qx_stratum_criteria(qx_ctx *cx,
                              const qx_plan *plan,
                              const qx_places *places,
                              const uint32_t level[],
                              const qx_stratum *stratum,
                              qx_criteria *out)
{
    assessing a = {
        .cx = cx, .plan = plan, .places = places, .level = level, .unit = stratum->unit};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, assess(&a, out));
    return status;
}

static qx_status read_and_assess(qx_ctx *cx,
                                 const qx_layout_spec *spec,
                                 const qx_layout *layout,
                                 size_t unit,
                                 qx_criteria *out)
{
    qx_plan *plan = NULL;
    qx_places places = {0};
    if (unit >= spec->unit_count) {
        return qx_fail(cx, QX_E_ARG, "there is no such unit");
    }
    QX_TRY(qx_ground_read(cx, qx_ctx_scratch(cx), spec, layout, &plan, &places));
    if (places.things[unit] == 0) {
        return qx_fail(cx, QX_E_ARG, "no treatment is put on this unit");
    }
    assessing a = {
        .cx = cx, .plan = plan, .places = &places, .level = layout->level, .unit = unit};
    return assess(&a, out);
}

qx_status qx_layout_criteria(qx_ctx *cx,
                             const qx_layout_spec *spec,
                             const qx_layout *layout,
                             size_t unit,
                             qx_criteria *out)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, read_and_assess(cx, spec, layout, unit, out));
    return status;
}
