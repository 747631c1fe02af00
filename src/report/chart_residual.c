/* report/chart_residual.c - what the model left: residuals against fitted values, and
 * against what a normal distribution would give (plotting positions of Blom 1958,
 * Statistical Estimates and Transformed Beta-Variables: (i - 3/8) / (n + 1/4)). */
#include <math.h>
#include <string.h>

#include "numeric/dist.h"
#include "report/chart.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define TOP         12.0
#define HEIGHT      200.0
#define POINTS_MOST 3000

static bool suits(const qx_chart_input *in)
{
    return in->result != NULL && in->result->point_count > 2 &&
           in->result->point_count <= POINTS_MOST && in->result->class_count == 0;
}

static const char *nothing(const qx_chart_input *in)
{
    return in->result != NULL && in->result->point_count > POINTS_MOST
               ? "Too many residuals to draw one by one."
               : "There are no residuals to draw.";
}

/* Axes for two extents; draws grid and labels. False: no memory. */
static bool frame(const qx_chart_input *in,
                  qx_scene *s,
                  const qx_extent extent[2],
                  const char *const what[2],
                  qx_scale scale[2])
{
    qx_axis across, up;
    const double right = s->width - 12.0, bottom = TOP + HEIGHT;
    if (!qx_axis_make(in->doc->arena, extent[1], HEIGHT, false, &up) ||
        !qx_axis_make(
            in->doc->arena, extent[0], right - qx_chart_left(&up), true, &across)) {
        s->failed = true;
        return false;
    }
    const double left = qx_chart_left(&up);
    s->height = bottom + 38.0;
    scale[0] = (qx_scale){across.low, across.high, left, right};
    scale[1] = (qx_scale){up.low, up.high, bottom, TOP};
    qx_chart_upwards(s, &up, &scale[1], left, right);
    qx_chart_across(s, &across, &scale[0], TOP, bottom);
    qx_writing how = qx_writing_tick;
    qx_scene_text(
        s, (left + right) / 2.0, bottom + 31.0, right - left, what[0], qx_writing_tick);
    how.upward = true;
    qx_scene_text(s, 12.0, TOP + HEIGHT / 2.0, HEIGHT, what[1], how);
    return true;
}

static void put(qx_scene *s, const qx_scale scale[2], double x, double y)
{
    qx_scene_dot(s,
                 qx_scale_at(&scale[0], x),
                 qx_scale_at(&scale[1], y),
                 2.6,
                 QX_SHAPE_ROUND,
                 (qx_pen){.fill = QX_INK_DATA, .stroke = QX_INK_PAPER, .width = 0.5});
}

/* Counts and shares have residuals on the scale of a standard normal. */
static const char *residual_title(const qx_chart_input *in)
{
    return qx_result_counted(in->result)
               ? "residual (quantile)"
               : qx_chart_title(in->doc, "residual", in->result);
}

static void draw_residual(const qx_chart_input *in, qx_scene *s)
{
    qx_extent extent[2] = {QX_EXTENT_EMPTY, QX_EXTENT_EMPTY};
    qx_scale scale[2];
    if (!suits(in)) {
        qx_scene_nothing(s, nothing(in));
        return;
    }
    const qx_result *r = in->result;
    qx_extent_take(&extent[1], 0.0);
    for (size_t i = 0; i < r->point_count; i++) {
        qx_extent_take(&extent[0], qx_result_scale(r) * r->point[i].fitted);
        qx_extent_take(&extent[1], r->point[i].residual);
    }
    const char *const what[2] = {qx_chart_title(in->doc, "fitted value", r),
                                 residual_title(in)};
    if (!frame(in, s, extent, what, scale)) {
        return;
    }
    const double zero = qx_scale_at(&scale[1], 0.0);
    qx_scene_line(s,
                  scale[0].from,
                  zero,
                  scale[0].to,
                  zero,
                  (qx_pen){.stroke = QX_INK_MAIN, .width = 1.0});
    for (size_t i = 0; i < r->point_count; i++) {
        put(s, scale, qx_result_scale(r) * r->point[i].fitted, r->point[i].residual);
    }
}

/* Shell sort: small, in place, steps of Ciura 2001. */
static void sort(size_t n, double x[])
{
    static const size_t gaps[] = {701, 301, 132, 57, 23, 10, 4, 1};
    for (size_t g = 0; g < QX_COUNT(gaps); g++) {
        for (size_t i = gaps[g]; i < n; i++) {
            const double value = x[i];
            size_t j = i;
            for (; j >= gaps[g] && x[j - gaps[g]] > value; j -= gaps[g]) {
                x[j] = x[j - gaps[g]];
            }
            x[j] = value;
        }
    }
}

static double *sorted_residuals(const qx_chart_input *in, size_t *n)
{
    const qx_result *r = in->result;
    double *x = qx_arena_alloc(in->doc->arena, r->point_count, sizeof *x);
    *n = 0;
    for (size_t i = 0; x != NULL && i < r->point_count; i++) {
        if (isfinite(r->point[i].residual)) {
            x[(*n)++] = r->point[i].residual;
        }
    }
    if (x != NULL) {
        sort(*n, x);
    }
    return x;
}

static double blom(size_t i, size_t n)
{
    return qx_normal_q(((double)i + 1.0 - 0.375) / ((double)n + 0.25), QX_LOWER);
}

/* Line through the quartiles: what lies off it is what a normal would not give. */
static void
quartile_line(qx_scene *s, const qx_scale scale[2], size_t n, const double x[])
{
    const size_t a = n / 4, b = n - 1 - n / 4;
    if (b <= a) {
        return;
    }
    const double slope = (x[b] - x[a]) / (blom(b, n) - blom(a, n));
    const double start = x[a] - slope * blom(a, n);
    double from = scale[0].low, to = scale[0].high;
    if (slope > 0.0) { /* only where it stays inside the frame */
        from = fmax(from, (scale[1].low - start) / slope);
        to = fmin(to, (scale[1].high - start) / slope);
    }
    qx_scene_line(s,
                  qx_scale_at(&scale[0], from),
                  qx_scale_at(&scale[1], start + slope * from),
                  qx_scale_at(&scale[0], to),
                  qx_scale_at(&scale[1], start + slope * to),
                  (qx_pen){.stroke = QX_INK_MAIN, .width = 1.0});
}

static void draw_quantile(const qx_chart_input *in, qx_scene *s)
{
    qx_extent extent[2] = {QX_EXTENT_EMPTY, QX_EXTENT_EMPTY};
    qx_scale scale[2];
    size_t n = 0;
    double *x = suits(in) ? sorted_residuals(in, &n) : NULL;
    if (n < 3) {
        qx_scene_nothing(s, nothing(in));
        return;
    }
    qx_extent_take(&extent[0], blom(0, n));
    qx_extent_take(&extent[0], blom(n - 1, n));
    qx_extent_take(&extent[1], x[0]);
    qx_extent_take(&extent[1], x[n - 1]);
    const char *const what[2] = {"expected of a normal distribution", residual_title(in)};
    if (!frame(in, s, extent, what, scale)) {
        return;
    }
    quartile_line(s, scale, n, x);
    for (size_t i = 0; i < n; i++) {
        put(s, scale, blom(i, n), x[i]);
    }
}

static const char *describe_residual(const qx_chart_input *in)
{
    if (!suits(in)) {
        return nothing(in);
    }
    qx_extent e = QX_EXTENT_EMPTY;
    for (size_t i = 0; i < in->result->point_count; i++) {
        qx_extent_take(&e, in->result->point[i].residual);
    }
    const int decimals = qx_decimals_for(e.high - e.low);
    return qx_say(in->doc,
                  "One dot for each of %zu observations: its residual against its fitted "
                  "value. Residuals lie between %s and %s. An even band around 0 is what "
                  "the analysis assumes; a fan means that the spread grows.",
                  in->result->point_count,
                  qx_said(in->doc, qx_rounded(in->doc->arena, e.low, decimals)),
                  qx_said(in->doc, qx_rounded(in->doc->arena, e.high, decimals)));
}

static const char *describe_quantile(const qx_chart_input *in)
{
    return suits(in)
               ? qx_say(in->doc,
                        "The %zu residuals in order of size against what a normal "
                        "distribution would give. Near the line is what the analysis "
                        "assumes; bends at the ends are long or short tails.",
                        in->result->point_count)
               : nothing(in);
}

static const char *caption_residual(const qx_chart_input *in)
{
    return in->result == NULL ? "Residuals"
                              : qx_say(in->doc,
                                       "%s: residuals against fitted values",
                                       qx_words_label(in->doc, in->result));
}

static const char *caption_quantile(const qx_chart_input *in)
{
    return in->result == NULL ? "Residuals, normal quantiles"
                              : qx_say(in->doc,
                                       "%s: residuals against normal quantiles",
                                       qx_words_label(in->doc, in->result));
}

const qx_chart_kind qx_chart_residual = {.key = "residual",
                                         .title = "Residuals against fitted values",
                                         .suits = suits,
                                         .draw = draw_residual,
                                         .describe = describe_residual,
                                         .caption = caption_residual};

const qx_chart_kind qx_chart_quantile = {.key = "quantile",
                                         .title = "Residuals against normal quantiles",
                                         .suits = suits,
                                         .draw = draw_quantile,
                                         .describe = describe_quantile,
                                         .caption = caption_quantile};
