/* base/file_write.c - files that are whole or not there.
 *
 * Bytes go to a new file in the same folder, are synced, and take the name in one step
 * (rename, or link where an old file must not be lost); then the folder is synced. What
 * is not a regular file (a terminal, a pipe, /dev/full) is written directly. */
#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/machine.h"

/* Names that are tried for the temporary file: remains of killed processes with our
 * number may be in the way. */
#define NAMES_MOST 100

static qx_status not_written(qx_ctx *cx, const char *path, int error)
{
    char why[QX_REASON_ROOM];
    return qx_fail(
        cx, QX_E_IO, "%s could not be written: %s", path, qx_reason(error, why));
}

/* Each of the steps below gives 0 or an errno value. */
static int write_all(int fd, const char *bytes, size_t length)
{
    while (length > 0) {
        const ssize_t put = write(fd, bytes, length);
        if (put < 0 && errno != EINTR) {
            return errno;
        }
        if (put > 0) {
            bytes += put;
            length -= (size_t)put;
        }
    }
    return 0;
}

/* Some file systems and devices cannot sync and say so; that is no failure. */
static int sync_and_close(int fd)
{
    int error = 0;
    if (fsync(fd) != 0 && errno != EINVAL && errno != ENOTSUP && errno != EROFS) {
        error = errno;
    }
    if (close(fd) != 0 && error == 0) {
        error = errno;
    }
    return error;
}

/* "folder/name" -> "folder" in `arena`; NULL: no memory. */
static char *folder_of(qx_arena *arena, const char *path)
{
    const char *slash = strrchr(path, '/');
    if (slash == NULL) {
        return qx_arena_copy(arena, ".");
    }
    return qx_arena_text(arena, path, slash == path ? 1 : (size_t)(slash - path));
}

static int sync_folder(const char *folder)
{
    const int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    /* A folder that may be written to but not read cannot be synced. */
    return fd < 0 ? 0 : sync_and_close(fd);
}

/* A new file beside `path`; its descriptor, or -1 with errno. The name is left in `*name`
 * (NULL: no memory). */
static int open_beside(qx_arena *arena, const char *path, char **name)
{
    for (int i = 0; i < NAMES_MOST; i++) {
        *name = qx_arena_printf(arena, "%s.%ld-%d.tmp", path, (long)getpid(), i);
        if (*name == NULL) {
            return -1;
        }
        const int fd = open(*name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (fd >= 0 || errno != EEXIST) {
            return fd;
        }
    }
    return -1;
}

/* Gives the finished file its name without touching one that is there. File systems
 * without hard links get an empty file first, as a claim. */
static int take_new_name(const char *temporary, const char *path)
{
    if (link(temporary, path) == 0) {
        (void)unlink(temporary);
        return 0;
    }
    if (errno != EPERM && errno != ENOTSUP && errno != ENOSYS) {
        return errno;
    }
    const int claim = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (claim < 0) {
        return errno;
    }
    (void)close(claim);
    if (rename(temporary, path) != 0) {
        const int error = errno;
        (void)unlink(path);
        return error;
    }
    return 0;
}

struct target {
    const char *told; /* as the user named it */
    const char *path; /* links followed */
    bool is_new;      /* must not be there */
    bool keep_mode;   /* an old file's permissions stay */
    mode_t mode;
};

static int fill(int fd, const struct target *target, const char *bytes, size_t length)
{
    int error = write_all(fd, bytes, length);
    if (error == 0 && target->keep_mode && fchmod(fd, target->mode) != 0) {
        error = errno;
    }
    const int closing = sync_and_close(fd);
    return error != 0 ? error : closing;
}

static qx_status
replace(qx_ctx *cx, const struct target *target, const char *bytes, size_t length)
{
    qx_arena *scratch = qx_ctx_scratch(cx);
    const char *folder = folder_of(scratch, target->path);
    char *temporary = NULL;
    const int fd = folder == NULL ? -1 : open_beside(scratch, target->path, &temporary);
    if (folder == NULL || temporary == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the name of a file");
    }
    if (fd < 0) {
        return not_written(cx, target->told, errno);
    }
    int error = fill(fd, target, bytes, length);
    if (error == 0 && target->is_new) {
        error = take_new_name(temporary, target->path);
    } else if (error == 0 && rename(temporary, target->path) != 0) {
        error = errno;
    }
    if (error != 0) {
        (void)unlink(temporary);
    }
    if (error == EEXIST && target->is_new) {
        return qx_fail(cx,
                       QX_E_EXISTS,
                       "%s is there already; choose another name or remove it first",
                       target->told);
    }
    error = error != 0 ? error : sync_folder(folder);
    return error != 0 ? not_written(cx, target->told, error) : QX_OK;
}

static qx_status
write_directly(qx_ctx *cx, const char *path, const char *bytes, size_t length)
{
    const int fd = open(path, O_WRONLY | O_CLOEXEC | O_NOCTTY);
    if (fd < 0) {
        return not_written(cx, path, errno);
    }
    int error = write_all(fd, bytes, length);
    if (close(fd) != 0 && error == 0) {
        error = errno;
    }
    return error != 0 ? not_written(cx, path, error) : QX_OK;
}

static qx_status
write_target(qx_ctx *cx, const char *path, const char *bytes, size_t length)
{
    struct target target = {.told = path, .path = path};
    struct stat about;
    if (stat(path, &about) == 0) {
        if (S_ISDIR(about.st_mode)) {
            return not_written(cx, path, EISDIR);
        }
        if (!S_ISREG(about.st_mode)) {
            return write_directly(cx, path, bytes, length);
        }
        target.keep_mode = true;
        target.mode = about.st_mode & 0777;
    }
    /* A link keeps pointing where it points: its target is what is replaced. */
    char *real = NULL;
    QX_NEW(cx, real, PATH_MAX);
    if (target.keep_mode && realpath(path, real) != NULL) {
        target.path = real;
    }
    return replace(cx, &target, bytes, length);
}

qx_status qx_file_write(qx_ctx *cx, const char *path, const char *bytes, size_t length)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, write_target(cx, path, bytes, length));
    return status;
}

qx_status qx_file_create(qx_ctx *cx, const char *path, const char *bytes, size_t length)
{
    const struct target target = {.told = path, .path = path, .is_new = true};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, replace(cx, &target, bytes, length));
    return status;
}

/* One folder; one that is there already is fine. */
static qx_status make_one(qx_ctx *cx, const char *told, const char *path)
{
    char why[QX_REASON_ROOM];
    struct stat about;
    if (mkdir(path, 0777) == 0) {
        return QX_OK;
    }
    const int error = errno;
    if (stat(path, &about) == 0) {
        if (S_ISDIR(about.st_mode)) {
            return QX_OK;
        }
        return qx_fail(cx,
                       QX_E_IO,
                       "folder %s could not be made: %s is a file, not a folder",
                       told,
                       path);
    }
    return qx_fail(
        cx, QX_E_IO, "folder %s could not be made: %s", told, qx_reason(error, why));
}

static qx_status make_each(qx_ctx *cx, const char *path)
{
    char *part = qx_arena_copy(qx_ctx_scratch(cx), path);
    if (part == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the name of a folder");
    }
    for (char *c = part; *c != '\0'; c++) {
        if (*c == '/' && c > part && c[-1] != '/') {
            *c = '\0';
            QX_TRY(make_one(cx, path, part));
            *c = '/';
        }
    }
    return make_one(cx, path, part);
}

qx_status qx_folder_make(qx_ctx *cx, const char *path)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, make_each(cx, path));
    return status;
}
