/* base/map.c - linear probing over a table of key numbers.
 *
 * Slots hold number + 1, so that a zeroed table is empty. Keys are never removed. */
#include "base/map.h"

#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#include "base/array.h"

#define FIRST_SLOTS 16

struct key {
    const char *text;
    size_t length;
    uint64_t hash;
};

struct qx_map {
    qx_arena *arena;
    qx_array keys; /* struct key */
    size_t *slots;
    size_t slot_count; /* a power of two, at least 4/3 of the keys */
};

/* FNV-1a with a closing mix, because the low bits choose the slot.
 * Source: Fowler, Noll & Vo, IETF draft-eastlake-fnv; mix: Steele, Lea & Flood 2014,
 * OOPSLA '14:453-472. */
static uint64_t hash_of(const char *text, size_t length)
{
    uint64_t h = UINT64_C(0xcbf29ce484222325);
    for (size_t i = 0; i < length; i++) {
        h = (h ^ (unsigned char)text[i]) * UINT64_C(0x100000001b3);
    }
    h = (h ^ (h >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    h = (h ^ (h >> 27)) * UINT64_C(0x94d049bb133111eb);
    return h ^ (h >> 31);
}

static const struct key *key_at(const qx_map *map, size_t i)
{
    return qx_array_at(&map->keys, i);
}

/* The slot that holds the key, or the empty one where it belongs. */
static size_t slot_of(const qx_map *map, const char *text, size_t length, uint64_t hash)
{
    size_t slot = (size_t)hash & (map->slot_count - 1);
    while (map->slots[slot] != 0) {
        const struct key *key = key_at(map, map->slots[slot] - 1);
        if (key->hash == hash && key->length == length &&
            memcmp(key->text, text, length) == 0) {
            break;
        }
        slot = (slot + 1) & (map->slot_count - 1);
    }
    return slot;
}

qx_map *qx_map_new(qx_arena *arena)
{
    qx_map *map = qx_arena_alloc(arena, 1, sizeof *map);
    if (map == NULL) {
        return NULL;
    }
    map->arena = arena;
    map->keys = (qx_array)QX_ARRAY(arena, sizeof(struct key));
    map->slots = qx_arena_alloc(arena, FIRST_SLOTS, sizeof *map->slots);
    map->slot_count = FIRST_SLOTS;
    return map->slots == NULL ? NULL : map;
}

size_t qx_map_find(const qx_map *map, const char *key, size_t length)
{
    const size_t slot = slot_of(map, key, length, hash_of(key, length));
    return map->slots[slot] == 0 ? QX_MAP_NONE : map->slots[slot] - 1;
}

static bool grow(qx_map *map)
{
    const size_t count = map->slot_count * 2;
    size_t *slots = qx_arena_alloc(map->arena, count, sizeof *slots);
    if (slots == NULL) {
        return false;
    }
    for (size_t i = 0; i < map->keys.count; i++) {
        size_t slot = (size_t)key_at(map, i)->hash & (count - 1);
        while (slots[slot] != 0) {
            slot = (slot + 1) & (count - 1);
        }
        slots[slot] = i + 1;
    }
    map->slots = slots;
    map->slot_count = count;
    return true;
}

size_t qx_map_add(qx_map *map, const char *key, size_t length)
{
    const uint64_t hash = hash_of(key, length);
    size_t slot = slot_of(map, key, length, hash);
    if (map->slots[slot] != 0) {
        return map->slots[slot] - 1;
    }
    if ((map->keys.count + 1) * 4 > map->slot_count * 3) {
        if (!grow(map)) {
            return QX_MAP_NONE;
        }
        slot = slot_of(map, key, length, hash);
    }
    const char *copy = qx_arena_text(map->arena, key, length);
    struct key *added = copy == NULL ? NULL : qx_array_push(&map->keys);
    if (added == NULL) {
        return QX_MAP_NONE;
    }
    *added = (struct key){copy, length, hash};
    map->slots[slot] = map->keys.count;
    return map->keys.count - 1;
}

size_t qx_map_count(const qx_map *map)
{
    return map->keys.count;
}

const char *qx_map_key(const qx_map *map, size_t i)
{
    return key_at(map, i)->text;
}
