#include "layout/position.h"

#include "layout/ground.h"

/* Untreated between treated things, or at the edge of a treated plot. */
static bool is_guard(const qx_ground *g, size_t thing)
{
    const qx_layout_wishes *wishes = g->plan->spec->wishes;
    const size_t unit = g->places->placed[thing].unit;
    const size_t guards =
        wishes == NULL || wishes->guards == NULL ? 0 : wishes->guards[unit];
    const size_t number = g->places->placed[thing].number;
    if (guards == 0) {
        return false;
    }
    return qx_plan_treated(g->plan, unit)
               ? (number - 1) % (guards + 1) != 0
               : number <= guards || number > g->plan->spec->unit[unit].count - guards;
}

static qx_status
fill(qx_ctx *cx, const qx_layout_spec *spec, const qx_layout *layout, qx_position out[])
{
    qx_plan *plan = NULL;
    qx_places places = {0};
    uint32_t *in_row = NULL; /* trees so far */
    QX_TRY(qx_ground_read(cx, qx_ctx_scratch(cx), spec, layout, &plan, &places));
    const qx_ground g = qx_ground_of(plan, &places);
    if (g.tree == QX_NO_WISH) {
        return QX_OK;
    }
    QX_NEW(cx, in_row, places.count + 1);
    const size_t first = places.first[g.tree];
    for (size_t i = first; i < first + places.things[g.tree]; i++) {
        const size_t row = qx_ground_row(&g, i);
        out[i] = (qx_position){(uint32_t)row + 1, ++in_row[row], is_guard(&g, i)};
    }
    for (size_t i = 0; i < places.count; i++) {
        if (places.placed[i].unit != g.tree) {
            out[i] = out[qx_ground_tree(&g, i)];
            out[i].guard = is_guard(&g, i);
        }
    }
    return QX_OK;
}

qx_status qx_positions_of(qx_ctx *cx,
                          const qx_layout_spec *spec,
                          const qx_layout *layout,
                          qx_position out[])
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, fill(cx, spec, layout, out));
    return status;
}
