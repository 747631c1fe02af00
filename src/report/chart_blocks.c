/* report/chart_blocks.c - trunk areas inside blocks: of like trees (dots) and by place alone
 * (open squares), a row for each block. Short rows mean that treatments are compared between
 * trees that are alike. */
#include <math.h>
#include <stdlib.h>

#include "report/chart.h"
#include "report/field_pictures.h"
#include "report/rounding.h"

#define TOP       34.0
#define ROW_HIGH  24.0
#define ROWS_MOST 250

static bool suits(const qx_chart_input *in)
{
    return in->field != NULL && in->field->placed != NULL &&
           in->field->placed->block != NULL && in->field->placed->block_count > 0 &&
           in->field->placed->block_count <= ROWS_MOST &&
           !isnan(in->field->placed->within);
}

static void draw_row(const qx_chart_input *in,
                     qx_scene *s,
                     const qx_scale *x,
                     double y,
                     size_t block,
                     bool by_place)
{
    const qx_trees *trees = in->field->trees;
    const size_t *of =
        by_place ? in->field->placed->block_by_place : in->field->placed->block;
    const qx_ink ink = qx_ink_of_level(by_place ? 1 : 0);
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < trees->count; i++) {
        if (of[i] == block) {
            low = fmin(low, trees->tree[i].trunk_area_cm2);
            high = fmax(high, trees->tree[i].trunk_area_cm2);
        }
    }
    qx_scene_line(s,
                  qx_scale_at(x, low),
                  y,
                  qx_scale_at(x, high),
                  y,
                  (qx_pen){.stroke = ink, .width = 1.5, .dashed = by_place});
    for (size_t i = 0; i < trees->count; i++) {
        if (of[i] == block) {
            qx_scene_dot(s,
                         qx_scale_at(x, trees->tree[i].trunk_area_cm2),
                         y,
                         3.0,
                         by_place ? QX_SHAPE_SQUARE : QX_SHAPE_ROUND,
                         (qx_pen){.fill = by_place ? QX_INK_PAPER : ink,
                                  .stroke = ink,
                                  .width = 1.2});
        }
    }
}

static void draw_key(const qx_chart_input *in, qx_scene *s)
{
    const qx_trees_placed *p = in->field->placed;
    const char *names[] = {
        qx_say(in->doc, "like trees: %.0f %% inside", 100.0 * p->within),
        qx_say(in->doc, "by place: %.0f %% inside", 100.0 * p->within_by_place)};
    const double at[] = {14.0, 190.0};
    for (size_t k = 0; k < 2; k++) {
        const qx_ink ink = qx_ink_of_level(k);
        qx_scene_dot(
            s,
            at[k] - 6.0,
            12.0,
            3.0,
            k == 0 ? QX_SHAPE_ROUND : QX_SHAPE_SQUARE,
            (qx_pen){.fill = k == 0 ? ink : QX_INK_PAPER, .stroke = ink, .width = 1.2});
        qx_scene_text(s, at[k], 16.0, 168.0, names[k], qx_writing_soft);
    }
}

static void draw(const qx_chart_input *in, qx_scene *s)
{
    qx_extent extent = QX_EXTENT_EMPTY;
    qx_axis axis;
    if (!suits(in)) {
        qx_scene_nothing(s,
                         in->field != NULL && in->field->placed != NULL &&
                                 in->field->placed->block_count > ROWS_MOST
                             ? "There are too many blocks for one picture."
                             : "Without trunk areas and blocks there is nothing to "
                               "compare.");
        return;
    }
    const qx_trees_placed *p = in->field->placed;
    for (size_t i = 0; i < in->field->trees->count; i++) {
        if (p->block[i] != QX_NO_BLOCK || p->block_by_place[i] != QX_NO_BLOCK) {
            qx_extent_take(&extent, in->field->trees->tree[i].trunk_area_cm2);
        }
    }
    const double left = 62.0, right = s->width - 12.0;
    const double bottom = TOP + ROW_HIGH * (double)p->block_count;
    if (!qx_axis_make(in->doc->arena, extent, right - left, true, &axis)) {
        s->failed = true;
        return;
    }
    const qx_scale x = {axis.low, axis.high, left, right};
    s->height = bottom + 38.0;
    draw_key(in, s);
    qx_chart_across(s, &axis, &x, TOP, bottom);
    for (size_t b = 0; b < p->block_count; b++) {
        const double y = TOP + ROW_HIGH * ((double)b + 0.5);
        qx_scene_text(s,
                      4.0,
                      y + 4.0,
                      left - 8.0,
                      qx_say(in->doc, "block %zu", b + 1),
                      qx_writing_soft);
        draw_row(in, s, &x, y - 5.0, b, false);
        draw_row(in, s, &x, y + 5.0, b, true);
    }
    qx_scene_text(s,
                  (left + right) / 2.0,
                  bottom + 31.0,
                  right - left,
                  "trunk area (cm\xc2\xb2)",
                  qx_writing_tick);
}

static const char *caption(const qx_chart_input *in)
{
    (void)in;
    return "Trunk areas inside blocks";
}

static const char *describe(const qx_chart_input *in)
{
    if (!suits(in)) {
        return "There are no blocks to compare.";
    }
    const qx_trees_placed *p = in->field->placed;
    return qx_say(
        in->doc,
        "Trunk areas of the trees in %zu blocks. Blocks of like trees leave %.0f "
        "%% of the variance inside blocks, blocks by place alone %.0f %%.",
        p->block_count,
        100.0 * p->within,
        100.0 * p->within_by_place);
}

const qx_chart_kind qx_chart_blocks = {.key = "blocks",
                                       .title = "Trunk areas inside blocks",
                                       .suits = suits,
                                       .draw = draw,
                                       .describe = describe,
                                       .caption = caption};
