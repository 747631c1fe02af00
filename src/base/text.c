/* base/text.c */
#include "base/text.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "base/utf8.h"

#define FIRST_ROOM 256
/* Longest text that distances are formed for. */
#define DISTANCE_MOST 64

struct qx_text {
    qx_arena *arena;
    char *bytes; /* NULL until something was added */
    size_t length;
    size_t room; /* with the closing NUL */
    bool failed;
};

qx_text *qx_text_new(qx_arena *arena)
{
    qx_text *text = qx_arena_alloc(arena, 1, sizeof *text);
    if (text != NULL) {
        text->arena = arena;
    }
    return text;
}

/* Room for `more` bytes and the NUL. A text that failed once takes nothing any more:
 * a document with a hole in it would be worse than one that ends. */
static bool make_room(qx_text *text, size_t more)
{
    if (text->failed || more > SIZE_MAX / 4 - text->length) {
        text->failed = true;
        return false;
    }
    const size_t need = text->length + more + 1;
    if (need <= text->room) {
        return true;
    }
    size_t room = text->room == 0 ? FIRST_ROOM : text->room;
    while (room < need) {
        room *= 2;
    }
    char *bytes = qx_arena_alloc(text->arena, room, 1);
    if (bytes == NULL) {
        text->failed = true;
        return false;
    }
    if (text->length > 0) {
        memcpy(bytes, text->bytes, text->length);
    }
    text->bytes = bytes;
    text->room = room;
    return true;
}

void qx_text_add_bytes(qx_text *text, const char *bytes, size_t length)
{
    if (length == 0 || !make_room(text, length)) {
        return;
    }
    memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
    text->bytes[text->length] = '\0';
}

void qx_text_add(qx_text *text, const char *more)
{
    qx_text_add_bytes(text, more, strlen(more));
}

void qx_text_printf(qx_text *text, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    va_list again;
    va_copy(again, args);
    const int length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    if (length < 0) {
        text->failed = true;
    } else if (make_room(text, (size_t)length)) {
        (void)vsnprintf(text->bytes + text->length, (size_t)length + 1, format, again);
        text->length += (size_t)length;
    }
    va_end(again);
}

void qx_text_fail(qx_text *text)
{
    text->failed = true;
}

static const char *html_escape(char c)
{
    switch (c) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return NULL;
    }
}

void qx_text_html(qx_text *text, const char *more)
{
    const char *start = more;
    for (const char *c = more; *c != '\0'; c++) {
        const char *escape = html_escape(*c);
        if (escape != NULL) {
            qx_text_add_bytes(text, start, (size_t)(c - start));
            qx_text_add(text, escape);
            start = c + 1;
        }
    }
    qx_text_add(text, start);
}

/* Spaces at an end are quoted too: many readers strip them otherwise. A semicolon is,
 * because the same file may be opened where it separates fields. */
static bool needs_quotes(const char *field)
{
    const size_t length = strlen(field);
    return strpbrk(field, ",;\t\"\r\n") != NULL ||
           (length > 0 && (field[0] == ' ' || field[length - 1] == ' '));
}

void qx_text_csv(qx_text *text, const char *field)
{
    if (!needs_quotes(field)) {
        qx_text_add(text, field);
        return;
    }
    qx_text_add(text, "\"");
    for (const char *c = field; *c != '\0'; c++) {
        qx_text_add_bytes(text, c, 1);
        if (*c == '"') {
            qx_text_add(text, "\"");
        }
    }
    qx_text_add(text, "\"");
}

/* Escape of one ASCII character in a JSON string, or NULL; `room` holds the long form. */
static const char *json_escape(unsigned char c, char room[8])
{
    switch (c) {
    case '"':
        return "\\\"";
    case '\\':
        return "\\\\";
    case '\n':
        return "\\n";
    case '\r':
        return "\\r";
    case '\t':
        return "\\t";
    default:
        if (c >= 0x20 && c != 0x7f) {
            return NULL;
        }
        (void)snprintf(room, 8, "\\u%04x", (unsigned)c);
        return room;
    }
}

void qx_text_json(qx_text *text, const char *more)
{
    size_t left = strlen(more);
    qx_text_add(text, "\"");
    while (left > 0) {
        char room[8];
        const size_t width = qx_utf8_width(more, left);
        const char *escape =
            width == 0 ? "\xef\xbf\xbd" : json_escape((unsigned char)*more, room);
        if (escape != NULL) {
            qx_text_add(text, escape);
        } else {
            qx_text_add_bytes(text, more, width);
        }
        const size_t step = width == 0 ? 1 : width;
        more += step;
        left -= step;
    }
    qx_text_add(text, "\"");
}

const char *qx_text_get(const qx_text *text)
{
    return text->bytes == NULL ? "" : text->bytes;
}

size_t qx_text_length(const qx_text *text)
{
    return text->length;
}

bool qx_text_failed(const qx_text *text)
{
    return text->failed;
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Two neighbours that changed places count 1, as people mistype that way (Damerau 1964,
 * Communications of the ACM 7:171-176; restricted form, no substring edited twice). */
size_t qx_text_distance(const char *a, const char *b)
{
    const size_t na = strlen(a);
    const size_t nb = strlen(b);
    if (na > DISTANCE_MOST || nb > DISTANCE_MOST) {
        return SIZE_MAX;
    }
    size_t rows[3][DISTANCE_MOST + 1]; /* rows i-2, i-1 and i, used in turn */
    for (size_t j = 0; j <= nb; j++) {
        rows[0][j] = j;
    }
    for (size_t i = 1; i <= na; i++) {
        size_t *now = rows[i % 3];
        const size_t *before = rows[(i + 2) % 3];
        const size_t *two_before = rows[(i + 1) % 3];
        now[0] = i;
        for (size_t j = 1; j <= nb; j++) {
            const size_t change = before[j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1);
            now[j] = least(change, least(before[j], now[j - 1]) + 1);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
                now[j] = least(now[j], two_before[j - 2] + 1);
            }
        }
    }
    return rows[na % 3][nb];
}

const char *
qx_text_nearest(const char *text, const char *const candidates[], size_t count)
{
    const size_t third = strlen(text) / 3;
    const size_t most = third < 1 ? 1 : third;
    const char *nearest = NULL;
    size_t best = most + 1;
    for (size_t i = 0; i < count; i++) {
        const size_t distance = qx_text_distance(text, candidates[i]);
        if (distance < best) {
            best = distance;
            nearest = candidates[i];
        }
    }
    return nearest;
}
