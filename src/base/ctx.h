/* base/ctx.h - the context that every call passes down: scratch memory, the first
 * failure, notes, cancellation and progress. One per request or worker; never shared
 * between threads.
 *
 * Scratch:  memory from qx_ctx_scratch() lives until the caller who took a mark rewinds
 *           to it. Convention: a public function that needs scratch takes a mark at its
 *           start and rewinds before it returns (QX_SCRATCH below); what it gives back
 *           is in an arena that the caller handed in or that the result owns. Never hand
 *           in the scratch itself as such an arena: the rewind would take the result.
 * Failure:  qx_fail stores code and message with the place in our source; the first
 *           cause is kept, later ones are ignored until qx_ctx_clear.
 * Notes:    plain sentences that a user should read ("tree has no column: ..."). */
#ifndef QX_BASE_CTX_H
#define QX_BASE_CTX_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/status.h"

typedef struct qx_ctx qx_ctx;

/* NULL when there is no memory. */
QX_API qx_ctx *qx_ctx_new(void);
QX_API void qx_ctx_free(qx_ctx *cx);

/* A context for a worker of `outer`: its own memory and failure, no listener; it counts as
 * cancelled when `outer` is. NULL when there is no memory. Free it before `outer`. */
QX_API qx_ctx *qx_ctx_new_worker(const qx_ctx *outer);

QX_API qx_arena *qx_ctx_scratch(qx_ctx *cx);

/* Stores the failure if it is the first, and returns `status`. Use the macro. */
QX_API qx_status qx_ctx_fail(
    qx_ctx *cx, qx_status status, const char *file, int line, const char *format, ...)
    QX_PRINTF(5, 6);
#ifdef __clang_analyzer__
/* The analyser does not look into other sources: it is shown that `status` comes back. */
#define qx_fail(cx, status, ...)                                                         \
    ((void)qx_ctx_fail((cx), (status), __FILE__, __LINE__, __VA_ARGS__), (status))
#else
#define qx_fail(cx, status, ...)                                                         \
    qx_ctx_fail((cx), (status), __FILE__, __LINE__, __VA_ARGS__)
#endif

/* The stored failure: QX_OK and "" when there is none. */
QX_API qx_status qx_ctx_status(const qx_ctx *cx);
QX_API const char *qx_ctx_message(const qx_ctx *cx);
QX_API const char *qx_ctx_file(const qx_ctx *cx); /* our source file that failed, or "" */
QX_API int qx_ctx_line(const qx_ctx *cx);         /* and its line, or 0 */
QX_API void qx_ctx_clear(qx_ctx *cx);             /* forgets failure and notes */

/* Forgets the failure and keeps the notes: for a step that was tried and may fail (a check
 * that the data do not allow). Never for QX_E_NOMEM or QX_E_CANCELLED: those stay. */
QX_API void qx_ctx_forgive(qx_ctx *cx);

/* Notes keep their order; an identical sentence is kept once. */
QX_API qx_status qx_note(qx_ctx *cx, const char *format, ...) QX_PRINTF(2, 3);
QX_API size_t qx_ctx_note_count(const qx_ctx *cx);
QX_API const char *qx_ctx_note(const qx_ctx *cx, size_t i);

/* Cancellation: set from another thread or a signal handler; long loops ask. */
QX_API void qx_ctx_cancel(qx_ctx *cx);
QX_API bool qx_ctx_cancelled(const qx_ctx *cx);

/* Progress: `done` of `total` steps of `what`; without a listener nothing happens. */
typedef void qx_progress(void *listener, const char *what, size_t done, size_t total);
QX_API void qx_ctx_listen(qx_ctx *cx, qx_progress *progress, void *listener);
QX_API void qx_ctx_progress(qx_ctx *cx, const char *what, size_t done, size_t total);

/* n zeroed things in `arena` into `pointer`; returns QX_E_NOMEM from the caller. */
#define QX_NEW_IN(cx, arena, pointer, n)                                                 \
    do {                                                                                 \
        (pointer) = qx_arena_alloc((arena), (n), sizeof *(pointer));                     \
        if ((pointer) == NULL) {                                                         \
            return qx_fail((cx), QX_E_NOMEM, "no memory for %s", #pointer);              \
        }                                                                                \
    } while (0)

/* The same in scratch memory. */
#define QX_NEW(cx, pointer, n) QX_NEW_IN((cx), qx_ctx_scratch(cx), (pointer), (n))

/* Runs `call` with scratch that dies afterwards; `status` receives its result. */
#define QX_SCRATCH(cx, status, call)                                                     \
    do {                                                                                 \
        const qx_arena_mark qx_scratch_mark = qx_arena_get_mark(qx_ctx_scratch(cx));     \
        (status) = (call);                                                               \
        qx_arena_rewind(qx_ctx_scratch(cx), qx_scratch_mark);                            \
    } while (0)

#endif
