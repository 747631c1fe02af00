/* base/ctx.c - the context lives in an arena of its own, with its notes after it. */
#include "base/ctx.h"

#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>

#include "base/map.h"
#include "base/utf8.h"

/* A fixed buffer: the message "no memory" must not need memory. */
#define MESSAGE_ROOM 2048

struct qx_ctx {
    qx_arena *own;
    qx_arena *scratch;
    qx_arena_mark bare; /* of `own`, before any note */
    qx_map *notes;      /* NULL until there is one */
    qx_status status;
    const char *file;
    int line;
    char message[MESSAGE_ROOM];
    atomic_bool cancelled;
    const qx_ctx *outer; /* of a worker: whose cancellation counts too; or NULL */
    qx_progress *progress;
    void *listener;
};

static void free_scratch(void *scratch)
{
    qx_arena_free(scratch);
}

static qx_ctx *build(qx_arena *own)
{
    qx_ctx *cx = qx_arena_alloc(own, 1, sizeof *cx);
    if (cx == NULL) {
        return NULL;
    }
    cx->own = own;
    cx->scratch = qx_arena_new();
    if (cx->scratch == NULL) {
        return NULL;
    }
    if (qx_arena_defer(own, free_scratch, cx->scratch) != QX_OK) {
        qx_arena_free(cx->scratch);
        return NULL;
    }
    atomic_init(&cx->cancelled, false);
    cx->bare = qx_arena_get_mark(own);
    return cx;
}

qx_ctx *qx_ctx_new(void)
{
    qx_arena *own = qx_arena_new();
    if (own == NULL) {
        return NULL;
    }
    qx_ctx *cx = build(own);
    if (cx == NULL) {
        qx_arena_free(own);
    }
    return cx;
}

qx_ctx *qx_ctx_new_worker(const qx_ctx *outer)
{
    qx_ctx *cx = qx_ctx_new();
    if (cx != NULL) {
        cx->outer = outer;
    }
    return cx;
}

void qx_ctx_free(qx_ctx *cx)
{
    if (cx != NULL) {
        qx_arena_free(cx->own);
    }
}

qx_arena *qx_ctx_scratch(qx_ctx *cx)
{
    return cx->scratch;
}

/* A message that was cut ends with a whole character. */
static void cut_at_character(char *message)
{
    size_t i = 0;
    const size_t length = strlen(message);
    while (i < length) {
        const size_t width = qx_utf8_width(message + i, length - i);
        if (width == 0 && length - i < 4) {
            message[i] = '\0';
            return;
        }
        i += width == 0 ? 1 : width;
    }
}

qx_status qx_ctx_fail(
    qx_ctx *cx, qx_status status, const char *file, int line, const char *format, ...)
{
    if (cx->status != QX_OK || status == QX_OK) {
        return status;
    }
    cx->status = status;
    cx->file = file;
    cx->line = line;
    va_list args;
    va_start(args, format);
    const int length = vsnprintf(cx->message, MESSAGE_ROOM, format, args);
    va_end(args);
    if (length >= MESSAGE_ROOM) {
        cut_at_character(cx->message);
    }
    return status;
}

qx_status qx_ctx_status(const qx_ctx *cx)
{
    return cx->status;
}

const char *qx_ctx_message(const qx_ctx *cx)
{
    return cx->message;
}

const char *qx_ctx_file(const qx_ctx *cx)
{
    return cx->file == NULL ? "" : cx->file;
}

int qx_ctx_line(const qx_ctx *cx)
{
    return cx->line;
}

static void forget(qx_ctx *cx)
{
    cx->status = QX_OK;
    cx->message[0] = '\0';
    cx->file = NULL;
    cx->line = 0;
}

void qx_ctx_forgive(qx_ctx *cx)
{
    if (cx->status != QX_E_NOMEM && cx->status != QX_E_CANCELLED) {
        forget(cx);
    }
}

void qx_ctx_clear(qx_ctx *cx)
{
    forget(cx);
    cx->notes = NULL;
    qx_arena_rewind(cx->own, cx->bare);
}

static qx_status keep_note(qx_ctx *cx, const char *note)
{
    if (cx->notes == NULL) {
        cx->notes = qx_map_new(cx->own);
    }
    if (cx->notes == NULL || qx_map_add(cx->notes, note, strlen(note)) == QX_MAP_NONE) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a note");
    }
    return QX_OK;
}

qx_status qx_note(qx_ctx *cx, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    const int length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    const qx_arena_mark mark = qx_arena_get_mark(cx->scratch);
    char *note = length < 0 ? NULL : qx_arena_alloc(cx->scratch, (size_t)length + 1, 1);
    if (note == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a note");
    }
    va_start(args, format);
    (void)vsnprintf(note, (size_t)length + 1, format, args);
    va_end(args);
    const qx_status status = keep_note(cx, note);
    qx_arena_rewind(cx->scratch, mark);
    return status;
}

size_t qx_ctx_note_count(const qx_ctx *cx)
{
    return cx->notes == NULL ? 0 : qx_map_count(cx->notes);
}

const char *qx_ctx_note(const qx_ctx *cx, size_t i)
{
    return qx_map_key(cx->notes, i);
}

void qx_ctx_cancel(qx_ctx *cx)
{
    atomic_store(&cx->cancelled, true);
}

bool qx_ctx_cancelled(const qx_ctx *cx)
{
    for (; cx != NULL; cx = cx->outer) {
        if (atomic_load(&cx->cancelled)) {
            return true;
        }
    }
    return false;
}

void qx_ctx_listen(qx_ctx *cx, qx_progress *progress, void *listener)
{
    cx->progress = progress;
    cx->listener = listener;
}

void qx_ctx_progress(qx_ctx *cx, const char *what, size_t done, size_t total)
{
    if (cx->progress != NULL) {
        cx->progress(cx->listener, what, done, total);
    }
}
