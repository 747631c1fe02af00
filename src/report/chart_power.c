/* report/chart_power.c - power over the number of replicates: to show that a difference of
 * the margin is there (line with dots), and to show that one of nothing is smaller than the
 * margin (dashes, open squares). What is wanted is a line across, what the protocol plans
 * one upwards. */
#include <math.h>

#include "findings/planning.h"
#include "report/chart.h"
#include "report/rounding.h"

#define TOP    14.0
#define HEIGHT 170.0

static bool suits(const qx_chart_input *in)
{
    return in->family != NULL && in->family->point_count > 1 &&
           !isnan(in->family->point[0].power);
}

typedef struct pane {
    qx_scale x, y;
} pane;

static void
draw_line(qx_scene *s, const pane *p, const qx_plan_family *f, bool equivalence)
{
    const qx_pen line = {.stroke = equivalence ? qx_ink_of_level(1) : qx_ink_of_level(0),
                         .width = 2.0,
                         .dashed = equivalence};
    for (size_t i = 0; i < f->point_count; i++) {
        const qx_plan_point *a = &f->point[i];
        const double power = equivalence ? a->power_equivalence : a->power;
        const double x = qx_scale_at(&p->x, a->replicates);
        const double y = qx_scale_at(&p->y, 100.0 * power);
        if (i > 0) {
            const qx_plan_point *b = &f->point[i - 1];
            const double before = equivalence ? b->power_equivalence : b->power;
            qx_scene_line(s,
                          qx_scale_at(&p->x, b->replicates),
                          qx_scale_at(&p->y, 100.0 * before),
                          x,
                          y,
                          line);
        }
        qx_scene_dot(s,
                     x,
                     y,
                     2.6,
                     equivalence ? QX_SHAPE_SQUARE : QX_SHAPE_ROUND,
                     (qx_pen){.fill = equivalence ? QX_INK_PAPER : line.stroke,
                              .stroke = line.stroke,
                              .width = 1.2});
    }
}

/* The two lines are named below the picture, each with its own stroke. */
static void draw_key(qx_scene *s, double left, double y)
{
    static const char *const names[] = {"shows a difference of the margin",
                                        "shows that it does not matter"};
    for (size_t k = 0; k < QX_COUNT(names); k++) {
        const qx_ink ink = qx_ink_of_level(k);
        const double at = y + 16.0 * (double)k;
        qx_scene_line(s,
                      left,
                      at - 4.0,
                      left + 24.0,
                      at - 4.0,
                      (qx_pen){.stroke = ink, .width = 2.0, .dashed = k == 1});
        qx_scene_dot(
            s,
            left + 12.0,
            at - 4.0,
            2.6,
            k == 0 ? QX_SHAPE_ROUND : QX_SHAPE_SQUARE,
            (qx_pen){.fill = k == 0 ? ink : QX_INK_PAPER, .stroke = ink, .width = 1.2});
        qx_scene_text(
            s, left + 31.0, at, s->width - left - 33.0, names[k], qx_writing_soft);
    }
}

static void
draw_marks(const qx_chart_input *in, qx_scene *s, const pane *p, double bottom)
{
    const double wanted = qx_scale_at(&p->y, 100.0 * in->planned->power);
    const qx_pen pen = {.stroke = QX_INK_ACCENT, .width = 1.2, .dashed = true};
    qx_scene_line(s, p->x.from, wanted, p->x.to, wanted, pen);
    qx_writing how = qx_writing_soft;
    how.anchor = QX_FROM_END;
    how.ink = QX_INK_ACCENT;
    qx_scene_text(s, p->x.to, wanted - 4.0, 80.0, "wanted", how);
    if (in->family->replicates <= p->x.high && in->family->replicates >= p->x.low) {
        const double now = qx_scale_at(&p->x, in->family->replicates);
        qx_scene_line(
            s, now, TOP, now, bottom, (qx_pen){.stroke = QX_INK_MAIN, .width = 1.0});
        how = qx_writing_soft;
        how.ink = QX_INK_MAIN;
        how.anchor = now > (p->x.from + p->x.to) / 2.0 ? QX_FROM_END : QX_FROM_START;
        qx_scene_text(s,
                      now + (how.anchor == QX_FROM_END ? -4.0 : 4.0),
                      bottom - 6.0,
                      130.0,
                      "in the protocol",
                      how);
    }
}

static void draw(const qx_chart_input *in, qx_scene *s)
{
    pane p;
    qx_axis across, up;
    qx_extent x = QX_EXTENT_EMPTY, y = QX_EXTENT_EMPTY;
    const double bottom = TOP + HEIGHT;
    if (!suits(in)) {
        qx_scene_nothing(s,
                         "Without a margin and a number of replicates to vary there is "
                         "no power to draw.");
        return;
    }
    const qx_plan_family *f = in->family;
    qx_extent_take(&x, 0.0);
    qx_extent_take(&x, f->point[f->point_count - 1].replicates);
    qx_extent_take(&y, 0.0);
    qx_extent_take(&y, 100.0);
    if (!qx_axis_make(in->doc->arena, y, HEIGHT, false, &up)) {
        s->failed = true;
        return;
    }
    const double left = qx_chart_left(&up), right = s->width - 14.0;
    if (!qx_axis_make(in->doc->arena, x, right - left, true, &across)) {
        s->failed = true;
        return;
    }
    s->height = bottom + 76.0;
    p.x = (qx_scale){across.low, across.high, left, right};
    p.y = (qx_scale){up.low, up.high, bottom, TOP};
    qx_chart_upwards(s, &up, &p.y, left, right);
    qx_chart_across(s, &across, &p.x, TOP, bottom);
    draw_marks(in, s, &p, bottom);
    draw_line(s, &p, f, false);
    draw_line(s, &p, f, true);
    qx_scene_text(s,
                  (left + right) / 2.0,
                  bottom + 31.0,
                  right - left,
                  qx_say(in->doc, "replicates: %ss with each %s", f->unit, f->term),
                  qx_writing_tick);
    qx_writing how = qx_writing_tick;
    how.upward = true;
    qx_scene_text(s, 12.0, TOP + HEIGHT / 2.0, HEIGHT, "power (%)", how);
    draw_key(s, left, bottom + 52.0);
}

static const char *caption(const qx_chart_input *in)
{
    return in->family == NULL ? "Power over replicates"
                              : qx_say(in->doc, "Power for %s", in->family->term);
}

static const char *describe(const qx_chart_input *in)
{
    if (!suits(in)) {
        return "There is no power to draw.";
    }
    const qx_plan_family *f = in->family;
    const qx_plan_point *a = &f->point[0], *b = &f->point[f->point_count - 1];
    return qx_say(in->doc,
                  "Power over the number of replicates of %s. With %s replicates a "
                  "difference of the margin is shown in %.0f of 100 such trials, with %s "
                  "in %.0f; that nothing is smaller than the margin in %.0f and %.0f.",
                  f->term,
                  qx_said(in->doc, qx_short_number(in->doc->arena, a->replicates, 3)),
                  100.0 * a->power,
                  qx_said(in->doc, qx_short_number(in->doc->arena, b->replicates, 3)),
                  100.0 * b->power,
                  100.0 * a->power_equivalence,
                  100.0 * b->power_equivalence);
}

const qx_chart_kind qx_chart_power = {.key = "power",
                                      .title = "Power over replicates",
                                      .suits = suits,
                                      .draw = draw,
                                      .describe = describe,
                                      .caption = caption};
