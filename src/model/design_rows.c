#include "model/design_rows.h"

#include <string.h>

/* Marks the factors and numbers that the terms name. */
static void mark(size_t term_count, const qx_term term[], bool factor[], bool number[])
{
    for (size_t t = 0; t < term_count; t++) {
        for (size_t i = 0; i < term[t].factor_count; i++) {
            factor[term[t].factor[i]] = true;
        }
        if (term[t].number != QX_NO_COLUMN) {
            number[term[t].number] = true;
        }
    }
}

static qx_status alike(qx_ctx *cx,
                       const qx_frame *frame,
                       size_t term_count,
                       const qx_term term[],
                       uint32_t of[],
                       size_t *count)
{
    qx_arena *scratch = qx_ctx_scratch(cx);
    bool *factor, *number;
    qx_alike a;
    QX_NEW(cx, factor, frame->factor_count);
    QX_NEW(cx, number, frame->number_count);
    mark(term_count, term, factor, number);
    QX_TRY(qx_alike_all(cx, scratch, frame->n, &a));
    for (size_t k = 0; k < frame->factor_count; k++) {
        const qx_factor *f = &frame->factor[k];
        if (factor[k]) {
            QX_TRY(qx_alike_and(cx, scratch, &a, f->level_count, f->code, &a));
        }
    }
    for (size_t k = 0; k < frame->number_count; k++) {
        if (number[k]) {
            QX_TRY(qx_alike_and_number(cx, scratch, &a, frame->number[k].value, &a));
        }
    }
    memcpy(of, a.of, a.n * sizeof *of);
    *count = a.count;
    return QX_OK;
}

qx_status qx_design_alike(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_frame *frame,
                          size_t term_count,
                          const qx_term term[],
                          qx_alike *out)
{
    uint32_t *of;
    size_t count = 0;
    qx_status status;
    QX_NEW_IN(cx, arena, of, frame->n);
    QX_SCRATCH(cx, status, alike(cx, frame, term_count, term, of, &count));
    QX_TRY(status);
    *out = (qx_alike){frame->n, count, of};
    return QX_OK;
}
