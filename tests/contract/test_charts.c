/* Every chart of report/charts.def: nothing outside the frame, a stated nothing where there
 * is nothing to draw, a text alternative, colour never alone. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "fixture.h"
#include "report/chart.h"
#include "report/svg.h"

#define SLACK 0.5 /* half a stroke */

static void inside(const qx_chart_kind *kind, const qx_scene *s, double x, double y)
{
    if (!(x >= -SLACK && x <= s->width + SLACK && y >= -SLACK &&
          y <= s->height + SLACK)) {
        fail_msg(
            "%s: mark at %g, %g outside %g x %g", kind->key, x, y, s->width, s->height);
    }
}

static void text_inside(const qx_chart_kind *kind, const qx_scene *s, const qx_mark *m)
{
    const double wide = qx_text_width(m->text, m->size);
    const double share = m->anchor == QX_FROM_START ? 0.0
                         : m->anchor == QX_FROM_END ? 1.0
                                                    : 0.5;
    if (m->upward) {
        inside(kind, s, m->x, m->y + share * wide);
        inside(kind, s, m->x - m->size, m->y - (1.0 - share) * wide);
        return;
    }
    inside(kind, s, m->x - share * wide, m->y);
    inside(kind, s, m->x + (1.0 - share) * wide, m->y - 0.7 * m->size);
}

static void hold_frame(const qx_chart_kind *kind, const qx_scene *s)
{
    assert_true(s->width > 0 && s->height > 0 && isfinite(s->height));
    for (size_t i = 0; i < s->mark.count; i++) {
        const qx_mark *m = qx_array_at(&s->mark, i);
        switch (m->kind) {
        case QX_MARK_TEXT:
            text_inside(kind, s, m);
            break;
        case QX_MARK_PATH:
            for (size_t k = 0; k < m->count; k++) {
                inside(kind, s, m->at[2 * k], m->at[2 * k + 1]);
            }
            break;
        case QX_MARK_DOT:
            inside(kind, s, m->x - m->x2, m->y - m->x2);
            inside(kind, s, m->x + m->x2, m->y + m->x2);
            break;
        case QX_MARK_LINE:
        case QX_MARK_BAR:
            inside(kind, s, m->x, m->y);
            inside(kind, s, m->x2, m->y2);
            break;
        }
    }
}

/* Some text stands on every scene, and title and description say what it is. */
static void hold_words(const qx_scene *s)
{
    size_t texts = 0;
    for (size_t i = 0; i < s->mark.count; i++) {
        const qx_mark *m = qx_array_at(&s->mark, i);
        texts += m->kind == QX_MARK_TEXT ? 1 : 0;
    }
    assert_true(texts > 0);
    assert_true(strlen(s->title) > 3);
    assert_true(strlen(s->description) > 10);
}

static void hold_chart(fixture *f, const qx_chart_kind *kind, const char *term)
{
    qx_doc *doc = qx_doc_new(f->arena);
    assert_non_null(doc);
    const bool of_layout = strcmp(kind->key, "layout") == 0;
    const qx_chart_input in = {.doc = doc,
                               .findings = &f->findings,
                               .result = of_layout ? NULL : f->findings.result,
                               .term = term};
    const qx_scene *s = qx_chart_draw(kind, &in);
    assert_non_null(s);
    assert_false(s->failed);
    hold_frame(kind, s);
    hold_words(s);
    qx_text *svg = qx_text_new(f->arena);
    qx_svg_write(svg, s, "x", true);
    assert_non_null(strstr(qx_text_get(svg), "<title"));
    assert_non_null(strstr(qx_text_get(svg), "<desc"));
    assert_null(strstr(qx_text_get(svg), "nan"));
    assert_null(strstr(qx_text_get(svg), "inf"));
}

static void every_chart_of_every_fixture(void **state)
{
    (void)state;
    static const char *const terms[] = {
        NULL, "pinch", "angle", "pinch:angle", "@pinch", "kind", "not there"};
    for (int kind = 0; kind < FIXTURE_COUNT; kind++) {
        fixture f;
        fixture_open(&f, (fixture_kind)kind);
        for (size_t i = 0; i < qx_chart_count(); i++) {
            for (size_t t = 0; t < QX_COUNT(terms); t++) {
                hold_chart(&f, qx_chart_at(i), terms[t]);
            }
        }
        fixture_close(&f);
    }
}

/* Charts say that there is nothing, and why, where the input is empty. */
static void empty_input_gives_a_stated_nothing(void **state)
{
    (void)state;
    fixture f;
    fixture_open(&f, FIXTURE_MISSING);
    qx_doc *doc = qx_doc_new(f.arena);
    for (size_t i = 0; i < qx_chart_count(); i++) {
        const qx_chart_input in = {.doc = doc,
                                   .findings = &f.findings,
                                   .result = f.findings.result,
                                   .term = "spray"};
        assert_false(qx_chart_at(i)->suits(&in));
        const qx_scene *s = qx_chart_draw(qx_chart_at(i), &in);
        assert_non_null(s);
        assert_true(s->mark.count >= 2); /* a sentence in a line or two, and a frame */
        assert_non_null(strchr(((qx_mark *)qx_array_at(&s->mark, 0))->text, ' '));
        for (size_t k = 0; k < s->mark.count; k++) {
            const qx_mark *mark = qx_array_at(&s->mark, k);
            assert_int_equal(mark->kind,
                             k + 1 == s->mark.count ? QX_MARK_BAR : QX_MARK_TEXT);
            assert_null(mark->text == NULL ? NULL : strstr(mark->text, "\xe2\x80\xa6"));
        }
    }
    fixture_close(&f);
}

/* Estimates that are not numbers, endless intervals, largest doubles. */
static void wild_numbers_stay_in_the_frame(void **state)
{
    (void)state;
    static const double wild[] = {NAN, INFINITY, -INFINITY, 1e308, -1e308, 1e-300, 0};
    fixture f;
    fixture_open(&f, FIXTURE_SPLIT);
    qx_result r = f.findings.result[0];
    qx_mean means[11];
    qx_difference differences[4];
    qx_point points[24];
    for (size_t w = 0; w < QX_COUNT(wild); w++) {
        memcpy(means, r.mean, sizeof means);
        memcpy(differences, r.difference, sizeof differences);
        memcpy(points, r.point, sizeof points);
        means[2].estimate = wild[w];
        means[3].upper = wild[w];
        differences[1].estimate = wild[w];
        differences[2].lower = wild[w];
        points[3].y = wild[w];
        points[4].residual = wild[w];
        qx_result other = r;
        other.mean = means;
        other.difference = differences;
        other.point = points;
        f.findings.result = &other;
        for (size_t i = 0; i < qx_chart_count(); i++) {
            hold_chart(&f, qx_chart_at(i), "angle");
        }
    }
    fixture_close(&f);
}

static void keys_are_in_order_and_unique(void **state)
{
    (void)state;
    assert_true(qx_chart_count() >= 5);
    for (size_t i = 1; i < qx_chart_count(); i++) {
        assert_true(strcmp(qx_chart_at(i - 1)->key, qx_chart_at(i)->key) < 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_chart_of_every_fixture),
        cmocka_unit_test(empty_input_gives_a_stated_nothing),
        cmocka_unit_test(wild_numbers_stay_in_the_frame),
        cmocka_unit_test(keys_are_in_order_and_unique)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
