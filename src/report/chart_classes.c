/* report/chart_classes.c - grades and classes as stacked shares: for each level of a
 * treatment a bar of 100 per cent cut into the classes, and behind it, as a thin bar below,
 * the shares that were counted, with how many things stand behind them. Classes keep their
 * order, each has its name in the key and its number in its piece, so that nothing hangs on
 * colour. */
#include <math.h>
#include <string.h>

#include "report/chart.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define TOP          26.0
#define ROW          52.0
#define BAR          20.0
#define THIN         5.0
#define CLASSES_MOST 16

static bool suits(const qx_chart_input *in)
{
    size_t first;
    return in->result != NULL && in->term != NULL && in->result->class_count > 0 &&
           in->result->class_count <= CLASSES_MOST &&
           qx_result_means(in->result, in->term, &first) > 0;
}

/* Cells of the term, and the first of those that are drawn. */
static size_t cells(const qx_chart_input *in, size_t *first)
{
    const size_t classes = in->result->class_count;
    const size_t all = qx_result_means(in->result, in->term, first) / classes;
    if (in->count == 0 || in->first >= all) {
        return all;
    }
    *first += in->first * classes;
    return in->count < all - in->first ? in->count : all - in->first;
}

/* Things of each class in one cell, as they were counted. */
static size_t
counted(const qx_chart_input *in, const qx_mean *mean, double share[CLASSES_MOST])
{
    const qx_result *r = in->result;
    const size_t at = (size_t)(mean - r->mean);
    size_t n = 0;
    memset(share, 0, CLASSES_MOST * sizeof *share);
    for (size_t i = 0; i < r->point_count; i++) {
        if (qx_result_cell_of_row(in->findings, r, at, 1, r->point[i].row) == 0) {
            share[(size_t)r->point[i].y] += 1.0;
            n++;
        }
    }
    for (size_t c = 0; c < r->class_count && n > 0; c++) {
        share[c] /= (double)n;
    }
    return n;
}

/* Pieces of one bar from left to right; numbers where they fit. */
static void draw_bar(const qx_chart_input *in,
                     qx_scene *s,
                     const double share[],
                     double top,
                     double high,
                     bool faint)
{
    const double wide = s->width;
    double from = 0.0;
    for (size_t c = 0; c < in->result->class_count; c++) {
        const double to = from + wide * (isfinite(share[c]) ? share[c] : 0.0);
        const char *number =
            qx_said(in->doc, qx_rounded(in->doc->arena, 100.0 * share[c], 0));
        qx_scene_bar(s,
                     from,
                     top,
                     to,
                     top + high,
                     (qx_pen){.fill = qx_ink_of_level(c),
                              .stroke = QX_INK_PAPER,
                              .width = 1.0,
                              .faint = faint});
        if (!faint && to - from > qx_text_width(number, QX_TEXT_SMALL) + 6.0) {
            qx_writing how = qx_writing_tick;
            how.ink = QX_INK_MAIN; /* with the halo that all texts have */
            how.bold = true;
            qx_scene_text(
                s, (from + to) / 2.0, top + high / 2.0 + 4.0, to - from, number, how);
        }
        from = to;
    }
}

/* The classes by name, a square of their colour before each; wraps. */
static double draw_key(const qx_chart_input *in, qx_scene *s)
{
    double x = 0.0, y = 4.0;
    for (size_t c = 0; c < in->result->class_count; c++) {
        const char *name = in->result->class_name[c];
        const double wide = qx_text_width(name, QX_TEXT_SMALL) + 28.0;
        if (x > 0.0 && x + wide > s->width) {
            x = 0.0;
            y += 17.0;
        }
        qx_scene_bar(s, x, y, x + 10.0, y + 10.0, (qx_pen){.fill = qx_ink_of_level(c)});
        qx_writing how = qx_writing_soft;
        how.ink = QX_INK_MAIN;
        qx_scene_text(s, x + 15.0, y + 9.5, s->width - x - 15.0, name, how);
        x += wide;
    }
    return y + TOP - 4.0;
}

static void draw(const qx_chart_input *in, qx_scene *s)
{
    size_t first;
    if (!suits(in)) {
        qx_scene_nothing(s, "There are no shares of classes to draw.");
        return;
    }
    const size_t count = cells(in, &first), classes = in->result->class_count;
    const double top = draw_key(in, s);
    for (size_t i = 0; i < count; i++) {
        const qx_mean *m = &in->result->mean[first + i * classes];
        const double y = top + ROW * (double)i;
        double share[CLASSES_MOST];
        for (size_t c = 0; c < classes; c++) {
            share[c] = m[c].estimate;
        }
        const bool letters =
            m->letters != NULL && in->result->definition->kind == QX_ORDINAL;
        const char *name = qx_words_levels(in->doc, in->findings->protocol, &m->cell);
        draw_bar(in, s, share, y + 15.0, BAR, false);
        const size_t n = counted(in, m, share);
        draw_bar(in, s, share, y + 15.0 + BAR + 1.5, THIN, true);
        qx_writing end = qx_writing_soft;
        end.anchor = QX_FROM_END;
        qx_scene_text(s,
                      0.0,
                      y + 10.5,
                      s->width - 80.0,
                      letters ? qx_say(in->doc, "%s  %s", name, m->letters) : name,
                      qx_writing_label);
        qx_scene_text(s, s->width, y + 10.5, 76.0, qx_say(in->doc, "n = %zu", n), end);
    }
    s->height = top + ROW * (double)count + 14.0;
    qx_scene_text(s,
                  s->width / 2.0,
                  s->height - 4.0,
                  s->width - 8.0,
                  "per cent; thin bars: what was counted",
                  qx_writing_tick);
}

static const char *caption(const qx_chart_input *in)
{
    size_t first;
    if (!suits(in)) {
        return "Shares of classes";
    }
    (void)qx_result_means(in->result, in->term, &first);
    const qx_cell *cell = &in->result->mean[first].cell;
    const char *text =
        qx_say(in->doc, "%s by %s", qx_words_label(in->doc, in->result), cell->factor[0]);
    for (size_t i = 1; i < cell->count; i++) {
        text = qx_say(in->doc, "%s and %s", text, cell->factor[i]);
    }
    return text;
}

static const char *describe(const qx_chart_input *in)
{
    size_t first;
    if (!suits(in)) {
        return "There are no shares of classes to draw.";
    }
    const size_t count = cells(in, &first), classes = in->result->class_count;
    const char *text =
        "Each bar is 100 per cent, cut into the shares of the classes; the "
        "thin bar below it shows what was counted.";
    for (size_t i = 0; i < count; i++) {
        const qx_mean *m = &in->result->mean[first + i * classes];
        text = qx_say(in->doc,
                      "%s %s:",
                      text,
                      qx_words_levels(in->doc, in->findings->protocol, &m->cell));
        for (size_t c = 0; c < classes; c++) {
            text = qx_say(
                in->doc,
                "%s %s %s%s",
                text,
                in->result->class_name[c],
                qx_said(in->doc, qx_rounded(in->doc->arena, 100.0 * m[c].estimate, 0)),
                c + 1 < classes ? "," : " per cent.");
        }
    }
    return text;
}

const qx_chart_kind qx_chart_classes = {.key = "classes",
                                        .title = "Shares of classes",
                                        .suits = suits,
                                        .draw = draw,
                                        .describe = describe,
                                        .caption = caption};
