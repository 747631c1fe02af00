/* base/file.c - reading, and small things about paths. Writing is in file_write.c. */
#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/machine.h"

#define FIRST_ROOM ((size_t)64 * 1024)

struct source {
    const char *name; /* as told to the user */
    int fd;
    size_t hint; /* size of a regular file, else 0 */
};

static qx_status too_large(qx_ctx *cx, const char *name, size_t most)
{
    return qx_fail(cx,
                   QX_E_INPUT,
                   "%s is larger than %zu bytes, the most that is read; is it the right "
                   "file?",
                   name,
                   most);
}

static qx_status not_readable(qx_ctx *cx, const char *name, int error)
{
    char why[QX_REASON_ROOM];
    if (error == EISDIR) {
        return qx_fail(cx, QX_E_INPUT, "%s is a folder; name a file in it", name);
    }
    if (error == ENOENT || error == ENOTDIR || error == ENAMETOOLONG || error == ELOOP) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%s cannot be found; check the name and the folder you are in",
                       name);
    }
    return qx_fail(cx, QX_E_IO, "%s could not be read: %s", name, qx_reason(error, why));
}

/* Reads until the end into a buffer that doubles. One byte more than `most` is asked for,
 * to see whether there is more. */
static qx_status read_all(
    qx_ctx *cx, qx_arena *arena, const struct source *source, size_t most, qx_bytes *out)
{
    size_t room = source->hint > 0 ? source->hint + 2 : FIRST_ROOM;
    size_t length = 0;
    char *bytes = NULL;
    QX_NEW_IN(cx, arena, bytes, room);
    for (;;) {
        if (length + 1 >= room) {
            char *larger = NULL;
            QX_NEW_IN(cx, arena, larger, room * 2);
            memcpy(larger, bytes, length);
            bytes = larger;
            room *= 2;
        }
        const ssize_t got = read(source->fd, bytes + length, room - 1 - length);
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got < 0) {
            return not_readable(cx, source->name, errno);
        }
        if (got == 0) {
            break;
        }
        length += (size_t)got;
        if (length > most) {
            return too_large(cx, source->name, most);
        }
    }
    bytes[length] = '\0';
    *out = (qx_bytes){bytes, length};
    return QX_OK;
}

static qx_status
read_open(qx_ctx *cx, qx_arena *arena, struct source source, size_t most, qx_bytes *out)
{
    struct stat about;
    if (fstat(source.fd, &about) != 0) {
        return not_readable(cx, source.name, errno);
    }
    if (S_ISREG(about.st_mode) && about.st_size > 0) {
        if ((uintmax_t)about.st_size > most) {
            return too_large(cx, source.name, most);
        }
        source.hint = (size_t)about.st_size;
    }
    return read_all(cx, arena, &source, most, out);
}

qx_status
qx_file_read(qx_ctx *cx, qx_arena *arena, const char *path, size_t most, qx_bytes *out)
{
    if (most > SIZE_MAX / 4) {
        return qx_fail(cx, QX_E_ARG, "%zu bytes are more than can be read", most);
    }
    if (strcmp(path, "-") == 0) {
        const struct source input = {.name = "standard input", .fd = STDIN_FILENO};
        return read_open(cx, arena, input, most, out);
    }
    const int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
    if (fd < 0) {
        return not_readable(cx, path, errno);
    }
    const struct source file = {.name = path, .fd = fd};
    const qx_status status = read_open(cx, arena, file, most, out);
    (void)close(fd);
    return status;
}

bool qx_file_exists(const char *path)
{
    struct stat about;
    return stat(path, &about) == 0;
}

char *qx_path_join(qx_arena *arena, const char *folder, const char *name)
{
    const size_t length = strlen(folder);
    const char *between = length == 0 || folder[length - 1] == '/' ? "" : "/";
    return qx_arena_printf(arena, "%s%s%s", folder, between, name);
}
