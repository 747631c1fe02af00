#include "findings/frame_builder.h"
#include "trial/pair_code.h"
#include "trial/positions.h"

/* Numbers of one column for all rows; false where one is missing or none. */
static bool
read_numbers(const qx_frame_builder *b, const qx_column *column, double number[])
{
    for (size_t i = 0; i < b->n; i++) {
        const uint32_t code = column->code[b->source[i]];
        if (code == QX_MISSING_CODE ||
            !qx_position_read(column->level[code], b->table->separator, &number[i])) {
            return false;
        }
    }
    return true;
}

/* A factor without labels: one level for each number, in the order of appearance. */
static qx_status
add_factor(qx_frame_builder *b, const char *name, const double number[], size_t *out)
{
    uint32_t *code, *nil;
    size_t count;
    QX_NEW_IN(b->cx, b->arena, code, b->n);
    QX_NEW(b->cx, nil, b->n);
    for (size_t i = 0; i < b->n; i++) {
        code[i] = (uint32_t)(number[i] + QX_POSITION_MOST);
    }
    QX_TRY(qx_pair_codes(
        b->cx, b->n, code, (size_t)(2.0 * QX_POSITION_MOST) + 1, nil, 1, code, &count));
    *out = b->factor_count;
    b->factor[b->factor_count++] =
        (qx_factor){.name = name, .level_count = count, .code = code};
    return QX_OK;
}

qx_status qx_frame_add_positions(qx_frame_builder *b, qx_variate_frame *out)
{
    const size_t u = qx_protocol_placed_unit(b->protocol);
    double *number[2];
    if (u == QX_NONE || b->protocol->analysis.field_trend == QX_FIELD_NONE ||
        !qx_frame_applies(b, u)) {
        return QX_OK;
    }
    const qx_unit *unit = &b->protocol->unit[u];
    const char *const name[2] = {unit->row_column, unit->place_column};
    for (size_t k = 0; k < 2; k++) {
        const qx_column *column = qx_table_find(b->table, name[k]);
        QX_NEW_IN(b->cx, b->arena, number[k], b->n);
        if (column == NULL || column->kind != QX_COLUMN_LABEL ||
            !read_numbers(b, column, number[k])) {
            return qx_note(b->cx,
                           "No field trend was looked for: %s is not known for every "
                           "%s that was measured.",
                           name[k],
                           unit->name);
        }
    }
    QX_TRY(add_factor(b, name[0], number[0], &out->row_factor));
    QX_TRY(add_factor(b, name[1], number[1], &out->place_factor));
    out->field_row = number[0];
    out->field_place = number[1];
    return QX_OK;
}
