/* base/array.c */
#include "base/array.h"

#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#define FIRST_ROOM 8

static bool grow(qx_array *array)
{
    if (array->room > SIZE_MAX / 2) {
        return false;
    }
    const size_t room = array->room == 0 ? FIRST_ROOM : array->room * 2;
    void *items = qx_arena_alloc(array->arena, room, array->size);
    if (items == NULL) {
        return false;
    }
    if (array->count > 0) {
        memcpy(items, array->items, array->count * array->size);
    }
    array->items = items;
    array->room = room;
    return true;
}

void *qx_array_push(qx_array *array)
{
    if (array->count == array->room && !grow(array)) {
        return NULL;
    }
    array->count++;
    return qx_array_at(array, array->count - 1);
}

void *qx_array_at(const qx_array *array, size_t i)
{
    QX_ASSERT(i < array->count);
    return (unsigned char *)array->items + i * array->size;
}
