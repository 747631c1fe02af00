/* base/array.h - growing array in an arena.
 *
 *     qx_array a = QX_ARRAY(arena, sizeof(double));
 *     double *x = qx_array_push(&a);      // NULL: no memory
 *     const double *all = a.items;
 *
 * Growing doubles and copies; the old piece stays in the arena until it goes. Items move
 * when the array grows: keep indices, not pointers. */
#ifndef QX_BASE_ARRAY_H
#define QX_BASE_ARRAY_H

#include <stddef.h>

#include "base/arena.h"

typedef struct qx_array {
    qx_arena *arena; /* borrowed */
    void *items;
    size_t size; /* bytes of one item */
    size_t count;
    size_t room;
} qx_array;

#define QX_ARRAY(arena_, size_)                                                          \
    {                                                                                    \
        .arena = (arena_), .size = (size_)                                               \
    }

QX_API void *qx_array_push(qx_array *array); /* zeroed new item; NULL: no memory */
QX_API void *qx_array_at(const qx_array *array, size_t i);

#endif
