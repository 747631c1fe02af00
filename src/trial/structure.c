#include "trial/structure.h"

#include "trial/unit_order.h"

bool qx_unit_sampled(const qx_protocol *protocol, size_t unit)
{
    size_t path[QX_NAMES_MOST];
    const size_t length = qx_unit_path(protocol, unit, path);
    for (size_t i = 0; i < length; i++) {
        if (protocol->unit[path[i]].sample) {
            return true;
        }
    }
    return false;
}

static qx_layout_unit unit_of(const qx_protocol *protocol, size_t u)
{
    const qx_unit *from = &protocol->unit[u];
    qx_layout_unit to = {.name = from->name, .parent_count = from->parent_count};
    for (size_t i = 0; i < from->parent_count; i++) {
        to.parent[i] = from->parent[i];
    }
    to.count = from->count == QX_NONE ? 1 : from->count;
    to.sample = qx_unit_sampled(protocol, u);
    return to;
}

qx_status qx_structure_of(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_protocol *protocol,
                          qx_layout_spec *out)
{
    _Static_assert(QX_PARENTS_MOST <= QX_LAYOUT_PARENTS, "crossed parents must fit");
    qx_layout_unit *unit = NULL;
    qx_layout_treatment *treatment = NULL;
    QX_NEW_IN(cx, arena, unit, protocol->unit_count);
    QX_NEW_IN(cx, arena, treatment, protocol->treatment_count);
    for (size_t u = 0; u < protocol->unit_count; u++) {
        unit[u] = unit_of(protocol, u);
    }
    for (size_t t = 0; t < protocol->treatment_count; t++) {
        const qx_treatment *from = &protocol->treatment[t];
        if (unit[from->on].sample) {
            return qx_fail(
                cx,
                QX_E_INPUT,
                "treatment %s is put on %s, which is only sampled; expected a "
                "unit with a count, for chance gives the levels out beforehand",
                from->name,
                unit[from->on].name);
        }
        treatment[t] = (qx_layout_treatment){.name = from->name,
                                             .level_count = from->level_count,
                                             .level = from->level,
                                             .on = from->on};
    }
    *out = (qx_layout_spec){.unit_count = protocol->unit_count,
                            .unit = unit,
                            .treatment_count = protocol->treatment_count,
                            .treatment = treatment,
                            .wishes = protocol->wishes};
    return QX_OK;
}
