#include "report/scene.h"

#include <math.h>
#include <string.h>

#include "base/utf8.h"

#define ELLIPSIS "\xe2\x80\xa6"

qx_scene *qx_scene_new(qx_arena *arena, double width, double height)
{
    qx_scene *s = qx_arena_alloc(arena, 1, sizeof *s);
    if (s != NULL) {
        s->arena = arena;
        s->width = width;
        s->height = height;
        s->title = "";
        s->description = "";
        s->mark = (qx_array)QX_ARRAY(arena, sizeof(qx_mark));
    }
    return s;
}

static qx_mark *push(qx_scene *s, qx_mark mark)
{
    qx_mark *m = qx_array_push(&s->mark);
    if (m == NULL) {
        s->failed = true;
        return NULL;
    }
    *m = mark;
    return m;
}

static bool drawable(double a, double b)
{
    return isfinite(a) && isfinite(b);
}

void qx_scene_line(qx_scene *s, double x, double y, double x2, double y2, qx_pen pen)
{
    if (drawable(x, y) && drawable(x2, y2)) {
        (void)push(
            s,
            (qx_mark){
                .kind = QX_MARK_LINE, .x = x, .y = y, .x2 = x2, .y2 = y2, .pen = pen});
    }
}

void qx_scene_bar(qx_scene *s, double x, double y, double x2, double y2, qx_pen pen)
{
    if (drawable(x, y) && drawable(x2, y2)) {
        (void)push(s,
                   (qx_mark){.kind = QX_MARK_BAR,
                             .x = fmin(x, x2),
                             .y = fmin(y, y2),
                             .x2 = fmax(x, x2),
                             .y2 = fmax(y, y2),
                             .pen = pen});
    }
}

void qx_scene_dot(qx_scene *s, double x, double y, double r, qx_shape shape, qx_pen pen)
{
    if (drawable(x, y)) {
        (void)push(s,
                   (qx_mark){.kind = QX_MARK_DOT,
                             .x = x,
                             .y = y,
                             .x2 = r,
                             .shape = shape,
                             .pen = pen});
    }
}

void qx_scene_path(qx_scene *s, size_t count, const double at[], qx_pen pen)
{
    double *own = qx_arena_alloc(s->arena, 2 * count, sizeof *own);
    if (own == NULL) {
        s->failed = true;
        return;
    }
    memcpy(own, at, 2 * count * sizeof *own);
    (void)push(s, (qx_mark){.kind = QX_MARK_PATH, .count = count, .at = own, .pen = pen});
}

/* Bytes of the first `count` characters. */
static size_t first_bytes(const char *text, size_t count)
{
    size_t at = 0;
    const size_t length = strlen(text);
    for (size_t i = 0; i < count && at < length; i++) {
        const size_t width = qx_utf8_width(text + at, length - at);
        at += width == 0 ? 1 : width;
    }
    return at;
}

/* Both ends stay: names that differ in their last letters remain apart. */
static const char *shortened(qx_scene *s, const char *text, double room, double size)
{
    const double wide = qx_text_width(text, size);
    const size_t length = qx_utf8_length(text);
    if (wide <= room || length < 2) {
        return qx_arena_copy(s->arena, text);
    }
    const double fits = floor((double)length * room / wide) - 1.0;
    const size_t keep = fits < 1.0 ? 1 : (size_t)fits;
    const size_t tail = keep / 3;
    return qx_arena_printf(s->arena,
                           "%.*s" ELLIPSIS "%s",
                           (int)first_bytes(text, keep - tail),
                           text,
                           text + first_bytes(text, length - tail));
}

void qx_scene_text(
    qx_scene *s, double x, double y, double room, const char *text, qx_writing how)
{
    const char *own = qx_scene_hold(s, shortened(s, text, room, how.size));
    if (own == NULL || own[0] == '\0' || !drawable(x, y)) {
        return;
    }
    (void)push(s,
               (qx_mark){.kind = QX_MARK_TEXT,
                         .x = x,
                         .y = y,
                         .text = own,
                         .size = how.size,
                         .anchor = how.anchor,
                         .bold = how.bold,
                         .upward = how.upward,
                         .pen = {.fill = how.ink}});
}

/* Bytes of `text` that go on one line: up to the last space that fits, all if all fits. */
static size_t line_bytes(qx_scene *s, const char *text, double room, double size)
{
    size_t best = 0;
    for (size_t at = 1;; at++) {
        if (text[at] != ' ' && text[at] != '\0') {
            continue;
        }
        const char *part = qx_arena_printf(s->arena, "%.*s", (int)at, text);
        if (qx_scene_hold(s, part) == NULL || qx_text_width(part, size) > room) {
            return best == 0 ? at : best;
        }
        best = at;
        if (text[at] == '\0') {
            return best;
        }
    }
}

double qx_scene_lines(qx_scene *s,
                      double x,
                      double y,
                      double room,
                      double high,
                      const char *text,
                      qx_writing how)
{
    while (text[0] != '\0' && !s->failed) {
        const size_t bytes = line_bytes(s, text, room, how.size);
        const char *line = qx_arena_printf(s->arena, "%.*s", (int)bytes, text);
        if (qx_scene_hold(s, line) != NULL) {
            qx_scene_text(s, x, y, room, line, how);
        }
        text += bytes;
        text += text[0] == ' ' ? 1 : 0;
        y += high;
    }
    return y;
}

void qx_scene_nothing(qx_scene *s, const char *why)
{
    const qx_writing how = {
        .size = QX_TEXT_NORMAL, .anchor = QX_FROM_MIDDLE, .ink = QX_INK_SOFT};
    const double end =
        qx_scene_lines(s, s->width / 2.0, 40.0, s->width - 20.0, 17.0, why, how);
    s->height = end + 15.0;
    qx_scene_bar(s,
                 1.0,
                 1.0,
                 s->width - 1.0,
                 s->height - 1.0,
                 (qx_pen){.stroke = QX_INK_RULE, .width = 1.0});
}

const char *qx_scene_hold(qx_scene *s, const char *pointer)
{
    if (pointer == NULL) {
        s->failed = true;
    }
    return pointer;
}
