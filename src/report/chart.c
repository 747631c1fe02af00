#include "report/chart.h"

#include <math.h>

#include "report/words.h"

const qx_writing qx_writing_label = {.size = QX_TEXT_NORMAL, .ink = QX_INK_MAIN};
const qx_writing qx_writing_soft = {.size = QX_TEXT_SMALL, .ink = QX_INK_SOFT};
const qx_writing qx_writing_tick = {
    .size = QX_TEXT_SMALL, .ink = QX_INK_SOFT, .anchor = QX_FROM_MIDDLE};

static const qx_chart_kind *const kinds[] = {
#define X(key) &qx_chart_##key,
#include "report/charts.def"
#undef X
};

size_t qx_chart_count(void)
{
    return QX_COUNT(kinds);
}

const qx_chart_kind *qx_chart_at(size_t i)
{
    return kinds[i];
}

const qx_scene *qx_chart_draw(const qx_chart_kind *kind, const qx_chart_input *input)
{
    qx_scene *s = qx_scene_new(input->doc->arena, QX_SCENE_WIDTH, 200.0);
    if (s == NULL) {
        return NULL;
    }
    kind->draw(input, s);
    s->title = kind->caption(input);
    s->description = kind->describe(input);
    return s;
}

void qx_chart_across(
    qx_scene *s, const qx_axis *axis, const qx_scale *x, double top, double bottom)
{
    for (size_t i = 0; i < axis->count; i++) {
        const double at = qx_scale_at(x, axis->tick[i]);
        const double half = qx_text_width(axis->label[i], QX_TEXT_SMALL) / 2.0;
        const double middle = fmin(fmax(at, half + 1.0), s->width - half - 1.0);
        qx_scene_line(
            s, at, top, at, bottom, (qx_pen){.stroke = QX_INK_RULE, .width = 1});
        qx_scene_text(s, middle, bottom + 14.0, 120.0, axis->label[i], qx_writing_tick);
    }
    qx_scene_line(
        s, x->from, bottom, x->to, bottom, (qx_pen){.stroke = QX_INK_SOFT, .width = 1});
}

void qx_chart_upwards(
    qx_scene *s, const qx_axis *axis, const qx_scale *y, double left, double right)
{
    qx_writing how = qx_writing_tick;
    how.anchor = QX_FROM_END;
    for (size_t i = 0; i < axis->count; i++) {
        const double at = qx_scale_at(y, axis->tick[i]);
        qx_scene_line(
            s, left, at, right, at, (qx_pen){.stroke = QX_INK_RULE, .width = 1});
        qx_scene_text(s, left - 6.0, at + 4.0, left, axis->label[i], how);
    }
}

double qx_chart_left(const qx_axis *axis)
{
    double widest = 20.0;
    for (size_t i = 0; i < axis->count; i++) {
        widest = fmax(widest, qx_text_width(axis->label[i], QX_TEXT_SMALL));
    }
    return widest + 26.0;
}

const char *qx_chart_title(qx_doc *doc, const char *what, const qx_result *result)
{
    const char *unit = qx_words_scale(doc, result);
    while (*unit == ' ') {
        unit++;
    }
    if (unit[0] == '\0') {
        return what;
    }
    return unit[0] == '(' ? qx_say(doc, "%s %s", what, unit)
                          : qx_say(doc, "%s (%s)", what, unit);
}

double qx_chart_shift(size_t k)
{
    /* Multiples of the golden section spread evenly however many there are. */
    const double at = fmod((double)k * 0.6180339887498949, 1.0);
    return 2.0 * at - 1.0;
}
