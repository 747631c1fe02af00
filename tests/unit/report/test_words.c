/* Sentences: every verdict has its own, none says what was not shown. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "fixture.h"
#include "report/words.h"

typedef struct words {
    fixture f;
    qx_doc *doc;
} words;

static int setup(void **state)
{
    static words w;
    fixture_open(&w.f, FIXTURE_SPLIT);
    w.doc = qx_doc_new(w.f.arena);
    *state = &w;
    return 0;
}

static int teardown(void **state)
{
    words *w = *state;
    fixture_close(&w->f);
    return 0;
}

static const char *sentence(words *w, const qx_difference *d)
{
    return qx_words_difference(w->doc, w->f.protocol, &w->f.findings.result[0], d);
}

static void each_verdict_has_its_sentence(void **state)
{
    words *w = *state;
    const qx_result *r = &w->f.findings.result[0];
    assert_string_equal(
        sentence(w, &r->difference[2]),
        "Shoot length was lower with angle 90\xc2\xb0 than with angle "
        "30\xc2\xb0: by 23.7 "
        "cm (95\xc2\xa0% interval 19.5 to 27.9 cm). That is more than the 8 cm "
        "that would matter.");
    assert_string_equal(
        sentence(w, &r->difference[3]),
        "Shoot length was lower with angle 90\xc2\xb0 than with angle "
        "60\xc2\xb0: by 4.8 cm "
        "(95\xc2\xa0% interval 0.6 to 9.0 cm). The difference is real, but "
        "smaller than the 8 cm "
        "that would matter.");
    assert_string_equal(
        sentence(w, &r->difference[0]),
        "Shoot length was alike with pinch early and with pinch none, as far as it "
        "matters: "
        "a difference as large as 8 cm is ruled out. The estimate is \xe2\x88\x92"
        "1.5 cm (90\xc2\xa0% "
        "interval \xe2\x88\x92"
        "4.6 to 1.6 cm).");
    assert_string_equal(
        sentence(w, &r->difference[1]),
        "Shoot length: this trial does not settle whether angle 60\xc2\xb0 and angle "
        "30\xc2\xb0 differ. The estimate of the difference is \xe2\x88\x92"
        "5.9 cm, and "
        "anything from \xe2\x88\x92"
        "10.1 to \xe2\x88\x92"
        "1.7 cm agrees with the data "
        "(95\xc2\xa0% interval). A difference of 8 cm would matter. About 12 limbs of "
        "each "
        "would "
        "settle it (with 80\xc2\xa0% power).");
    assert_non_null(strstr(sentence(w, &r->simple[0]), "With angle 30\xc2\xb0: Shoot"));
    assert_non_null(strstr(sentence(w, &r->simple[0]), "higher"));
    assert_non_null(strstr(sentence(w, &r->simple[1]), "differ cannot be told: "));
}

/* One tree each: what was seen is told, and that it may be chance; no interval is made up. */
static void without_a_replicate_no_interval(void **state)
{
    words *w = *state;
    qx_difference d = w->f.findings.result[0].difference[2];
    d.verdict = QX_CANNOT_TELL;
    d.se = d.lower = d.upper = d.p = d.p_adjusted = NAN;
    d.why_not = "no limb is a replicate of another";
    d.mend = "one more would do";
    assert_string_equal(
        sentence(w, &d),
        "Shoot length was 23.7 cm lower with angle 90\xc2\xb0 than with angle "
        "30\xc2\xb0 in these data, but whether that is more than chance "
        "cannot be told: no limb is a replicate of another. One more would do.");
    assert_string_equal(qx_words_verdict(&d), "cannot be told");
}

static void ratios_read_as_people_say_them(void **state)
{
    words *w = *state;
    const qx_back alike = {1.02, 0.81, 1.3}, more = {2.42, 1.4, 4.3},
                  less = {0.46, 0.27, 0.8};
    assert_string_equal(qx_words_times(w->doc, "many", alike, ""),
                        "about as many (0.81 to 1.3 times)");
    assert_string_equal(qx_words_times(w->doc, "many", more, ""),
                        "2.4 times as many (1.4 to 4.3 times)");
    assert_string_equal(qx_words_times(w->doc, "much", less, "95\xc2\xa0% interval "),
                        "46\xc2\xa0% as much (95\xc2\xa0% interval 27 to 80\xc2\xa0%)");
    assert_string_equal(qx_words_times(w->doc, "many", (qx_back){1.0, NAN, NAN}, ""),
                        "about as many");
}

static void no_margin_no_talk_of_it(void **state)
{
    words *w = *state;
    qx_difference d = w->f.findings.result[0].difference[2];
    d.margin = NAN;
    d.beyond_margin = false;
    assert_null(strstr(sentence(w, &d), "matter"));
    d.verdict = QX_UNSETTLED;
    assert_null(strstr(sentence(w, &d), "matter"));
    assert_null(strstr(sentence(w, &d), "replicates"));
}

static void no_sentence_says_what_was_not_shown(void **state)
{
    words *w = *state;
    qx_difference d = w->f.findings.result[0].difference[1];
    for (int verdict = QX_HIGHER; verdict <= QX_UNSETTLED; verdict++) {
        d.verdict = (qx_verdict)verdict;
        const char *text = sentence(w, &d);
        assert_null(strstr(text, "no difference"));
        assert_null(strstr(text, "ignifican"));
        assert_null(strstr(text, "no effect"));
    }
}

static void names_are_put_into_words(void **state)
{
    words *w = *state;
    assert_string_equal(qx_words_path(w->doc, "block:tree:limb"),
                        "limbs within trees within blocks");
    assert_string_equal(qx_words_path(w->doc, "residual"), "what is left");
    assert_string_equal(qx_words_plural(w->doc, "branch"), "branches");
    assert_string_equal(qx_words_plural(w->doc, "berry"), "berries");
    assert_string_equal(qx_words_plural(w->doc, "bay"), "bays");
    assert_string_equal(qx_words_unit(w->doc, "cm2"), " cm\xc2\xb2");
    assert_string_equal(qx_words_unit(w->doc, ""), "");
    qx_result r = w->f.findings.result[0];
    r.label = "pH of juice";
    assert_string_equal(qx_words_label(w->doc, &r), "pH of juice");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_verdict_has_its_sentence),
        cmocka_unit_test(without_a_replicate_no_interval),
        cmocka_unit_test(ratios_read_as_people_say_them),
        cmocka_unit_test(no_margin_no_talk_of_it),
        cmocka_unit_test(no_sentence_says_what_was_not_shown),
        cmocka_unit_test(names_are_put_into_words)};
    return cmocka_run_group_tests(tests, setup, teardown);
}
