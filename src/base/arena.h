/* base/arena.h - memory by lifetime; the only place that calls malloc.
 *
 * An arena hands out zeroed pieces and frees them all at once. A mark remembers a
 * moment; rewinding to it frees what came later and runs the deferred actions that
 * were registered since, last first. A foreign handle (a file, an SQLite statement)
 * is tied to the arena by qx_arena_defer, so an early return leaks nothing.
 *
 * In sanitizer builds each piece is an allocation of its own, so that a write past
 * its end is seen. Fault injection: qx_arena_fail_after(n) lets the n-th following
 * allocation fail (tests only; 0 switches it off; per thread).
 *
 * Objects (protocol, table, fit, findings) own an arena each and are freed whole.
 * Not thread-safe: one arena belongs to one thread at a time. */
#ifndef QX_BASE_ARENA_H
#define QX_BASE_ARENA_H

#include <stddef.h>

#include "base/status.h"

typedef struct qx_arena qx_arena;
typedef struct qx_arena_mark {
    void *block; /* newest block at the mark, or NULL */
    size_t used; /* bytes used in it */
    void *defer; /* newest deferred action at the mark */
} qx_arena_mark;

/* A new, empty arena; NULL when there is no memory. Free it with qx_arena_free. */
QX_API qx_arena *qx_arena_new(void);

/* A new arena that is freed when `outer` is freed or rewound past this moment; NULL when
 * there is no memory. For results that live as long as the caller's scratch: the scratch
 * itself must not be handed down as their arena (base/ctx.h). */
QX_API qx_arena *qx_arena_inside(qx_arena *outer);

/* Runs deferred actions, frees every piece and the arena. NULL is accepted. */
QX_API void qx_arena_free(qx_arena *arena);

/* `count` zeroed things of `size` bytes, aligned for any type; NULL when the product
 * overflows or there is no memory. A count of 0 gives a valid pointer. */
QX_API void *qx_arena_alloc(qx_arena *arena, size_t count, size_t size);

/* Copy of the first `length` bytes of `text`, closed by a NUL. NULL: no memory. */
QX_API char *qx_arena_text(qx_arena *arena, const char *text, size_t length);

/* Copy of a whole string. NULL: no memory. */
QX_API char *qx_arena_copy(qx_arena *arena, const char *text);

/* printf into the arena. NULL: no memory. Numbers: not by locale-dependent %f or %g;
 * use base/decimal.h for what a user or a program reads. */
QX_API char *qx_arena_printf(qx_arena *arena, const char *format, ...) QX_PRINTF(2, 3);

QX_API qx_arena_mark qx_arena_get_mark(const qx_arena *arena);
QX_API void qx_arena_rewind(qx_arena *arena, qx_arena_mark mark);

/* Runs `action(thing)` when the arena is freed or rewound past this moment. */
QX_API qx_status qx_arena_defer(qx_arena *arena,
                                void (*action)(void *thing),
                                void *thing);

/* Tests: the n-th allocation from now on this thread fails, once; 0 = never. */
QX_API void qx_arena_fail_after(size_t n);

#endif
