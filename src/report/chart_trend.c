/* report/chart_trend.c - means over a treatment whose levels are amounts, at their true
 * distances: the shape of the response is what matters, not the pairs. A second factor with
 * few levels gives a line each, told apart by shape, colour and a name at its end. */
#include <math.h>
#include <string.h>

#include "report/chart.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define TOP         14.0
#define HEIGHT      190.0
#define LINES_MOST  5
#define POINTS_MOST 3000 /* more make a black bar and a slow page */

/* Which factor of the cells is the amount; QX_NONE: none, or too many lines. */
static size_t amount_of(const qx_chart_input *in, size_t *first, size_t *count)
{
    size_t at = QX_NONE;
    if (in->result == NULL || in->term == NULL || in->result->class_count > 0) {
        return QX_NONE;
    }
    *count = qx_result_means(in->result, in->term, first);
    if (*count == 0 || in->result->mean[*first].cell.count > 2) {
        return QX_NONE;
    }
    const qx_cell *cell = &in->result->mean[*first].cell;
    for (size_t i = 0; i < cell->count; i++) {
        if (qx_factor_numeric(in->findings->protocol, cell->factor[i])) {
            at = i;
        }
    }
    return at;
}

static const char *line_name(const qx_mean *m, size_t amount)
{
    return m->cell.count == 2 ? m->cell.level[1 - amount] : "";
}

/* Names of the lines, in the order they come; more than LINES_MOST give 0. */
static size_t
lines_of(const qx_chart_input *in, size_t amount, const char *name[LINES_MOST])
{
    size_t first, count, lines = 0;
    (void)amount_of(in, &first, &count);
    for (size_t i = first; i < first + count; i++) {
        const char *own = line_name(&in->result->mean[i], amount);
        size_t k = 0;
        while (k < lines && strcmp(name[k], own) != 0) {
            k++;
        }
        if (k == LINES_MOST) {
            return 0;
        }
        if (k == lines) {
            name[lines++] = own;
        }
    }
    return lines;
}

static bool suits(const qx_chart_input *in)
{
    size_t first, count;
    const char *name[LINES_MOST];
    const size_t amount = amount_of(in, &first, &count);
    return amount != QX_NONE && lines_of(in, amount, name) > 0;
}

static double score(const qx_chart_input *in, const qx_mean *m, size_t amount)
{
    const qx_protocol *p = in->findings->protocol;
    const size_t t = qx_protocol_find_treatment(p, m->cell.factor[amount]);
    const char *level = m->cell.level[amount];
    const size_t l = qx_level_find(
        p->treatment[t].level_count, p->treatment[t].level, level, strlen(level));
    return l == QX_NONE ? (double)NAN : p->treatment[t].score[l];
}

typedef struct pane {
    qx_scale x, y;
    size_t amount, first, count, lines;
    const char *name[LINES_MOST];
} pane;

static void draw_line(const qx_chart_input *in, qx_scene *s, const pane *p, size_t line)
{
    static const qx_shape shapes[] = {
        QX_SHAPE_ROUND, QX_SHAPE_SQUARE, QX_SHAPE_DIAMOND, QX_SHAPE_TRIANGLE};
    const qx_ink ink = p->lines == 1 ? QX_INK_ACCENT : qx_ink_of_level(line);
    /* Intervals of several lines stand side by side. */
    const double shift = 5.0 * ((double)line - ((double)p->lines - 1.0) / 2.0);
    double last[2] = {NAN, NAN};
    for (size_t i = p->first; i < p->first + p->count; i++) {
        const qx_mean *m = &in->result->mean[i];
        if (strcmp(line_name(m, p->amount), p->name[line]) != 0) {
            continue;
        }
        const qx_back v = qx_mean_shown(in->result, m);
        const double x = qx_scale_at(&p->x, score(in, m, p->amount)) + shift;
        const double y = qx_scale_at(&p->y, v.estimate);
        qx_scene_line(s, last[0], last[1], x, y, (qx_pen){.stroke = ink, .width = 1.5});
        qx_scene_line(s,
                      x,
                      qx_scale_at(&p->y, v.lower),
                      x,
                      qx_scale_at(&p->y, v.upper),
                      (qx_pen){.stroke = ink, .width = 2.0});
        qx_scene_dot(s,
                     x,
                     y,
                     4.0,
                     shapes[line % QX_COUNT(shapes)],
                     (qx_pen){.fill = ink, .stroke = QX_INK_PAPER, .width = 1.0});
        last[0] = x;
        last[1] = y;
    }
    qx_writing how = qx_writing_soft;
    how.ink = QX_INK_MAIN;
    qx_scene_text(
        s, p->x.to + 16.0, last[1] + 4.0, s->width - p->x.to - 18.0, p->name[line], how);
}

static void draw_points(const qx_chart_input *in, qx_scene *s, const pane *p)
{
    if (in->result->point_count > POINTS_MOST) {
        return;
    }
    for (size_t i = 0; i < in->result->point_count; i++) {
        const qx_point *point = &in->result->point[i];
        const size_t c = qx_result_cell_of_row(
            in->findings, in->result, p->first, p->count, point->row);
        if (c == QX_NONE) {
            continue;
        }
        const double x =
            qx_scale_at(&p->x, score(in, &in->result->mean[p->first + c], p->amount));
        qx_scene_dot(s,
                     x + 9.0 * qx_chart_shift(i),
                     qx_scale_at(&p->y, qx_result_shown(in->result, point->y)),
                     1.6,
                     QX_SHAPE_ROUND,
                     (qx_pen){.fill = QX_INK_SOFT, .faint = true});
    }
}

static void extents(const qx_chart_input *in, const pane *p, qx_extent out[2])
{
    for (size_t i = p->first; i < p->first + p->count; i++) {
        const qx_back v = qx_mean_shown(in->result, &in->result->mean[i]);
        qx_extent_take(&out[0], score(in, &in->result->mean[i], p->amount));
        qx_extent_take(&out[1], v.estimate);
        qx_extent_take(&out[1], v.lower);
        qx_extent_take(&out[1], v.upper);
    }
    for (size_t i = 0;
         i < in->result->point_count && in->result->point_count <= POINTS_MOST;
         i++) {
        qx_extent_take(&out[1], qx_result_shown(in->result, in->result->point[i].y));
    }
}

/* The levels themselves are the ticks of the amount. */
static void
draw_levels(const qx_chart_input *in, qx_scene *s, const pane *p, double bottom)
{
    double last = -1e9;
    for (size_t i = p->first; i < p->first + p->count; i++) {
        const qx_mean *m = &in->result->mean[i];
        const double x = qx_scale_at(&p->x, score(in, m, p->amount));
        const char *level = m->cell.level[p->amount];
        if (strcmp(line_name(m, p->amount), p->name[0]) != 0 || isnan(x)) {
            continue;
        }
        const double wide = qx_text_width(level, QX_TEXT_SMALL) + 6.0;
        if (x - last >= wide) {
            qx_scene_text(s, x, bottom + 14.0, 60.0, level, qx_writing_tick);
            last = x;
        }
        qx_scene_line(
            s, x, bottom, x, bottom + 3.0, (qx_pen){.stroke = QX_INK_SOFT, .width = 1.0});
    }
}

static void draw(const qx_chart_input *in, qx_scene *s)
{
    pane p = {.count = 0};
    qx_extent extent[2] = {QX_EXTENT_EMPTY, QX_EXTENT_EMPTY};
    qx_axis up;
    const double bottom = TOP + HEIGHT;
    if (!suits(in)) {
        qx_scene_nothing(s, "There is no response over amounts to draw.");
        return;
    }
    p.amount = amount_of(in, &p.first, &p.count);
    p.lines = lines_of(in, p.amount, p.name);
    extents(in, &p, extent);
    if (extent[1].low > extent[1].high || !(extent[0].low < extent[0].high)) {
        qx_scene_nothing(s, "No mean could be estimated.");
        return;
    }
    if (!qx_axis_make(in->doc->arena, extent[1], HEIGHT, false, &up)) {
        s->failed = true;
        return;
    }
    const double left = qx_chart_left(&up);
    const double right = p.lines > 1 ? s->width - 84.0 : s->width - 24.0;
    s->height = bottom + 38.0;
    p.x = (qx_scale){extent[0].low, extent[0].high, left + 20.0, right};
    p.y = (qx_scale){up.low, up.high, bottom, TOP};
    qx_chart_upwards(s, &up, &p.y, left, right + 12.0);
    draw_levels(in, s, &p, bottom);
    draw_points(in, s, &p);
    for (size_t line = 0; line < p.lines; line++) {
        draw_line(in, s, &p, line);
    }
    const char *factor = in->result->mean[p.first].cell.factor[p.amount];
    qx_writing how = qx_writing_tick;
    how.upward = true;
    const size_t t = qx_protocol_find_treatment(in->findings->protocol, factor);
    const char *unit = t == QX_NONE ? "" : in->findings->protocol->treatment[t].unit;
    const char *what =
        unit[0] == '\0' ? factor : qx_say(in->doc, "%s (%s)", factor, unit);
    qx_scene_text(
        s, (left + right) / 2.0, bottom + 31.0, right - left, what, qx_writing_tick);
    qx_scene_text(
        s, 12.0, TOP + HEIGHT / 2.0, HEIGHT, qx_words_heading(in->doc, in->result), how);
}

static const char *caption(const qx_chart_input *in)
{
    size_t first, count;
    if (!suits(in)) {
        return "Response over amounts";
    }
    const size_t amount = amount_of(in, &first, &count);
    const qx_cell *cell = &in->result->mean[first].cell;
    const char *text = qx_say(
        in->doc, "%s over %s", qx_words_label(in->doc, in->result), cell->factor[amount]);
    const char *part = qx_term_part(in->result->mean[first].term);
    return cell->count == 1
               ? qx_say(in->doc, "%s%s", text, part)
               : qx_say(in->doc, "%s, by %s%s", text, cell->factor[1 - amount], part);
}

static const char *describe(const qx_chart_input *in)
{
    if (!suits(in)) {
        return "There is no response over amounts to draw.";
    }
    const char *means = qx_chart_means.describe(in);
    return qx_say(in->doc, "Means joined over the amounts of the treatment. %s", means);
}

const qx_chart_kind qx_chart_trend = {.key = "trend",
                                      .title = "Response over amounts",
                                      .suits = suits,
                                      .draw = draw,
                                      .describe = describe,
                                      .caption = caption};
