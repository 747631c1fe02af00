/* report/chart_differences.c - differences with their intervals against the band inside
 * which nothing matters, the verdict in words beside each. */
#include <math.h>
#include <string.h>

#include "report/chart.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define ROW 42.0
#define TOP 8.0

static bool is_simple(const qx_chart_input *in)
{
    return in->term != NULL && in->term[0] == '@';
}

/* The differences of a term; "@factor" means its simple effects. */
static const qx_difference *list(const qx_chart_input *in, size_t *count)
{
    const qx_difference *d = NULL;
    const bool simple = is_simple(in);
    const char *term = simple ? in->term + 1 : in->term;
    *count = 0;
    if (in->result == NULL || term == NULL) {
        return NULL;
    }
    const size_t all = simple ? in->result->simple_count : in->result->difference_count;
    const qx_difference *from = simple ? in->result->simple : in->result->difference;
    for (size_t i = 0; i < all; i++) {
        if (strcmp(from[i].term, term) == 0) {
            d = d == NULL ? &from[i] : d;
            (*count)++;
        }
    }
    return d;
}

static const qx_difference *part(const qx_chart_input *in, size_t *count)
{
    const qx_difference *d = list(in, count);
    if (in->count == 0 || in->first >= *count) {
        return d;
    }
    *count = in->count < *count - in->first ? in->count : *count - in->first;
    return d + in->first;
}

/* Classes have a difference each: their pictures are the stacked shares. */
static bool suits(const qx_chart_input *in)
{
    size_t count;
    (void)list(in, &count);
    return count > 0 && in->result->class_count == 0;
}

static const char *row_label(const qx_chart_input *in, const qx_difference *d)
{
    const char *pair =
        qx_say(in->doc,
               "%s \xe2\x88\x92 %s",
               qx_words_levels(in->doc, in->findings->protocol, &d->first),
               qx_words_levels(in->doc, in->findings->protocol, &d->second));
    return d->within.count == 0
               ? pair
               : qx_say(in->doc,
                        "%s: %s",
                        qx_words_levels(in->doc, in->findings->protocol, &d->within),
                        pair);
}

static qx_extent values(const qx_chart_input *in)
{
    qx_extent e = QX_EXTENT_EMPTY;
    size_t count;
    const qx_difference *d = list(in, &count);
    const double scale = qx_result_scale(in->result);
    for (size_t i = 0; i < count; i++) {
        qx_extent_take(&e, scale * d[i].estimate);
        qx_extent_take(&e, scale * d[i].lower);
        qx_extent_take(&e, scale * d[i].upper);
        if (isfinite(d[i].estimate)) {
            qx_extent_take(&e, 0.0);
            qx_extent_take(&e, scale * d[i].margin);
            qx_extent_take(&e, -scale * d[i].margin);
        }
    }
    return e;
}

static void draw_band(qx_scene *s, const qx_scale *x, double margin, double bottom)
{
    if (isfinite(margin)) {
        const double low = qx_scale_at(x, -margin);
        const double high = qx_scale_at(x, margin);
        const qx_pen edge = {.stroke = QX_INK_SOFT, .width = 1.0, .dashed = true};
        qx_scene_bar(s, low, TOP, high, bottom, (qx_pen){.fill = QX_INK_BAND});
        qx_scene_line(s, low, TOP, low, bottom, edge);
        qx_scene_line(s, high, TOP, high, bottom, edge);
    }
}

static void draw_row(const qx_chart_input *in,
                     qx_scene *s,
                     const qx_scale *x,
                     const qx_difference *d,
                     double top)
{
    const bool shown = d->verdict == QX_HIGHER || d->verdict == QX_LOWER_VERDICT;
    const qx_ink ink = shown ? QX_INK_ACCENT : QX_INK_MAIN;
    const double y = top + 24.0;
    const char *word = qx_words_verdict(d);
    qx_writing end = qx_writing_soft;
    end.anchor = QX_FROM_END;
    end.ink = ink;
    end.bold = shown;
    const double wide = qx_text_width(word, QX_TEXT_SMALL) + 8.0;
    const double scale = qx_result_scale(in->result);
    qx_scene_text(
        s, 0.0, top + 12.0, s->width - wide - 8.0, row_label(in, d), qx_writing_label);
    qx_scene_text(s, s->width, top + 12.0, s->width, word, end);
    qx_scene_line(s,
                  qx_scale_at(x, scale * d->lower),
                  y,
                  qx_scale_at(x, scale * d->upper),
                  y,
                  (qx_pen){.stroke = ink, .width = 2.0});
    if (isfinite(d->margin)) { /* what must lie inside the band to be called equivalent */
        qx_scene_line(s,
                      qx_scale_at(x, scale * d->lower_equivalence),
                      y,
                      qx_scale_at(x, scale * d->upper_equivalence),
                      y,
                      (qx_pen){.stroke = ink, .width = 5.0});
    }
    qx_scene_dot(s,
                 qx_scale_at(x, scale * d->estimate),
                 y,
                 4.0,
                 shown ? QX_SHAPE_DIAMOND : QX_SHAPE_ROUND,
                 (qx_pen){.fill = d->verdict == QX_UNSETTLED ? QX_INK_PAPER : ink,
                          .stroke = ink,
                          .width = 1.5});
}

/* "thin: 95 % interval; thick: 90 %, for the band" */
static const char *lines_explained(const qx_chart_input *in)
{
    const double level = in->findings->protocol->analysis.level;
    qx_arena *arena = in->doc->arena;
    return qx_say(in->doc,
                  "thin: %s interval; thick: %s, for the band",
                  qx_said(in->doc, qx_per_cent(arena, level)),
                  qx_said(in->doc, qx_per_cent(arena, 2.0 * level - 1.0)));
}

static void draw(const qx_chart_input *in, qx_scene *s)
{
    size_t count;
    qx_axis axis;
    const qx_difference *d = part(in, &count);
    const qx_extent extent = values(in);
    if (count == 0 || extent.low > extent.high) {
        qx_scene_nothing(s, "There are no differences to draw.");
        return;
    }
    const double left = 10.0, right = s->width - 10.0;
    const double bottom = TOP + ROW * (double)count + 4.0;
    if (!qx_axis_make(in->doc->arena, extent, right - left, true, &axis)) {
        s->failed = true;
        return;
    }
    const qx_scale x = {axis.low, axis.high, left, right};
    const double zero = qx_scale_at(&x, 0.0);
    s->height = bottom + 38.0;
    draw_band(s, &x, qx_result_scale(in->result) * d[0].margin, bottom);
    qx_chart_across(s, &axis, &x, TOP, bottom);
    qx_scene_line(
        s, zero, TOP, zero, bottom, (qx_pen){.stroke = QX_INK_MAIN, .width = 1.0});
    for (size_t i = 0; i < count; i++) {
        draw_row(in, s, &x, &d[i], TOP + ROW * (double)i);
    }
    const char *unit = qx_words_difference_scale(in->doc, in->result);
    const char *what = qx_say(in->doc,
                              "difference%s%s%s",
                              unit[0] == '\0' ? "" : " in",
                              unit[0] == ' ' || unit[0] == '\0' ? "" : " ",
                              unit);
    if (!isnan(d[0].margin)) {
        what = qx_say(in->doc, "%s; band: too small to matter", what);
        s->height += 15.0;
        qx_scene_text(s,
                      s->width / 2.0,
                      bottom + 46.0,
                      s->width - 8.0,
                      lines_explained(in),
                      qx_writing_tick);
    }
    qx_scene_text(
        s, s->width / 2.0, bottom + 31.0, s->width - 8.0, what, qx_writing_tick);
}

static const char *caption(const qx_chart_input *in)
{
    size_t count;
    (void)list(in, &count);
    if (count == 0) {
        return "Differences";
    }
    const char *text = qx_say(in->doc,
                              "%s: differences %s %s",
                              qx_words_label(in->doc, in->result),
                              is_simple(in) ? "inside the levels, by" : "by",
                              is_simple(in) ? in->term + 1 : in->term);
    if (in->count > 0 && in->count < count) {
        const size_t last = in->first + in->count < count ? in->first + in->count : count;
        text = qx_say(in->doc, "%s, %zu to %zu of %zu", text, in->first + 1, last, count);
    }
    return text;
}

static const char *describe(const qx_chart_input *in)
{
    size_t count;
    const qx_difference *d = part(in, &count);
    if (count == 0) {
        return "There are no differences to draw.";
    }
    const qx_doc *doc = in->doc;
    const char *text = qx_say(
        in->doc,
        "Each line is a difference with its %s interval, %s.%s",
        qx_said(in->doc, qx_per_cent(doc->arena, in->findings->protocol->analysis.level)),
        qx_words_adjust(d[0].adjust),
        isnan(d[0].margin) ? ""
                           : " The band holds what is too small to matter; a difference "
                             "whose thicker, shorter interval lies inside it is shown to "
                             "be so.");
    for (size_t i = 0; i < count; i++) {
        const double scale = qx_result_scale(in->result);
        const int decimals = qx_decimals_for(scale * d[i].se);
        text = qx_say(
            in->doc,
            "%s %s: %s (%s to %s), %s.",
            text,
            row_label(in, &d[i]),
            qx_said(in->doc, qx_rounded(doc->arena, scale * d[i].estimate, decimals)),
            qx_said(in->doc, qx_rounded(doc->arena, scale * d[i].lower, decimals)),
            qx_said(in->doc, qx_rounded(doc->arena, scale * d[i].upper, decimals)),
            qx_words_verdict(&d[i]));
    }
    return text;
}

const qx_chart_kind qx_chart_differences = {.key = "differences",
                                            .title = "Differences against the margin",
                                            .suits = suits,
                                            .draw = draw,
                                            .describe = describe,
                                            .caption = caption};
