/* What a user reads when the data do not show a whole term. */
#include "model/design_inner.h"

static bool of_units_alone(const qx_frame *frame, const qx_term *term)
{
    bool units = term->number == QX_NO_COLUMN;
    for (size_t i = 0; i < term->factor_count; i++) {
        units = units && frame->factor[term->factor[i]].level == NULL;
    }
    return units;
}

/* Does some combination of the term's levels have no data? */
static qx_status
has_empty_cell(qx_ctx *cx, const qx_frame *frame, const qx_term *term, bool *out)
{
    size_t cells = 1, found = 0;
    bool *seen;
    for (size_t i = 0; i < term->factor_count; i++) {
        cells *= frame->factor[term->factor[i]].level_count;
    }
    QX_NEW(cx, seen, cells);
    for (size_t row = 0; row < frame->n; row++) {
        size_t at = 0;
        for (size_t i = 0; i < term->factor_count; i++) {
            const qx_factor *f = &frame->factor[term->factor[i]];
            at = at * f->level_count + f->code[row];
        }
        found += seen[at] ? 0 : 1;
        seen[at] = true;
    }
    *out = found < cells;
    return QX_OK;
}

static qx_status
note_lost(qx_ctx *cx, const qx_frame *frame, const qx_term *term, size_t columns)
{
    bool empty = false;
    if (term->factor_count > 1 && term->number == QX_NO_COLUMN) {
        QX_TRY(has_empty_cell(cx, frame, term, &empty));
    }
    return empty ? qx_note(cx,
                           "%s: the data show none of its %zu degrees of freedom, since "
                           "some combinations have no data. Means over such a "
                           "combination are not given.",
                           term->name,
                           columns)
                 : qx_note(cx,
                           "%s cannot be told apart from the terms before it (it is "
                           "confounded with them): it is not in the model.",
                           term->name);
}

qx_status qx_design_note_aliased(
    qx_ctx *cx, const qx_frame *frame, const qx_term *term, size_t columns, size_t kept)
{
    if (kept == columns && columns > 0) {
        return QX_OK;
    }
    if (columns == 0) {
        return qx_note(cx,
                       "%s has one level only in these data: it is not in the model.",
                       term->name);
    }
    if (kept == 0) {
        return note_lost(cx, frame, term, columns);
    }
    if (of_units_alone(frame, term)) {
        return QX_OK; /* smaller units repeat what the larger ones said: no news */
    }
    return qx_note(cx,
                   "%s: the data show %zu of its %zu degrees of freedom, since some "
                   "combinations have no data. Only what they allow is reported.",
                   term->name,
                   kept,
                   columns);
}
