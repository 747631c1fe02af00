#include "findings/unit_words.h"

#include "trial/unit_order.h"

/* Row of the data (from 1) that first holds the unit; rows of the frame may stand in
 * another order. 0 when there is none. */
static size_t first_row(const qx_work *w, const qx_frame_unit *u, size_t level)
{
    const uint32_t *code = w->data.frame.factor[u->factor].code;
    size_t first = 0;
    for (size_t i = 0; i < w->data.n; i++) {
        if (code[i] == level && (first == 0 || w->data.row[i] < first)) {
            first = w->data.row[i];
        }
    }
    return first;
}

/* The label that a row has for a unit of its own name, or NULL. */
static const char *label_of(const qx_work *w, const char *name, size_t row)
{
    const qx_column *c = qx_table_find(w->table, name);
    if (c == NULL || c->kind != QX_COLUMN_LABEL || row == 0 || row > w->table->rows ||
        c->code[row - 1] >= c->level_count) {
        return NULL;
    }
    return c->level[c->code[row - 1]];
}

/* "tree 3 of block 2"; NULL: no memory. */
static const char *by_labels(qx_work *w, const qx_frame_unit *u, size_t row)
{
    size_t path[QX_NAMES_MOST];
    const size_t length = qx_unit_path(w->protocol, u->unit, path);
    const char *text = "";
    for (size_t i = length; i-- > 0 && text != NULL;) {
        const char *name = w->protocol->unit[path[i]].name;
        const char *label = label_of(w, name, row);
        if (label != NULL) {
            text = qx_arena_printf(
                w->arena, "%s%s%s %s", text, text[0] == '\0' ? "" : " of ", name, label);
        }
    }
    const char *season =
        u->by_season ? label_of(w, w->protocol->seasons.column, row) : NULL;
    return season == NULL || text == NULL
               ? text
               : qx_arena_printf(w->arena, "%s in %s", text, season);
}

qx_status qx_unit_words(qx_work *w, size_t unit, size_t level, const char **out)
{
    const qx_frame_unit *u = &w->data.unit[unit];
    const char *name = w->protocol->unit[u->unit].name;
    const size_t row = first_row(w, u, level);
    *out = label_of(w, name, row) != NULL
               ? by_labels(w, u, row)
               : qx_arena_printf(w->arena, "the %s of row %zu", name, row);
    return *out != NULL ? QX_OK
                        : qx_fail(w->cx, QX_E_NOMEM, "no memory for the name of a unit");
}
