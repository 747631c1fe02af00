#include "findings/frame_builder.h"
#include "findings/unit_names.h"
#include "trial/pair_code.h"

/* The last unit of the list with season or date, if it is seen in more than one. */
static qx_status add_crossed(
    qx_frame_builder *b, size_t with, bool date, qx_frame_unit list[], size_t *listed)
{
    if (with == QX_NO_COLUMN) {
        return QX_OK;
    }
    const qx_frame_unit *last = &list[*listed - 1];
    const qx_factor *own = &b->factor[last->factor];
    const qx_factor *other = &b->factor[with];
    uint32_t *both;
    size_t count;
    QX_NEW_IN(b->cx, b->arena, both, b->n);
    QX_TRY(qx_pair_codes(b->cx,
                         b->n,
                         own->code,
                         own->level_count,
                         other->code,
                         other->level_count,
                         both,
                         &count));
    if (count == last->count) {
        return QX_OK; /* every unit is seen in one only */
    }
    const char *by = qx_arena_printf(b->arena, "%s:%s", last->path, other->name);
    if (by == NULL) {
        return qx_fail(b->cx, QX_E_NOMEM, "no memory for a unit's name");
    }
    list[*listed] = (qx_frame_unit){.unit = last->unit,
                                    .by_season = last->by_season || !date,
                                    .by_date = date,
                                    .path = by,
                                    .factor = b->factor_count,
                                    .count = count};
    (*listed)++;
    b->factor[b->factor_count++] =
        (qx_factor){.name = by, .level_count = count, .code = both};
    return QX_OK;
}

static qx_status add_unit(qx_frame_builder *b,
                          const qx_variate_frame *out,
                          size_t unit,
                          const qx_identity *identity,
                          qx_frame_unit list[],
                          size_t *listed)
{
    const char *path = b->protocol->unit[unit].path;
    uint32_t *code;
    QX_NEW_IN(b->cx, b->arena, code, b->n);
    for (size_t i = 0; i < b->n; i++) {
        code[i] = identity->code[b->source[i]];
    }
    uint32_t *compact; /* rows that were left out may have taken units with them */
    uint32_t *zero;
    QX_NEW_IN(b->cx, b->arena, compact, b->n);
    QX_NEW(b->cx, zero, b->n);
    size_t count;
    QX_TRY(qx_pair_codes(b->cx, b->n, code, identity->count, zero, 1, compact, &count));
    const char *const *label = NULL;
    if (b->protocol->analysis.blocks_fixed) { /* their numbers are seen in coefficients */
        const qx_unit_codes codes = {unit, b->n, b->source, count, compact};
        QX_TRY(qx_unit_names(b->cx, b->arena, b->protocol, b->table, &codes, &label));
    }
    list[*listed] = (qx_frame_unit){
        .unit = unit, .path = path, .factor = b->factor_count, .count = count};
    (*listed)++;
    b->factor[b->factor_count++] =
        (qx_factor){.name = path, .level_count = count, .label = label, .code = compact};
    QX_TRY(add_crossed(b, out->season, false, list, listed));
    return add_crossed(b, out->date, true, list, listed);
}

qx_status qx_frame_add_units(qx_frame_builder *b,
                             const qx_identity identity[],
                             qx_variate_frame *out)
{
    const qx_protocol *p = b->protocol;
    qx_frame_unit *list;
    size_t listed = 0;
    QX_NEW_IN(b->cx, b->arena, list, 3 * p->unit_count);
    for (size_t k = 0; k < p->unit_count; k++) {
        const size_t unit = p->unit_order[k];
        if (identity[unit].unit == QX_NONE) {
            continue;
        }
        if (identity[unit].how != NULL) {
            QX_TRY(qx_note(b->cx, "%s", identity[unit].how));
        }
        QX_TRY(add_unit(b, out, unit, &identity[unit], list, &listed));
    }
    out->unit = list;
    out->unit_count = listed;
    return QX_OK;
}
