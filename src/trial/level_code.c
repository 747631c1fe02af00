#include "trial/level_code.h"

#include <string.h>

#include "trial/protocol.h"

uint32_t qx_label_level(const char *label,
                        char separator,
                        size_t level_count,
                        const char *const level[])
{
    enum { NUMBER_BYTES_MOST = 64 };
    const size_t length = strlen(label);
    size_t found = qx_level_find(level_count, level, label, length);
    const char *comma = strchr(label, ',');
    if (found == QX_NONE && separator == ';' && comma != NULL &&
        length < NUMBER_BYTES_MOST) {
        char number[NUMBER_BYTES_MOST];
        memcpy(number, label, length + 1);
        number[comma - label] = '.';
        found = qx_level_find(level_count, level, number, length);
    }
    return found == QX_NONE ? QX_MISSING_CODE : (uint32_t)found;
}

void qx_column_levels(const qx_column *column,
                      char separator,
                      size_t level_count,
                      const char *const level[],
                      uint32_t out[])
{
    for (size_t i = 0; i < column->level_count; i++) {
        out[i] = qx_label_level(column->level[i], separator, level_count, level);
    }
}
