/* base/arena.c - blocks in one list, newest first.
 *
 * An ordinary block serves many small pieces; a large piece has a block of its own, so
 * that it does not close the ordinary block below it. Each block knows the newest
 * ordinary block at or below it, therefore a mark needs the newest block and the fill
 * of that ordinary block only. One emptied ordinary block is kept as a spare: a loop
 * that marks and rewinds would otherwise ask the system in every pass. */
#include "base/arena.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#if defined(__has_feature)
#if __has_feature(address_sanitizer)
#define PIECE_EACH 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) && !defined(PIECE_EACH)
#define PIECE_EACH 1
#endif
#ifndef PIECE_EACH
#define PIECE_EACH 0
#endif

#define FIRST_BLOCK ((size_t)64 * 1024)
#define LAST_BLOCK  ((size_t)4 * 1024 * 1024)
/* A piece above this share of a block gets a block of its own. */
#define OWN_BLOCK_SHARE 4

struct block {
    struct block *older;
    struct block *ordinary; /* newest ordinary block at or below this one, or NULL */
    size_t room;
    size_t used;
    _Alignas(max_align_t) unsigned char bytes[];
};

struct deferred {
    struct deferred *older;
    void (*action)(void *thing);
    void *thing;
};

struct qx_arena {
    struct block *newest;
    struct block *spare;
    struct deferred *deferred;
    size_t next_room;
};

/* Countdown of the injected failure; a property of the running test, not of an arena,
 * because the code under test makes its arenas itself. */
static _Thread_local size_t fail_in;

void qx_arena_fail_after(size_t n)
{
    fail_in = n;
}

static bool must_fail(void)
{
    if (fail_in == 0) {
        return false;
    }
    fail_in--;
    return fail_in == 0;
}

qx_arena *qx_arena_new(void)
{
    if (must_fail()) {
        return NULL;
    }
    qx_arena *arena = calloc(1, sizeof *arena);
    if (arena != NULL) {
        arena->next_room = FIRST_BLOCK;
    }
    return arena;
}

static void run_deferred(qx_arena *arena, const struct deferred *until)
{
    while (arena->deferred != NULL && arena->deferred != until) {
        const struct deferred *first = arena->deferred;
        arena->deferred = first->older;
        first->action(first->thing);
    }
}

static void drop_newest(qx_arena *arena)
{
    struct block *block = arena->newest;
    arena->newest = block->older;
    const bool ordinary = block->ordinary == block;
    if (ordinary && (arena->spare == NULL || arena->spare->room < block->room)) {
        free(arena->spare);
        arena->spare = block;
    } else {
        free(block);
    }
}

void qx_arena_free(qx_arena *arena)
{
    if (arena == NULL) {
        return;
    }
    run_deferred(arena, NULL);
    while (arena->newest != NULL) {
        drop_newest(arena);
    }
    free(arena->spare);
    free(arena);
}

/* `bytes` rounded up to the alignment of any type; false when that overflows. */
static bool piece_size(size_t count, size_t size, size_t *bytes)
{
    const size_t align = _Alignof(max_align_t);
    const size_t most = SIZE_MAX / 2;
    if (size != 0 && count > most / size) {
        return false;
    }
    const size_t plain = count * size == 0 ? 1 : count * size;
    /* Under a sanitizer the piece ends where it ends, so that one byte too far is seen. */
    *bytes = PIECE_EACH ? plain : (plain + align - 1) / align * align;
    return true;
}

static void *own_block(qx_arena *arena, size_t bytes)
{
    struct block *block = calloc(1, sizeof *block + bytes);
    if (block == NULL) {
        return NULL;
    }
    block->older = arena->newest;
    block->ordinary = arena->newest == NULL ? NULL : arena->newest->ordinary;
    block->room = bytes;
    block->used = bytes;
    arena->newest = block;
    return block->bytes;
}

static struct block *ordinary_block(qx_arena *arena)
{
    struct block *block = arena->spare;
    arena->spare = NULL;
    if (block == NULL) {
        block = malloc(sizeof *block + arena->next_room);
        if (block == NULL) {
            return NULL;
        }
        block->room = arena->next_room;
        if (arena->next_room < LAST_BLOCK) {
            arena->next_room *= 2;
        }
    }
    block->used = 0;
    block->older = arena->newest;
    block->ordinary = block;
    arena->newest = block;
    return block;
}

void *qx_arena_alloc(qx_arena *arena, size_t count, size_t size)
{
    size_t bytes = 0;
    if (must_fail() || !piece_size(count, size, &bytes)) {
        return NULL;
    }
    struct block *block = arena->newest == NULL ? NULL : arena->newest->ordinary;
    const bool fits = block != NULL && bytes <= block->room - block->used;
    if (PIECE_EACH || (!fits && bytes > FIRST_BLOCK / OWN_BLOCK_SHARE)) {
        return own_block(arena, bytes);
    }
    if (!fits) {
        block = ordinary_block(arena);
        if (block == NULL) {
            return NULL;
        }
    }
    unsigned char *piece = block->bytes + block->used;
    block->used += bytes;
    return memset(piece, 0, bytes);
}

char *qx_arena_text(qx_arena *arena, const char *text, size_t length)
{
    if (length == SIZE_MAX) {
        return NULL;
    }
    char *copy = qx_arena_alloc(arena, length + 1, 1);
    if (copy != NULL && length > 0) {
        memcpy(copy, text, length);
    }
    return copy;
}

char *qx_arena_copy(qx_arena *arena, const char *text)
{
    return qx_arena_text(arena, text, strlen(text));
}

char *qx_arena_printf(qx_arena *arena, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    va_list again;
    va_copy(again, args);
    const int length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    char *text = length < 0 ? NULL : qx_arena_alloc(arena, (size_t)length + 1, 1);
    if (text != NULL) {
        (void)vsnprintf(text, (size_t)length + 1, format, again);
    }
    va_end(again);
    return text;
}

qx_arena_mark qx_arena_get_mark(const qx_arena *arena)
{
    const struct block *ordinary = arena->newest == NULL ? NULL : arena->newest->ordinary;
    return (qx_arena_mark){
        .block = arena->newest,
        .used = ordinary == NULL ? 0 : ordinary->used,
        .defer = arena->deferred,
    };
}

void qx_arena_rewind(qx_arena *arena, qx_arena_mark mark)
{
    run_deferred(arena, mark.defer);
    while (arena->newest != NULL && arena->newest != mark.block) {
        drop_newest(arena);
    }
    if (arena->newest != NULL && arena->newest->ordinary != NULL) {
        arena->newest->ordinary->used = mark.used;
    }
}

qx_status qx_arena_defer(qx_arena *arena, void (*action)(void *thing), void *thing)
{
    struct deferred *deferred = qx_arena_alloc(arena, 1, sizeof *deferred);
    if (deferred == NULL) {
        return QX_E_NOMEM;
    }
    *deferred = (struct deferred){arena->deferred, action, thing};
    arena->deferred = deferred;
    return QX_OK;
}

static void free_inside(void *arena)
{
    qx_arena_free(arena);
}

qx_arena *qx_arena_inside(qx_arena *outer)
{
    qx_arena *inside = qx_arena_new();
    if (inside == NULL) {
        return NULL;
    }
    if (qx_arena_defer(outer, free_inside, inside) != QX_OK) {
        qx_arena_free(inside);
        return NULL;
    }
    return inside;
}
