#include "trial/zip_part.h"

#include <stdbool.h>

qx_status
qx_zip_open(qx_ctx *cx, const char *file, const char *bytes, size_t length, zip_t **out)
{
    zip_error_t error;
    zip_error_init(&error);
    zip_source_t *source = zip_source_buffer_create(bytes, length, 0, &error);
    zip_t *zip = source == NULL ? NULL : zip_open_from_source(source, ZIP_RDONLY, &error);
    const bool memory = zip_error_code_zip(&error) == ZIP_ER_MEMORY;
    zip_error_fini(&error);
    if (zip == NULL) {
        zip_source_free(source);
        return memory ? qx_fail(cx, QX_E_NOMEM, "no memory to read %s", file)
                      : qx_fail(cx,
                                QX_E_INPUT,
                                "%s is damaged: it begins like a spreadsheet but cannot "
                                "be unpacked; save it again",
                                file);
    }
    *out = zip;
    return QX_OK;
}

static bool read_whole(zip_file_t *part, char *bytes, size_t length)
{
    size_t done = 0;
    while (done < length) {
        const zip_int64_t got = zip_fread(part, bytes + done, length - done);
        if (got <= 0) {
            break;
        }
        done += (size_t)got;
    }
    char beyond;
    /* Reading to the end is what makes the library look at the checksum. */
    bytes[done] = '\0';
    return done == length && zip_fread(part, &beyond, 1) == 0;
}

qx_status qx_zip_part(qx_ctx *cx,
                      qx_arena *arena,
                      zip_t *zip,
                      const char *file,
                      const char *name,
                      size_t most,
                      qx_bytes *out)
{
    zip_stat_t about;
    const zip_int64_t at = zip_name_locate(zip, name, ZIP_FL_NOCASE);
    *out = (qx_bytes){0};
    if (at < 0) {
        return QX_OK;
    }
    if (zip_stat_index(zip, (zip_uint64_t)at, 0, &about) != 0 ||
        (about.valid & ZIP_STAT_SIZE) == 0 || about.size > most) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%s: its part %s is larger than %zu MB or has no size; save the "
                       "list alone, as CSV",
                       file,
                       name,
                       most >> 20);
    }
    char *bytes = qx_arena_alloc(arena, about.size + 1, 1);
    if (bytes == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory to read %s", file);
    }
    bool whole = false;
    zip_file_t *part = zip_fopen_index(zip, (zip_uint64_t)at, 0);
    if (part != NULL) {
        whole = read_whole(part, bytes, about.size);
        (void)zip_fclose(part);
    }
    if (!whole) {
        return qx_fail(
            cx,
            QX_E_INPUT,
            "%s: its part %s is damaged or locked by a password; save it again",
            file,
            name);
    }
    *out = (qx_bytes){.bytes = bytes, .length = about.size};
    return QX_OK;
}
