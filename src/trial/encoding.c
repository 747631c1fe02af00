#include "trial/encoding.h"

#include <stdio.h>
#include <string.h>

#include "base/text.h"

static bool starts_with(const char *bytes, size_t length, const char *mark, size_t n)
{
    return length >= n && memcmp(bytes, mark, n) == 0;
}

static qx_place place_of(const char *bytes, size_t at)
{
    qx_place place = {.line = 1, .column = 1};
    size_t line_start = 0;
    for (size_t i = 0; i < at; i++) {
        if (bytes[i] == '\n') {
            place.line++;
            line_start = i + 1;
        }
    }
    place.column = at - line_start + 1;
    return place;
}

/* Lines below `from` that also hold bytes outside UTF-8, at most `most` of them. */
static size_t bad_lines_after(const char *bytes, size_t length, size_t from, size_t most)
{
    size_t count = 0;
    size_t at = 0;
    while (count < most) {
        const char *end = memchr(bytes + from, '\n', length - from);
        if (end == NULL) {
            return count;
        }
        from = (size_t)(end - bytes) + 1;
        if (qx_utf8_valid(bytes + from, length - from, &at)) {
            return count;
        }
        from += at;
        count++;
    }
    return count;
}

/* Names the kind of file when its first bytes give it away; NULL if they do not. */
static const char *binary_kind(const char *bytes, size_t length)
{
    if (starts_with(bytes, length, "\xFF\xFE", 2) ||
        starts_with(bytes, length, "\xFE\xFF", 2)) {
        return "the file is in UTF-16";
    }
    if (starts_with(bytes, length, "PK\x03\x04", 4)) {
        return "the file is a spreadsheet or another packed file, not text";
    }
    if (starts_with(bytes, length, "SQLite format 3", 16)) {
        return "the file is a trial file or another database, not text";
    }
    if (starts_with(bytes, length, "%PDF-", 5)) {
        return "the file is a PDF, not text";
    }
    return NULL;
}

static void keep(qx_status *failed, qx_status status)
{
    if (status != QX_OK && *failed == QX_OK) {
        *failed = status;
    }
}

static void tell_bad_byte(qx_problems *problems,
                          const char *file,
                          const char *bytes,
                          size_t length,
                          size_t at,
                          qx_status *failed)
{
    const qx_place place = place_of(bytes, at);
    if (bytes[at] == '\0') {
        const bool wide = at == 1 || (at == 0 && length > 1 && bytes[1] != '\0');
        keep(failed,
             qx_problem_add(problems,
                            file,
                            place,
                            "expected text in UTF-8",
                            wide ? "the file is in UTF-16 or binary: byte %zu is zero"
                                 : "the file is binary, not text: byte %zu is zero",
                            at + 1));
        return;
    }
    /* More than this many lines need no exact number. */
    enum { LINES_TOLD = 1000 };
    const size_t more = bad_lines_after(bytes, length, at, LINES_TOLD);
    char like[40] = "";
    if (more > 0) {
        (void)snprintf(like,
                       sizeof like,
                       " (%zu further line%s like it)",
                       more,
                       more == 1 ? "" : "s");
    }
    keep(failed,
         qx_problem_add(problems,
                        file,
                        place,
                        "expected UTF-8; save the file again as UTF-8",
                        "byte %02X is not UTF-8, so the file is in another encoding such "
                        "as Latin-1%s",
                        (unsigned)(unsigned char)bytes[at],
                        like));
}

bool qx_encoding_check(qx_problems *problems,
                       const char *file,
                       const char *bytes,
                       size_t length,
                       const char *kind,
                       size_t *start,
                       qx_status *failed)
{
    const qx_place top = {.line = 1, .column = 1};
    *start = starts_with(bytes, length, "\xEF\xBB\xBF", 3) ? 3 : 0;
    if (length == *start) {
        keep(failed, qx_problem_add(problems, file, top, kind, "the file is empty"));
        return false;
    }
    const char *binary = binary_kind(bytes, length);
    if (binary != NULL) {
        keep(failed,
             qx_problem_add(problems,
                            file,
                            top,
                            "expected text in UTF-8; save it as such",
                            "%s",
                            binary));
        return false;
    }
    size_t at = 0;
    if (!qx_utf8_valid(bytes + *start, length - *start, &at)) {
        tell_bad_byte(problems, file, bytes, length, *start + at, failed);
        return false;
    }
    return true;
}
