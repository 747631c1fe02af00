#include "findings/unit_names.h"

#include <stdlib.h>
#include <string.h>

#include "base/decimal.h"
#include "trial/unit_order.h"

/* The columns that name a unit: its parents' and its own. */
typedef struct naming {
    size_t count;
    const qx_column *column[QX_NAMES_MOST];
    char point;
} naming;

/* One unit while they are sorted. */
typedef struct named {
    const naming *by;
    size_t row;    /* of the table, where it is first seen */
    uint32_t code; /* before sorting */
} named;

static bool
find_columns(const qx_protocol *p, const qx_table *table, size_t unit, naming *out)
{
    size_t path[QX_NAMES_MOST];
    const size_t length = qx_unit_path(p, unit, path);
    const qx_column *own = NULL;
    *out = (naming){.point = table->separator == ';' ? ',' : '.'};
    for (size_t i = 0; i < length; i++) {
        const qx_column *column = qx_table_find(table, p->unit[path[i]].name);
        const bool labels = column != NULL && column->kind == QX_COLUMN_LABEL;
        own = labels ? column : NULL;
        if (labels) {
            out->column[out->count++] = column;
        }
    }
    return own != NULL;
}

static const char *label_at(const qx_column *column, size_t row)
{
    return column->level[column->code[row]];
}

static int by_label(const char *a, const char *b, char point)
{
    double x, y;
    const bool a_number = qx_decimal_read(a, strlen(a), point, &x, NULL);
    const bool b_number = qx_decimal_read(b, strlen(b), point, &y, NULL);
    if (a_number != b_number) {
        return a_number ? -1 : 1;
    }
    const int order = a_number ? (x > y) - (x < y) : 0;
    return order != 0 ? order : strcmp(a, b);
}

static int by_labels(const void *a, const void *b)
{
    const named *x = a;
    const named *y = b;
    int order = 0;
    for (size_t i = 0; order == 0 && i < x->by->count; i++) {
        order = by_label(label_at(x->by->column[i], x->row),
                         label_at(x->by->column[i], y->row),
                         x->by->point);
    }
    return order;
}

static const char *full_label(qx_arena *arena, const naming *by, size_t row)
{
    const char *label = label_at(by->column[0], row);
    label = by->count == 1 ? qx_arena_copy(arena, label) : label;
    for (size_t i = 1; label != NULL && i < by->count; i++) {
        label = qx_arena_printf(arena, "%s:%s", label, label_at(by->column[i], row));
    }
    return label;
}

static qx_status
sort(qx_ctx *cx, const naming *by, const qx_unit_codes *codes, named list[])
{
    uint32_t *rank;
    QX_NEW(cx, rank, codes->count);
    for (size_t i = codes->n; i > 0; i--) {
        const uint32_t code = codes->code[i - 1];
        list[code] = (named){by, codes->source[i - 1], code};
    }
    qsort(list, codes->count, sizeof *list, by_labels);
    for (size_t k = 0; k < codes->count; k++) {
        rank[list[k].code] = (uint32_t)k;
    }
    for (size_t i = 0; i < codes->n; i++) {
        codes->code[i] = rank[codes->code[i]];
    }
    return QX_OK;
}

qx_status qx_unit_names(qx_ctx *cx,
                        qx_arena *arena,
                        const qx_protocol *protocol,
                        const qx_table *table,
                        const qx_unit_codes *codes,
                        const char *const **label)
{
    naming by;
    named *list;
    const char **text;
    *label = NULL;
    if (!find_columns(protocol, table, codes->unit, &by)) {
        return QX_OK;
    }
    QX_NEW(cx, list, codes->count);
    QX_NEW_IN(cx, arena, text, codes->count);
    QX_TRY(sort(cx, &by, codes, list));
    for (size_t k = 0; k < codes->count; k++) {
        text[k] = full_label(arena, &by, list[k].row);
        if (text[k] == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for the names of units");
        }
    }
    *label = text;
    return QX_OK;
}
