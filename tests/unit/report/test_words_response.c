/* Sentences about counts, shares and grades: so many of 100, so many for each limb, never a
 * logit; an unsettled pair is never told as alike. Findings by hand. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "report/pairs.h"
#include "report/words.h"

static const char *const factor[] = {"score"};
static const char *const cut[] = {"cut"}, *const none[] = {"none"};
static const char *const grade[] = {"weak", "strong"};

static const qx_unit unit = {.name = "limb", .path = "limb"};
static const qx_protocol protocol = {.unit_count = 1,
                                     .unit = &unit,
                                     .seasons = {.column = "season"},
                                     .analysis = {.level = 0.95}};

static const qx_variate share = {.kind = QX_PROPORTION, .of = "buds", .margin = 0.1};
static const qx_variate count = {.kind = QX_COUNT, .of = "", .margin = 1.0};
static const qx_variate graded = {.kind = QX_ORDINAL, .of = "", .margin = 0.2};

static qx_mean mean(const char *const *level, double estimate, const char *class_)
{
    return (qx_mean){.term = "score",
                     .cell = {1, factor, level},
                     .estimate = estimate,
                     .se = 0.04,
                     .back = {NAN, NAN, NAN},
                     .class_ = class_};
}

static qx_difference
pair(double estimate, double lower, double upper, qx_verdict verdict, double margin)
{
    return (qx_difference){.term = "score",
                           .first = {1, factor, cut},
                           .second = {1, factor, none},
                           .estimate = estimate,
                           .se = 0.05,
                           .lower = lower,
                           .upper = upper,
                           .lower_equivalence = lower / 2.0,
                           .upper_equivalence = upper / 2.0,
                           .link_estimate = estimate,
                           .margin = margin,
                           .verdict = verdict,
                           .replicates_to_settle = NAN,
                           .replicate = "tree"};
}

static qx_result result(const qx_variate *v,
                        const char *label,
                        const qx_mean means[],
                        size_t mean_count,
                        const qx_difference differences[],
                        size_t difference_count)
{
    return (qx_result){.label = label,
                       .unit = "",
                       .definition = v,
                       .link = "logit",
                       .mean_count = mean_count,
                       .mean = means,
                       .difference_count = difference_count,
                       .difference = differences};
}

static const char *say(qx_arena *arena, const qx_result *r, const qx_difference *d)
{
    qx_doc *doc = qx_doc_new(arena);
    assert_non_null(doc);
    return qx_words_difference(doc, &protocol, r, d);
}

static void shares_are_told_of_100(void **state)
{
    (void)state;
    qx_arena *arena = qx_arena_new();
    const qx_mean m[] = {mean(none, 0.12, NULL), mean(cut, 0.82, NULL)};
    qx_difference d = pair(0.70, 0.55, 0.81, QX_HIGHER, 0.1);
    d.beyond_margin = true;
    const qx_result r = result(&share, "broken buds", m, 2, &d, 1);
    assert_string_equal(
        say(arena, &r, &d),
        "Broken buds: about 82 of 100 buds with score cut against 12 with "
        "score none, 70.0 points more (95\xc2\xa0% interval 55.0 to 81.0). "
        "That is more than the 10 points that would matter.");
    qx_arena_free(arena);
}

static void counts_are_told_for_each_thing_and_as_a_ratio(void **state)
{
    (void)state;
    qx_arena *arena = qx_arena_new();
    const qx_mean m[] = {mean(none, 5.0, NULL), mean(cut, 2.5, NULL)};
    qx_difference d = pair(-2.5, -4.0, -1.2, QX_LOWER_VERDICT, 3.0);
    d.ratio = (qx_back){0.5, 0.34, 0.74};
    const qx_result r = result(&count, "new shoots", m, 2, &d, 1);
    const char *text = say(arena, &r, &d);
    assert_non_null(strstr(text, "about 2.5 for each limb with score cut against 5.0"));
    assert_non_null(strstr(text, "2.500 fewer (95\xc2\xa0% interval 1.200 to 4.000)"));
    assert_non_null(strstr(text, "50\xc2\xa0% as many (34 to 74\xc2\xa0%)"));
    assert_non_null(strstr(text, "not whether by as much as the 3 that would matter"));
    qx_arena_free(arena);
}

static void unsettled_is_not_alike(void **state)
{
    (void)state;
    qx_arena *arena = qx_arena_new();
    const qx_mean m[] = {mean(none, 0.40, NULL), mean(cut, 0.45, NULL)};
    qx_difference d = pair(0.05, -0.10, 0.20, QX_UNSETTLED, 0.1);
    d.replicates_to_settle = 41.2;
    const qx_result r = result(&share, "broken buds", m, 2, &d, 1);
    const char *text = say(arena, &r, &d);
    assert_non_null(
        strstr(text, "does not settle whether score cut and score none differ"));
    assert_non_null(strstr(text, "About 42 trees of each would settle it"));
    assert_null(strstr(text, "alike"));
    assert_null(strstr(text, "no difference"));
    qx_arena_free(arena);
}

static void grades_are_one_sentence_with_every_class(void **state)
{
    (void)state;
    qx_arena *arena = qx_arena_new();
    const qx_mean m[] = {mean(none, 0.7, "weak"),
                         mean(none, 0.3, "strong"),
                         mean(cut, 0.2, "weak"),
                         mean(cut, 0.8, "strong")};
    qx_difference d[] = {pair(-0.5, -0.7, -0.2, QX_LOWER_VERDICT, 0.2),
                         pair(0.5, 0.2, 0.7, QX_HIGHER, 0.2)};
    d[0].class_ = "weak";
    d[1].class_ = "strong";
    d[0].link_estimate = d[1].link_estimate = 2.2;
    qx_result r = result(&graded, "vigour", m, 4, d, 2);
    r.class_count = 2;
    r.class_name = grade;
    assert_true(qx_pair_speaks(&r, &d[0]));
    assert_false(qx_pair_speaks(&r, &d[1]));
    assert_int_equal(qx_pair_verdict(&r, &d[0]), QX_HIGHER);
    assert_string_equal(qx_pair_word(&r, &d[0]), "higher");
    const char *text = say(arena, &r, &d[0]);
    assert_non_null(strstr(text, "graded higher with score cut than with score none"));
    assert_non_null(strstr(text, "strong 80 of 100 against 30, weak 20 against 70"));
    qx_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shares_are_told_of_100),
        cmocka_unit_test(counts_are_told_for_each_thing_and_as_a_ratio),
        cmocka_unit_test(unsettled_is_not_alike),
        cmocka_unit_test(grades_are_one_sentence_with_every_class),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
