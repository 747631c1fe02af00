#include "findings/frame_of.h"

#include <math.h>
#include <string.h>

#include "findings/frame_builder.h"
#include "findings/transform.h"
#include "numeric/sums.h"

/* k of n as they were counted. */
static qx_status add_counts(qx_frame_builder *b,
                            const qx_column *value,
                            const qx_column *of,
                            qx_variate_frame *out)
{
    double *k, *size;
    QX_NEW_IN(b->cx, b->arena, k, b->n);
    QX_NEW_IN(b->cx, b->arena, size, b->n);
    for (size_t i = 0; i < b->n; i++) {
        k[i] = value->value[b->source[i]];
        size[i] = of == NULL ? 1.0 : of->value[b->source[i]];
    }
    out->k = k;
    out->size = b->variate->kind == QX_PROPORTION ? size : NULL;
    return QX_OK;
}

/* Grades and classes: numbers of the protocol's levels. */
static qx_status
add_classes(qx_frame_builder *b, const qx_column *value, qx_variate_frame *out)
{
    const qx_variate *v = b->variate;
    uint32_t *code;
    double *raw;
    QX_NEW_IN(b->cx, b->arena, code, b->n);
    QX_NEW_IN(b->cx, b->arena, raw, b->n);
    for (size_t i = 0; i < b->n; i++) {
        const char *label = value->level[value->code[b->source[i]]];
        const size_t at = qx_level_find(v->level_count, v->level, label, strlen(label));
        if (at == QX_NONE) {
            return qx_fail(b->cx,
                           QX_E_INPUT,
                           "row %zu: \"%s\" is not a class of %s; expected one of the "
                           "protocol's levels",
                           b->source[i] + 1,
                           label,
                           v->name);
        }
        code[i] = (uint32_t)at;
        raw[i] = (double)at;
    }
    out->class_ = code;
    out->raw = out->scaled = out->y = raw;
    return QX_OK;
}

/* The response on its scales; exact shift where it is analysed as it was typed. */
static qx_status add_response(qx_frame_builder *b, qx_variate_frame *out)
{
    const qx_variate *v = b->variate;
    const qx_column *value = qx_table_find(b->table, v->name);
    const qx_column *of = v->of[0] != '\0' ? qx_table_find(b->table, v->of) : NULL;
    double *raw, *scaled, *y;
    qx_decimal *exact;
    if (qx_variate_has_classes(v)) {
        return add_classes(b, value, out);
    }
    if (v->kind != QX_CONTINUOUS) {
        QX_TRY(add_counts(b, value, of, out));
    }
    QX_NEW_IN(b->cx, b->arena, raw, b->n);
    QX_NEW_IN(b->cx, b->arena, scaled, b->n);
    QX_NEW_IN(b->cx, b->arena, y, b->n);
    QX_NEW(b->cx, exact, b->n);
    for (size_t i = 0; i < b->n; i++) {
        const size_t row = b->source[i];
        raw[i] = qx_frame_response(value, of, row);
        scaled[i] = qx_transform_apply(v->transform, raw[i]);
        if (isnan(scaled[i])) {
            out->bad_row = out->bad_rows++ == 0 ? row + 1 : out->bad_row;
        }
        exact[i] = value->exact[row];
        if (of != NULL || v->transform != QX_TRANSFORM_NONE) {
            exact[i].scale = QX_DECIMAL_INEXACT;
        }
    }
    qx_shift_exactly(b->n, exact, scaled, y, &out->shift);
    out->raw = raw;
    out->scaled = scaled;
    out->y = y;
    return QX_OK;
}

static qx_status build(qx_frame_builder *b, size_t variate, qx_variate_frame *out)
{
    const qx_protocol *p = b->protocol;
    qx_identity *identity;
    QX_TRY(qx_frame_mark_complete(b, &out->missing));
    out->without = b->without;
    QX_NEW(b->cx, identity, p->unit_count);
    QX_TRY(qx_identify(b->cx, b->arena, p, b->table, variate, b->keep, identity));
    qx_frame_drop_unknown(b, identity, &out->missing);
    QX_TRY(qx_frame_list_rows(b, &out->missing));
    QX_NEW_IN(b->cx, b->arena, b->factor, 4 + p->treatment_count + 3 * p->unit_count);
    QX_NEW_IN(b->cx, b->arena, b->number, p->covariate_count);
    size_t *row;
    QX_NEW_IN(b->cx, b->arena, row, b->n);
    for (size_t i = 0; i < b->n; i++) {
        row[i] = b->source[i] + 1;
    }
    out->row = row;
    out->n = b->n;
    if (b->n == 0) {
        return QX_OK;
    }
    QX_TRY(qx_frame_add_dates(b, out));
    QX_TRY(qx_frame_add_treatments(b, out));
    QX_TRY(qx_frame_add_covariates(b, out));
    QX_TRY(qx_frame_add_units(b, identity, out));
    QX_TRY(qx_frame_add_positions(b, out));
    return add_response(b, out);
}

qx_status qx_frame_of(qx_ctx *cx,
                      qx_arena *arena,
                      const qx_protocol *protocol,
                      const qx_table *table,
                      size_t variate,
                      qx_variate_frame *out)
{
    qx_frame_builder b = {.cx = cx,
                          .arena = arena,
                          .protocol = protocol,
                          .table = table,
                          .variate = &protocol->variate[variate]};
    qx_status status;
    memset(out, 0, sizeof *out);
    out->season = out->date = out->row_factor = out->place_factor = QX_NO_COLUMN;
    QX_SCRATCH(cx, status, build(&b, variate, out));
    out->frame = (qx_frame){.n = b.n,
                            .factor_count = b.factor_count,
                            .factor = b.factor,
                            .number_count = b.number_count,
                            .number = b.number};
    return status;
}
