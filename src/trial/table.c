#include "trial/table.h"

#include <string.h>

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
