/* base/text.h - growing UTF-8 text in an arena, and escaping for what reads it.
 *
 * A text that met an allocation failure stays as it was and remembers the failure
 * (qx_text_failed), so that a writer may add without asking and ask once at its end. */
#ifndef QX_BASE_TEXT_H
#define QX_BASE_TEXT_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/status.h"

typedef struct qx_text qx_text;

QX_API qx_text *qx_text_new(qx_arena *arena); /* NULL: no memory */
QX_API void qx_text_add(qx_text *text, const char *more);
QX_API void qx_text_add_bytes(qx_text *text, const char *bytes, size_t length);
QX_API void qx_text_printf(qx_text *text, const char *format, ...) QX_PRINTF(2, 3);
QX_API void qx_text_html(qx_text *text,
                         const char *more); /* & < > " ' escaped; also XML */
QX_API void qx_text_csv(qx_text *text,
                        const char *field); /* RFC 4180 quoting where needed */
QX_API void qx_text_json(qx_text *text,
                         const char *more);          /* "quoted", RFC 8259 escapes */
QX_API const char *qx_text_get(const qx_text *text); /* borrowed, NUL at its end */
QX_API size_t qx_text_length(const qx_text *text);   /* bytes */
QX_API bool qx_text_failed(const qx_text *text);
QX_API void qx_text_fail(qx_text *text); /* a writer on top of it had no memory */

/* Is this well-formed UTF-8 (RFC 3629) without NUL? On false `*at` is the first bad byte. */
QX_API bool qx_utf8_valid(const char *bytes, size_t length, size_t *at);

/* Code points in a valid UTF-8 string: its width for aligning plain tables. */
QX_API size_t qx_utf8_length(const char *text);

/* Levenshtein distance of two short texts (bytes, at most 64 each; longer: SIZE_MAX),
 * and the candidate nearest to `text` if it is near enough to be meant, else NULL. */
QX_API size_t qx_text_distance(const char *a, const char *b);
QX_API const char *
qx_text_nearest(const char *text, const char *const candidates[], size_t count);

#endif
