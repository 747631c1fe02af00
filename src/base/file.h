/* base/file.h - whole files in, whole files out.
 *
 * Reading is limited in size and tells what the machine said. Writing is atomic: a
 * temporary file in the same folder, synced, then renamed, so that a full disk or a
 * killed process leaves the old file or the new one and nothing half-written. */
#ifndef QX_BASE_FILE_H
#define QX_BASE_FILE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/ctx.h"

typedef struct qx_bytes {
    const char *bytes; /* closed by a NUL that is not counted */
    size_t length;
} qx_bytes;

/* Reads the whole of `path` ("-": standard input) into `arena`. `most` bytes at the most.
 * QX_E_INPUT: missing, a folder, larger than `most`; QX_E_IO: the machine. */
QX_API qx_status
qx_file_read(qx_ctx *cx, qx_arena *arena, const char *path, size_t most, qx_bytes *out);

/* Replaces `path` by these bytes, or leaves it as it was. QX_E_IO. */
QX_API qx_status qx_file_write(qx_ctx *cx,
                               const char *path,
                               const char *bytes,
                               size_t length);

/* The same, but QX_E_EXISTS if `path` is there already. */
QX_API qx_status qx_file_create(qx_ctx *cx,
                                const char *path,
                                const char *bytes,
                                size_t length);

/* Makes a folder (and those above it) if it is not there. QX_E_IO. */
QX_API qx_status qx_folder_make(qx_ctx *cx, const char *path);

QX_API bool qx_file_exists(const char *path);

/* folder + "/" + name in `arena`. NULL: no memory. */
QX_API char *qx_path_join(qx_arena *arena, const char *folder, const char *name);

#endif
