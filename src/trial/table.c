#include "trial/table.h"

#include <string.h>

#include "base/ctx.h"

void qx_table_free(qx_table *table)
{
    if (table != NULL) {
        qx_arena_free(table->arena);
    }
}

const qx_column *qx_table_find(const qx_table *table, const char *name)
{
    for (size_t i = 0; i < table->column_count; i++) {
        if (strcmp(table->column[i].name, name) == 0) {
            return &table->column[i];
        }
    }
    return NULL;
}

qx_status qx_levels_copy(qx_ctx *cx,
                         qx_arena *arena,
                         size_t count,
                         const char *const level[],
                         const char *const **out)
{
    const char **copy = NULL;
    QX_NEW_IN(cx, arena, copy, count);
    for (size_t i = 0; i < count; i++) {
        copy[i] = qx_arena_copy(arena, level[i]);
        if (copy[i] == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for levels");
        }
    }
    *out = copy;
    return QX_OK;
}

qx_status qx_column_copy(
    qx_ctx *cx, qx_arena *arena, size_t rows, const qx_column *from, qx_column *to)
{
    *to = (qx_column){.kind = from->kind, .place = from->place};
    to->name = qx_arena_copy(arena, from->name);
    if (to->name == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the data");
    }
    if (from->kind == QX_COLUMN_NUMBER) {
        double *value = NULL;
        qx_decimal *exact = NULL;
        QX_NEW_IN(cx, arena, value, rows);
        QX_NEW_IN(cx, arena, exact, rows);
        memcpy(value, from->value, rows * sizeof *value);
        memcpy(exact, from->exact, rows * sizeof *exact);
        to->value = value;
        to->exact = exact;
        return QX_OK;
    }
    uint32_t *code = NULL;
    QX_NEW_IN(cx, arena, code, rows);
    memcpy(code, from->code, rows * sizeof *code);
    to->code = code;
    to->level_count = from->level_count;
    return qx_levels_copy(cx, arena, from->level_count, from->level, &to->level);
}
