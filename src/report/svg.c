#include "report/svg.h"

#include <math.h>

#include "base/decimal.h"

/* One attribute with a length: a tenth of a unit, no ".0". */
static void length(qx_text *out, const char *name, double x)
{
    char room[QX_NUMBER_ROOM];
    const double tenth = round(10.0 * x) / 10.0;
    qx_text_printf(out,
                   " %s=\"%s\"",
                   name,
                   qx_number_fixed(tenth, tenth == round(tenth) ? 0 : 1, room));
}

static void point(qx_text *out, double x, double y)
{
    char a[QX_NUMBER_ROOM], b[QX_NUMBER_ROOM];
    qx_text_printf(out, "%s,%s", qx_number_fixed(x, 1, a), qx_number_fixed(y, 1, b));
}

static void pen(qx_text *out, const qx_pen *p)
{
    qx_text_printf(
        out, " class=\"f-%s s-%s\"", qx_ink_name(p->fill), qx_ink_name(p->stroke));
    if (p->stroke != QX_INK_NONE) {
        length(out, "stroke-width", p->width);
    }
    if (p->dashed) {
        qx_text_add(out, " stroke-dasharray=\"4 3\"");
    }
    if (p->faint) {
        qx_text_add(out, " opacity=\"0.45\"");
    }
}

static void polygon(qx_text *out, const qx_mark *m, size_t count, const double turn[][2])
{
    qx_text_add(out, "<polygon points=\"");
    for (size_t i = 0; i < count; i++) {
        qx_text_add(out, i > 0 ? " " : "");
        point(out, m->x + m->x2 * turn[i][0], m->y + m->x2 * turn[i][1]);
    }
    qx_text_add(out, "\"");
    pen(out, &m->pen);
    qx_text_add(out, "/>");
}

static void dot(qx_text *out, const qx_mark *m)
{
    /* Corners chosen so that the shapes cover about the same area. */
    static const double square[][2] = {
        {-0.89, -0.89}, {0.89, -0.89}, {0.89, 0.89}, {-0.89, 0.89}};
    static const double diamond[][2] = {{0, -1.25}, {1.25, 0}, {0, 1.25}, {-1.25, 0}};
    static const double triangle[][2] = {{0, -1.25}, {1.2, 0.85}, {-1.2, 0.85}};
    switch (m->shape) {
    case QX_SHAPE_SQUARE:
        polygon(out, m, 4, square);
        return;
    case QX_SHAPE_DIAMOND:
        polygon(out, m, 4, diamond);
        return;
    case QX_SHAPE_TRIANGLE:
        polygon(out, m, 3, triangle);
        return;
    case QX_SHAPE_ROUND:
        break;
    }
    qx_text_add(out, "<circle");
    length(out, "cx", m->x);
    length(out, "cy", m->y);
    length(out, "r", m->x2);
    pen(out, &m->pen);
    qx_text_add(out, "/>");
}

static void path(qx_text *out, const qx_mark *m)
{
    qx_text_add(out, "<polyline points=\"");
    for (size_t i = 0; i < m->count; i++) {
        qx_text_add(out, i > 0 ? " " : "");
        point(out, m->at[2 * i], m->at[2 * i + 1]);
    }
    qx_text_add(out, "\"");
    pen(out, &m->pen);
    qx_text_add(out, "/>");
}

static void text(qx_text *out, const qx_mark *m)
{
    static const char *const anchor[] = {"start", "middle", "end"};
    char a[QX_NUMBER_ROOM], b[QX_NUMBER_ROOM];
    qx_text_add(out, "<text");
    length(out, "x", m->x);
    length(out, "y", m->y);
    length(out, "font-size", m->size);
    if (m->anchor != QX_FROM_START) {
        qx_text_printf(out, " text-anchor=\"%s\"", anchor[m->anchor]);
    }
    if (m->bold) {
        qx_text_add(out, " font-weight=\"600\"");
    }
    if (m->upward) {
        qx_text_printf(out,
                       " transform=\"rotate(-90 %s %s)\"",
                       qx_number_fixed(m->x, 1, a),
                       qx_number_fixed(m->y, 1, b));
    }
    pen(out, &m->pen);
    qx_text_add(out, ">");
    qx_text_html(out, m->text);
    qx_text_add(out, "</text>");
}

static void mark(qx_text *out, const qx_mark *m)
{
    switch (m->kind) {
    case QX_MARK_LINE:
        qx_text_add(out, "<line");
        length(out, "x1", m->x);
        length(out, "y1", m->y);
        length(out, "x2", m->x2);
        length(out, "y2", m->y2);
        pen(out, &m->pen);
        qx_text_add(out, "/>");
        break;
    case QX_MARK_BAR:
        qx_text_add(out, "<rect");
        length(out, "x", m->x);
        length(out, "y", m->y);
        length(out, "width", m->x2 - m->x);
        length(out, "height", m->y2 - m->y);
        pen(out, &m->pen);
        qx_text_add(out, "/>");
        break;
    case QX_MARK_DOT:
        dot(out, m);
        break;
    case QX_MARK_PATH:
        path(out, m);
        break;
    case QX_MARK_TEXT:
        text(out, m);
        break;
    }
    qx_text_add(out, "\n");
}

static void style_alone(qx_text *out)
{
    qx_text_add(out, "<style>svg{");
    qx_palette_css(out, 0);
    qx_text_add(out, "font-family:system-ui,sans-serif}");
    qx_palette_classes(out);
    qx_text_add(out, "</style>\n");
}

void qx_svg_write(qx_text *out, const qx_scene *scene, const char *id, bool alone)
{
    char w[QX_NUMBER_ROOM], h[QX_NUMBER_ROOM];
    qx_text_printf(out,
                   "<svg%s class=\"chart\" role=\"img\" aria-labelledby=\"%s-t %s-d\" "
                   "viewBox=\"0 0 %s %s\"",
                   alone ? " xmlns=\"http://www.w3.org/2000/svg\"" : "",
                   id,
                   id,
                   qx_number_fixed(scene->width, 0, w),
                   qx_number_fixed(ceil(scene->height), 0, h));
    qx_text_printf(out, " width=\"%s\" height=\"%s\">\n", w, h);
    qx_text_printf(out, "<title id=\"%s-t\">", id);
    qx_text_html(out, scene->title);
    qx_text_printf(out, "</title>\n<desc id=\"%s-d\">", id);
    qx_text_html(out, scene->description);
    qx_text_add(out, "</desc>\n");
    if (alone) {
        style_alone(out);
    }
    for (size_t i = 0; i < scene->mark.count; i++) {
        mark(out, qx_array_at(&scene->mark, i));
    }
    qx_text_add(out, "</svg>\n");
}
