/* Whole reports of every fixture: what must stand in them, what must never. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>
#include <string.h>

#include "fixture.h"
#include "report/render_text.h"
#include "report/report.h"
#include "support.h"

typedef qx_status write_function(qx_ctx *cx, const qx_findings *f, qx_text *out);

static const char *written(fixture *f, write_function *write)
{
    qx_text *out = qx_text_new(f->arena);
    assert_non_null(out);
    assert_ok(f->cx, write(f->cx, &f->findings, out));
    assert_true(qx_utf8_valid(qx_text_get(out), qx_text_length(out), NULL));
    return qx_text_get(out);
}

static void hold(const char *text, const char *part)
{
    if (strstr(text, part) == NULL) {
        fail_msg("not in the report: %s", part);
    }
}

static void hold_not(const char *text, const char *part)
{
    if (strstr(text, part) != NULL) {
        fail_msg("in the report: %s", part);
    }
}

static void page_holds_all_sections(void **state)
{
    (void)state;
    fixture f;
    fixture_open(&f, FIXTURE_SPLIT);
    const char *page = written(&f, qx_report_html);
    static const char *const parts[] = {"<html lang=\"en\">",
                                        "Content-Security-Policy",
                                        "default-src 'none'",
                                        "class=\"skip\"",
                                        "<main>",
                                        "<nav ",
                                        "<footer>",
                                        "id=\"question\"",
                                        "id=\"answer\"",
                                        "id=\"results\"",
                                        "id=\"checks\"",
                                        "id=\"layout\"",
                                        "id=\"method\"",
                                        "id=\"cautions\"",
                                        "scope=\"col\"",
                                        "scope=\"row\"",
                                        "<caption",
                                        "role=\"img\"",
                                        "@page",
                                        "prefers-color-scheme:dark",
                                        "1935",
                                        "Invented: the protocol says",
                                        "a licensed adviser",
                                        "Kenward &amp; Roger",
                                        "Look at the sheet of row 7.",
                                        "Between trees within blocks",
                                        "limb 3 of tree 1 is &lt;lost&gt; &amp; gone.",
                                        QX_VERSION};
    for (size_t i = 0; i < QX_COUNT(parts); i++) {
        hold(page, parts[i]);
    }
    fixture_close(&f);
}

static void page_fetches_and_runs_nothing(void **state)
{
    (void)state;
    for (int kind = 0; kind < FIXTURE_COUNT; kind++) {
        fixture f;
        fixture_open(&f, (fixture_kind)kind);
        const char *page = written(&f, qx_report_html);
        static const char *const never[] = {"<script",
                                            "http://",
                                            "https://",
                                            "src=",
                                            "@import",
                                            "url(",
                                            " onload",
                                            "<link"};
        for (size_t i = 0; i < QX_COUNT(never); i++) {
            hold_not(page, never[i]);
        }
        fixture_close(&f);
    }
}

static void what_users_wrote_is_escaped(void **state)
{
    (void)state;
    fixture f;
    fixture_open(&f, FIXTURE_SPLIT);
    const char *page = written(&f, qx_report_html);
    hold(page, "Angle &amp; pinch &lt;in&gt; &quot;young&quot; trees");
    hold(page, "North &lt;field&gt;");
    hold_not(page, "<in>");
    hold_not(page, "<field>");
    hold_not(page, "<lost>");
    fixture_close(&f);
}

static void no_report_says_what_was_not_shown(void **state)
{
    (void)state;
    static write_function *const writers[] = {
        qx_report_html, qx_render_text, qx_report_csv};
    for (int kind = 0; kind < FIXTURE_COUNT; kind++) {
        for (size_t w = 0; w < QX_COUNT(writers); w++) {
            fixture f;
            fixture_open(&f, (fixture_kind)kind);
            const char *text = written(&f, writers[w]);
            hold_not(text, "no difference");
            hold_not(text, "ignifican");
            hold_not(text, "nan");
            fixture_close(&f);
        }
    }
}

static void text_gives_sentences_before_tables(void **state)
{
    (void)state;
    fixture f;
    fixture_open(&f, FIXTURE_SPLIT);
    const char *text = written(&f, qx_render_text);
    const char *sentence = strstr(text, "Shoot length was lower");
    const char *table = strstr(text, "means by pinch");
    assert_non_null(sentence);
    assert_non_null(table);
    assert_true(sentence < table);
    fixture_close(&f);
}

static void simple_effects_lead_when_factors_interact(void **state)
{
    (void)state;
    fixture f;
    fixture_open(&f, FIXTURE_SPLIT);
    const char *text = written(&f, qx_render_text);
    const char *simple = strstr(text, "With angle 30\xc2\xb0: Shoot length was higher");
    const char *warning =
        strstr(simple == NULL ? text : simple, "Averages of pinch that came out alike");
    assert_non_null(simple);
    assert_non_null(warning);
    assert_true(simple < warning);
    fixture_close(&f);
}

static void components_answer_without_treatments(void **state)
{
    (void)state;
    fixture f;
    fixture_open(&f, FIXTURE_PLAIN);
    const char *text = written(&f, qx_render_text);
    hold(text, "The largest part of the variation (58\xc2\xa0%)");
    hold(text, "The protocol states no question.");
    hold_not(text, "Invented");
    fixture_close(&f);
}

static void nothing_recorded_is_said(void **state)
{
    (void)state;
    fixture f;
    fixture_open(&f, FIXTURE_MISSING);
    const char *text = written(&f, qx_render_text);
    hold(text, "no value of it was recorded (6");
    hold(text, "weight has no value at all.");
    fixture_close(&f);
}

static void many_pairs_are_summed_up(void **state)
{
    (void)state;
    fixture f;
    fixture_open(&f, FIXTURE_MANY);
    const char *text = written(&f, qx_render_text);
    hold(text,
         "Of 780 pairs, 595 differ, 185 are unsettled. The strongest 6 are told here");
    hold(text, "780 pairs, too many to");
    hold(text, "abcdefghijklmnopqrstuvwxyzAB");
    hold(written(&f, qx_report_html), "The protocol gives no margin");
    fixture_close(&f);
}

static qx_status all_reports(qx_ctx *cx, void *given)
{
    const fixture *f = given;
    qx_arena *arena = qx_arena_new();
    qx_text *out = arena == NULL ? NULL : qx_text_new(arena);
    qx_status status = out == NULL ? qx_fail(cx, QX_E_NOMEM, "no memory") : QX_OK;
    status = status == QX_OK ? qx_report_html(cx, &f->findings, out) : status;
    status = status == QX_OK ? qx_render_text(cx, &f->findings, out) : status;
    status = status == QX_OK ? qx_report_csv(cx, &f->findings, out) : status;
    qx_arena_free(arena);
    return status;
}

static void every_lack_of_memory_is_told(void **state)
{
    (void)state;
    fixture f;
    fixture_open(&f, FIXTURE_MISSING);
    assert_true(fail_each_allocation(all_reports, &f) > 50);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(page_holds_all_sections),
        cmocka_unit_test(page_fetches_and_runs_nothing),
        cmocka_unit_test(what_users_wrote_is_escaped),
        cmocka_unit_test(no_report_says_what_was_not_shown),
        cmocka_unit_test(text_gives_sentences_before_tables),
        cmocka_unit_test(simple_effects_lead_when_factors_interact),
        cmocka_unit_test(components_answer_without_treatments),
        cmocka_unit_test(nothing_recorded_is_said),
        cmocka_unit_test(many_pairs_are_summed_up),
        cmocka_unit_test(every_lack_of_memory_is_told)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
