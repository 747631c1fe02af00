/* report/chart_means.c - means with intervals and letters, raw values behind: one row for
 * each level, in the protocol's order. */
#include <math.h>
#include <string.h>

#include "report/chart.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define LABEL_MOST  128.0 /* paper units beside the marks; longer names stand above them */
#define NUMBER_MOST 0.4   /* share of the width: many letters stand in the table */
#define TOP         8.0
#define POINTS_MOST 3000 /* more make a black bar and a slow page */

static bool suits(const qx_chart_input *in)
{
    size_t first;
    return in->result != NULL && in->term != NULL && in->result->class_count == 0 &&
           qx_result_means(in->result, in->term, &first) > 0;
}

static size_t part(const qx_chart_input *in, size_t *first)
{
    const size_t all = qx_result_means(in->result, in->term, first);
    if (in->count == 0 || in->first >= all) {
        return all;
    }
    *first += in->first;
    return in->count < all - in->first ? in->count : all - in->first;
}

/* All of the term, so that the parts of a long chart share their axis. */
static qx_extent values(const qx_chart_input *in, bool points)
{
    qx_extent e = QX_EXTENT_EMPTY;
    size_t first;
    const size_t all = qx_result_means(in->result, in->term, &first);
    for (size_t i = first; i < first + all; i++) {
        const qx_back m = qx_mean_shown(in->result, &in->result->mean[i]);
        qx_extent_take(&e, m.estimate);
        qx_extent_take(&e, m.lower);
        qx_extent_take(&e, m.upper);
    }
    for (size_t i = 0; points && i < in->result->point_count; i++) {
        qx_extent_take(&e, qx_result_shown(in->result, in->result->point[i].y));
    }
    return e;
}

static bool points_shown(const qx_chart_input *in)
{
    return in->result->point_count > 0 && in->result->point_count <= POINTS_MOST;
}

/* How the rows are set. */
typedef struct rows {
    bool above;              /* names and numbers stand above the marks */
    double high, text, mark; /* of a row; base line and marks from its top */
    qx_scale x;
} row_style;

static void draw_points(const qx_chart_input *in,
                        qx_scene *s,
                        const row_style *rows,
                        size_t first,
                        size_t count)
{
    for (size_t i = 0; i < in->result->point_count; i++) {
        const qx_point *p = &in->result->point[i];
        const size_t c =
            qx_result_cell_of_row(in->findings, in->result, first, count, p->row);
        if (c == QX_NONE) {
            continue;
        }
        const double y =
            TOP + rows->high * (double)c + rows->mark + 8.0 * qx_chart_shift(i);
        qx_scene_dot(s,
                     qx_scale_at(&rows->x, qx_result_shown(in->result, p->y)),
                     y,
                     1.6,
                     QX_SHAPE_ROUND,
                     (qx_pen){.fill = QX_INK_SOFT, .faint = true});
    }
}

static const char *number_text(const qx_chart_input *in, const qx_mean *m)
{
    const bool back = !isnan(m->back.estimate);
    const double scale = qx_result_scale(in->result);
    const char *number = back ? qx_short_number(in->doc->arena, m->back.estimate, 3)
                              : qx_rounded(in->doc->arena,
                                           scale * m->estimate,
                                           qx_decimals_for(scale * m->se));
    return qx_say(in->doc,
                  "%s%s%s",
                  qx_said(in->doc, number),
                  m->letters == NULL ? "" : " ",
                  m->letters == NULL ? "" : m->letters);
}

static void draw_mean(const qx_chart_input *in,
                      qx_scene *s,
                      const row_style *rows,
                      const qx_mean *m,
                      double top)
{
    const qx_back v = qx_mean_shown(in->result, m);
    const double y = top + rows->mark;
    const char *number = number_text(in, m);
    const double wide =
        fmin(qx_text_width(number, QX_TEXT_NORMAL) + 4.0, NUMBER_MOST * s->width);
    qx_writing how = qx_writing_label;
    how.bold = true;
    how.anchor = rows->above ? QX_FROM_END : QX_FROM_START;
    qx_scene_text(s,
                  0.0,
                  top + rows->text,
                  rows->above ? s->width - wide - 8.0 : rows->x.from - 8.0,
                  qx_words_levels(in->doc, in->findings->protocol, &m->cell),
                  qx_writing_label);
    qx_scene_text(s,
                  rows->above ? s->width : rows->x.to + 10.0,
                  top + rows->text,
                  wide,
                  number,
                  how);
    qx_scene_line(s,
                  qx_scale_at(&rows->x, v.lower),
                  y,
                  qx_scale_at(&rows->x, v.upper),
                  y,
                  (qx_pen){.stroke = QX_INK_ACCENT, .width = 2.0});
    qx_scene_dot(s,
                 qx_scale_at(&rows->x, v.estimate),
                 y,
                 4.0,
                 QX_SHAPE_ROUND,
                 (qx_pen){.fill = QX_INK_ACCENT, .stroke = QX_INK_PAPER, .width = 1.0});
}

/* Names and numbers beside the marks, or above them where they are long. */
static row_style
arrange(const qx_chart_input *in, const qx_scene *s, size_t first, size_t count)
{
    double label = 24.0, number = 40.0;
    for (size_t i = first; i < first + count; i++) {
        const qx_mean *m = &in->result->mean[i];
        label =
            fmax(label,
                 qx_text_width(qx_words_levels(in->doc, in->findings->protocol, &m->cell),
                               QX_TEXT_NORMAL));
        number = fmax(number, qx_text_width(number_text(in, m), QX_TEXT_NORMAL));
    }
    if (label > LABEL_MOST || number > LABEL_MOST) {
        return (row_style){.above = true,
                           .high = 45.0,
                           .text = 13.0,
                           .mark = 28.0,
                           .x = {.from = 10.0, .to = s->width - 10.0}};
    }
    return (row_style){.high = 27.0,
                       .text = 17.5,
                       .mark = 13.5,
                       .x = {.from = label + 10.0, .to = s->width - number - 16.0}};
}

static void draw(const qx_chart_input *in, qx_scene *s)
{
    size_t first;
    qx_axis axis;
    if (!suits(in)) {
        qx_scene_nothing(s, "There are no means to draw.");
        return;
    }
    const size_t count = part(in, &first);
    const qx_extent extent = values(in, points_shown(in));
    if (extent.low > extent.high) {
        qx_scene_nothing(s, "No mean could be estimated.");
        return;
    }
    row_style rows = arrange(in, s, first, count);
    const double bottom = TOP + rows.high * (double)count + 2.0;
    if (!qx_axis_make(in->doc->arena, extent, rows.x.to - rows.x.from, true, &axis)) {
        s->failed = true;
        return;
    }
    rows.x.low = axis.low;
    rows.x.high = axis.high;
    s->height = bottom + 38.0;
    qx_chart_across(s, &axis, &rows.x, TOP, bottom);
    if (points_shown(in)) {
        draw_points(in, s, &rows, first, count);
    }
    for (size_t i = 0; i < count; i++) {
        draw_mean(
            in, s, &rows, &in->result->mean[first + i], TOP + rows.high * (double)i);
    }
    qx_scene_text(s,
                  s->width / 2.0,
                  bottom + 31.0,
                  s->width - 8.0,
                  qx_words_heading(in->doc, in->result),
                  qx_writing_tick);
}

static const char *caption(const qx_chart_input *in)
{
    size_t first;
    if (!suits(in)) {
        return "Means";
    }
    const size_t all = qx_result_means(in->result, in->term, &first);
    const char *text = qx_say(in->doc,
                              "%s: means by %s",
                              qx_words_label(in->doc, in->result),
                              in->result->mean[first].cell.factor[0]);
    for (size_t i = 1; i < in->result->mean[first].cell.count; i++) {
        text = qx_say(in->doc, "%s and %s", text, in->result->mean[first].cell.factor[i]);
    }
    text = qx_say(in->doc, "%s%s", text, qx_term_part(in->term));
    if (in->count > 0 && in->count < all) {
        text = qx_say(in->doc,
                      "%s, %zu to %zu of %zu",
                      text,
                      in->first + 1,
                      in->first + in->count < all ? in->first + in->count : all,
                      all);
    }
    return text;
}

static const char *describe(const qx_chart_input *in)
{
    size_t first;
    if (!suits(in)) {
        return "There are no means to draw.";
    }
    const size_t count = part(in, &first);
    const char *text = qx_say(
        in->doc,
        "Dots are means, lines their %s intervals%s%s.",
        qx_said(in->doc,
                qx_per_cent(in->doc->arena, in->findings->protocol->analysis.level)),
        points_shown(in) ? ", small dots the values behind them" : "",
        in->result->mean[first].letters == NULL
            ? ""
            : "; means that share a letter have not been shown to differ");
    for (size_t i = 0; i < count; i++) {
        const qx_mean *m = &in->result->mean[first + i];
        const qx_back v = qx_mean_shown(in->result, m);
        const int decimals = qx_decimals_for(qx_result_scale(in->result) * m->se);
        text = qx_say(in->doc,
                      "%s %s: %s (%s to %s)%s%s.",
                      text,
                      qx_words_levels(in->doc, in->findings->protocol, &m->cell),
                      qx_said(in->doc, qx_rounded(in->doc->arena, v.estimate, decimals)),
                      qx_said(in->doc, qx_rounded(in->doc->arena, v.lower, decimals)),
                      qx_said(in->doc, qx_rounded(in->doc->arena, v.upper, decimals)),
                      m->letters == NULL ? "" : " ",
                      m->letters == NULL ? "" : m->letters);
    }
    return text;
}

const qx_chart_kind qx_chart_means = {.key = "means",
                                      .title = "Means with intervals",
                                      .suits = suits,
                                      .draw = draw,
                                      .describe = describe,
                                      .caption = caption};
