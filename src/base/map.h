/* base/map.h - string to index, order of insertion kept. Open addressing, grows.
 *
 * Keys are copied into the arena and numbered 0, 1, 2 ... in the order they came, which
 * is what factor levels and unit labels need; the owner keeps values in an array beside
 * it. Cost: O(1) expected. */
#ifndef QX_BASE_MAP_H
#define QX_BASE_MAP_H

#include <stddef.h>

#include "base/arena.h"
#include "base/status.h"

#define QX_MAP_NONE ((size_t)-1)

typedef struct qx_map qx_map;

QX_API qx_map *qx_map_new(qx_arena *arena); /* NULL: no memory */

/* Number of the key, or QX_MAP_NONE. `length` bytes of `key` count. */
QX_API size_t qx_map_find(const qx_map *map, const char *key, size_t length);

/* Number of the key, added if it is new; QX_MAP_NONE: no memory. */
QX_API size_t qx_map_add(qx_map *map, const char *key, size_t length);

QX_API size_t qx_map_count(const qx_map *map);
QX_API const char *qx_map_key(const qx_map *map, size_t i); /* borrowed, closed by NUL */

#endif
