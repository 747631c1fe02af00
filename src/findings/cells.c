#include "findings/cells.h"

size_t qx_cells_count(const qx_work *w, size_t factor_count, const size_t factor[])
{
    size_t count = 1;
    for (size_t i = 0; i < factor_count; i++) {
        count *= w->data.frame.factor[factor[i]].level_count;
    }
    return count;
}

qx_status
qx_cells_make(const qx_work *w, size_t factor_count, const size_t factor[], qx_cells *out)
{
    qx_ctx *cx = w->cx;
    const size_t count = qx_cells_count(w, factor_count, factor);
    size_t *level;
    bool *estimable;
    *out = (qx_cells){.factor_count = factor_count, .factor = factor, .count = count};
    QX_NEW(cx, level, count * factor_count);
    QX_NEW(cx, estimable, count);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), w->design->p, count, &out->row));
    for (size_t c = 0; c < count; c++) {
        size_t rest = c;
        for (size_t i = factor_count; i > 0; i--) {
            const size_t levels = w->data.frame.factor[factor[i - 1]].level_count;
            level[c * factor_count + i - 1] = rest % levels;
            rest /= levels;
        }
        QX_TRY(qx_design_mean(cx,
                              w->design,
                              factor_count,
                              factor,
                              &level[c * factor_count],
                              &QX_AT(out->row, 0, c),
                              &estimable[c]));
    }
    out->level = level;
    out->estimable = estimable;
    return QX_OK;
}

qx_status
qx_cells_name(const qx_work *w, const qx_cells *cells, size_t cell, qx_cell *out)
{
    const char **factor, **level;
    QX_NEW_IN(w->cx, w->arena, factor, cells->factor_count);
    QX_NEW_IN(w->cx, w->arena, level, cells->factor_count);
    for (size_t i = 0; i < cells->factor_count; i++) {
        const qx_factor *f = &w->data.frame.factor[cells->factor[i]];
        factor[i] = f->name;
        level[i] = f->level[cells->level[cell * cells->factor_count + i]];
    }
    *out = (qx_cell){cells->factor_count, factor, level};
    return QX_OK;
}

static bool in_cell(const qx_work *w, const qx_cells *cells, size_t cell, size_t row)
{
    for (size_t i = 0; i < cells->factor_count; i++) {
        if (w->data.frame.factor[cells->factor[i]].code[row] !=
            cells->level[cell * cells->factor_count + i]) {
            return false;
        }
    }
    return true;
}

size_t qx_cells_observations(const qx_work *w, const qx_cells *cells, size_t cell)
{
    size_t n = 0;
    for (size_t row = 0; row < w->data.n; row++) {
        n += in_cell(w, cells, cell, row) ? 1 : 0;
    }
    return n;
}

qx_status qx_cells_units(
    const qx_work *w, const qx_cells *cells, size_t cell, size_t unit, size_t *out)
{
    const qx_frame_unit *u = &w->data.unit[unit];
    const uint32_t *code = w->data.frame.factor[u->factor].code;
    bool *seen;
    QX_NEW(w->cx, seen, u->count);
    *out = 0;
    for (size_t row = 0; row < w->data.n; row++) {
        if (in_cell(w, cells, cell, row) && !seen[code[row]]) {
            seen[code[row]] = true;
            (*out)++;
        }
    }
    return QX_OK;
}
