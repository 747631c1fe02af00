#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "report/render_json.h"
#include "support.h"

/* ---- a strict reader of RFC 8259, which only says whether a text is one document -------- */

static const char *value_end(const char *at, int depth);

static const char *skip_space(const char *at)
{
    while (at != NULL && (*at == ' ' || *at == '\n' || *at == '\t' || *at == '\r')) {
        at++;
    }
    return at;
}

static const char *string_end(const char *at)
{
    if (at == NULL || *at != '"') {
        return NULL;
    }
    for (at++; *at != '"'; at++) {
        if ((unsigned char)*at < 0x20) {
            return NULL;
        }
        if (*at == '\\') {
            at++;
            if (strchr("\"\\/bfnrtu", *at) == NULL || *at == '\0') {
                return NULL;
            }
        }
    }
    return at + 1;
}

static const char *digits_end(const char *at)
{
    if (!isdigit((unsigned char)*at)) {
        return NULL;
    }
    while (isdigit((unsigned char)*at)) {
        at++;
    }
    return at;
}

static const char *number_end(const char *at)
{
    at += *at == '-' ? 1 : 0;
    at = *at == '0' ? at + 1 : digits_end(at);
    if (at != NULL && *at == '.') {
        at = digits_end(at + 1);
    }
    if (at != NULL && (*at == 'e' || *at == 'E')) {
        at += at[1] == '-' || at[1] == '+' ? 2 : 1;
        at = digits_end(at);
    }
    return at;
}

static const char *container_end(const char *at, int depth)
{
    const bool object = *at == '{';
    const char close = object ? '}' : ']';
    at = skip_space(at + 1);
    if (*at == close) {
        return at + 1;
    }
    for (;;) {
        if (object) {
            at = skip_space(string_end(at));
            if (at == NULL || *at != ':') {
                return NULL;
            }
            at = skip_space(at + 1);
        }
        at = skip_space(value_end(at, depth + 1));
        if (at == NULL || (*at != ',' && *at != close)) {
            return NULL;
        }
        if (*at == close) {
            return at + 1;
        }
        at = skip_space(at + 1);
    }
}

static const char *value_end(const char *at, int depth)
{
    static const char *const words[] = {"true", "false", "null"};
    if (depth > 20) {
        return NULL;
    }
    for (size_t i = 0; i < QX_COUNT(words); i++) {
        if (strncmp(at, words[i], strlen(words[i])) == 0) {
            return at + strlen(words[i]);
        }
    }
    if (*at == '{' || *at == '[') {
        return container_end(at, depth);
    }
    return *at == '"' ? string_end(at) : number_end(at);
}

static bool is_one_document(const char *text)
{
    const char *end = skip_space(value_end(skip_space(text), 0));
    return end != NULL && *end == '\0';
}

/* The text of the object that follows `"key": ` the first time after `from`. */
static const char *after_key(const char *from, const char *key)
{
    char quoted[80];
    (void)snprintf(quoted, sizeof quoted, "\"%s\": ", key);
    const char *found = strstr(from, quoted);
    if (found == NULL) {
        fail_msg("no key %s", key);
        return "";
    }
    return found + strlen(quoted);
}

#define KEYS_MOST 30

/* The keys of one object of the contract, the first such after `part`. */
typedef struct object {
    const char *part; /* NULL: the document */
    const char *key[KEYS_MOST];
} object;

static void hold_keys(const char *json, const object *o)
{
    const char *from = o->part == NULL ? json : after_key(json, o->part);
    const char *end = value_end(from, 0);
    assert_non_null(end);
    for (size_t i = 0; i < KEYS_MOST && o->key[i] != NULL; i++) {
        if (after_key(from, o->key[i]) > end) {
            fail_msg("key %s is not in its object", o->key[i]);
        }
    }
}

/* ---- findings by hand ----------------------------------------------------------------- */

static const char *const factor[] = {"pinch", "angle"};
static const char *const early_60[] = {"early", "60"};
static const char *const angle[] = {"angle"};
static const char *const level_60[] = {"60"};
static const char *const level_30[] = {"30"};
static const char *const pinch[] = {"pinch"};
static const char *const early[] = {"early"};
static const char *const fixed[] = {"pinch", "angle", "pinch:angle"};
static const char *const random_part[] = {"block", "block:tree"};
static const char *const notes[] = {"limb has no column: told by \"tree\" and angle"};

static const qx_variance_line variance[] = {
    {"block", 2.5, 1.58, 0.1, INFINITY, 3.2, 0.03, false, false, 2.5},
    {"residual", 1.0, 1.0, 0.5, 2.0, NAN, NAN, false, false, 1.0}};
static const qx_coefficient coefficient[] = {
    {"pinch=early:angle=60", 0.1, 0.2, 10.5, 0.5, 0.62}};
static const qx_test_line test[] = {
    {"angle",
     "block:tree:limb",
     2,
     10,
     "F",
     4.5,
     0.04,
     "Kenward-Roger",
     9,
     4.5,
     NAN,
     NULL},
    {"residual", "block", 5, NAN, NULL, NAN, NAN, NULL, 20, 4, NAN, NULL}};
static const qx_mean mean[] = {{"pinch:angle",
                                {2, factor, early_60},
                                10.25,
                                0.5,
                                INFINITY,
                                9,
                                11.5,
                                "ab",
                                12,
                                10.25,
                                0.5,
                                {NAN, NAN, NAN},
                                "high",
                                true,
                                {10.0, 0.5, 9, 11}},
                               {"angle",
                                {1, angle, level_60},
                                3.2,
                                0.5,
                                10,
                                2,
                                4.4,
                                NULL,
                                12,
                                3.2,
                                0.5,
                                {10.24, 4, 19.36},
                                NULL,
                                false,
                                {NAN, NAN, NAN, NAN}}};
static const qx_difference difference = {.term = "angle",
                                         .first = {1, angle, level_60},
                                         .second = {1, angle, level_30},
                                         .estimate = -1.5,
                                         .se = 0.5,
                                         .df = 10,
                                         .value = -3.0,
                                         .p = 0.013,
                                         .p_adjusted = 0.02,
                                         .adjust = "tukey",
                                         .lower = -2.8,
                                         .upper = -0.2,
                                         .link_estimate = -1.5,
                                         .link_se = 0.5,
                                         .margin = 2.0,
                                         .p_lower = 0.17,
                                         .p_upper = 0.00002,
                                         .p_equivalence = 0.17,
                                         .lower_equivalence = -2.4,
                                         .upper_equivalence = -0.6,
                                         .verdict = QX_LOWER_VERDICT,
                                         .replicates_to_settle = NAN,
                                         .ratio = {NAN, NAN, NAN},
                                         .df_small_sample = NAN,
                                         .p_small_sample = NAN,
                                         .p_adjusted_small_sample = NAN};
static const qx_contrast_line contrast[] = {{.name = "angle_trend",
                                             .of = "angle",
                                             .estimate = 1.25,
                                             .se = 0.5,
                                             .df = 10,
                                             .value = 2.5,
                                             .p = 0.03,
                                             .p_adjusted = 0.03,
                                             .lower = 0.136,
                                             .upper = 2.364,
                                             .margin = NAN,
                                             .verdict = QX_HIGHER}};
static const qx_check_line check[] = {
    {"shapiro-wilk", 0.97, 0.4, NAN, NAN, NAN, NAN, 0, NULL, NULL, NULL},
    {"box-cox", 0.5, NAN, NAN, NAN, 0.1, 0.9, 0, "try it", NULL, NULL},
    {"outlier", 3.4, 0.05, NAN, 60, NAN, NAN, 17, NULL, NULL, NULL}};
static const qx_residual_line residual[] = {{17, 3.4, 3.1, 0.2, 0.08}};

static qx_result result_by_hand(qx_difference *simple)
{
    *simple = difference;
    simple->within = (qx_cell){1, pinch, early};
    return (qx_result){.variate = "length",
                       .kind = "continuous",
                       .family = "normal",
                       .link = "identity",
                       .used = 70,
                       .missing = 2,
                       .fixed_count = 3,
                       .fixed = fixed,
                       .random_count = 2,
                       .random = random_part,
                       .method = "REML",
                       .log_likelihood = -123.45678901234567,
                       .reml_criterion = 246.91357802469134,
                       .deviance = NAN,
                       .pearson_chisq = NAN,
                       .residual_df = 60,
                       .cv_percent = 12.5,
                       .converged = true,
                       .iterations = 7,
                       .variance_count = 2,
                       .variance = variance,
                       .dispersion = NAN,
                       .coefficient_count = 1,
                       .coefficient = coefficient,
                       .test_count = 2,
                       .test = test,
                       .mean_count = 2,
                       .mean = mean,
                       .difference_count = 1,
                       .difference = &difference,
                       .simple_count = 1,
                       .simple = simple,
                       .contrast_count = 1,
                       .contrast = contrast,
                       .check_count = 3,
                       .check = check,
                       .residual_count = 1,
                       .residual = residual,
                       .note_count = 1,
                       .note = notes};
}

static const char *render(qx_ctx *cx, const qx_findings *findings)
{
    qx_text *text = qx_text_new(qx_ctx_scratch(cx));
    assert_non_null(text);
    assert_ok(cx, qx_render_json(cx, findings, text));
    return qx_text_get(text);
}

/* Contract, section 3: every key, in the object where it belongs. */
static const object contract[] = {
    {NULL, {"quincunx", "title", "results"}},
    {"results",
     {"variate",
      "kind",
      "family",
      "link",
      "observations",
      "model",
      "fit",
      "variance",
      "dispersion",
      "coefficients",
      "tests",
      "means",
      "differences",
      "simple_effects",
      "contrasts",
      "checks",
      "residuals",
      "notes"}},
    {"observations", {"used", "missing"}},
    {"model", {"fixed", "random", "method"}},
    {"fit",
     {"log_likelihood",
      "reml_criterion",
      "deviance",
      "pearson_chisq",
      "residual_df",
      "cv_percent",
      "converged",
      "iterations"}},
    {"variance",
     {"term", "variance", "sd", "lower", "upper", "lrt", "p", "unconstrained"}},
    {"coefficients", {"term", "estimate", "se", "df", "value", "p"}},
    {"tests",
     {"term",
      "num_df",
      "den_df",
      "statistic",
      "value",
      "p",
      "method",
      "sum_of_squares",
      "mean_square",
      "unit"}},
    {"means",
     {"term",
      "levels",
      "estimate",
      "se",
      "df",
      "lower",
      "upper",
      "letters",
      "n",
      "link_estimate",
      "link_se",
      "typical",
      "back"}},
    {"differences",
     {"term",
      "first",
      "second",
      "estimate",
      "se",
      "df",
      "value",
      "p",
      "p_adjusted",
      "adjust",
      "lower",
      "upper",
      "link_estimate",
      "link_se",
      "margin",
      "p_lower",
      "p_upper",
      "p_equivalence",
      "lower_equivalence",
      "upper_equivalence",
      "verdict",
      "beyond_margin",
      "replicates_to_settle"}},
    {"simple_effects", {"within", "first", "second", "verdict"}},
    {"contrasts", {"name", "estimate", "se", "df", "value", "p"}},
    {"checks", {"check", "value", "p", "num_df", "den_df", "lower", "upper", "row"}},
    {"residuals", {"row", "studentised", "standardised", "cook", "leverage"}},
};

static void every_key_of_the_contract(void **state)
{
    const qx_protocol protocol = {.title = "Angles \"tied\"\nand pinched"};
    qx_difference simple;
    const qx_result result = result_by_hand(&simple);
    const qx_findings findings = {
        .protocol = &protocol, .result_count = 1, .result = &result};
    const char *json = render(*state, &findings);
    assert_true(is_one_document(json));
    for (size_t i = 0; i < QX_COUNT(contract); i++) {
        hold_keys(json, &contract[i]);
    }
}

static void
hold_value(const char *json, const char *part, const char *key, const char *want)
{
    const char *got = after_key(part == NULL ? json : after_key(json, part), key);
    if (strncmp(got, want, strlen(want)) != 0) {
        fail_msg("%s: %.40s, expected %s", key, got, want);
    }
}

static void values_as_the_contract_writes_them(void **state)
{
    const qx_protocol protocol = {.title = "Angles \"tied\"\nand pinched"};
    qx_difference simple;
    const qx_result result = result_by_hand(&simple);
    const qx_findings findings = {
        .protocol = &protocol, .result_count = 1, .result = &result};
    const char *json = render(*state, &findings);
    hold_value(json, NULL, "quincunx", "1,");
    hold_value(json, NULL, "title", "\"Angles \\\"tied\\\"\\nand pinched\"");
    hold_value(json, "fit", "log_likelihood", "-123.45678901234567,");
    hold_value(json, "fit", "deviance", "null");
    hold_value(json, "fit", "converged", "true");
    hold_value(json, "variance", "upper", "null"); /* infinite */
    hold_value(json, NULL, "dispersion", "null");
    hold_value(json, "means", "df", "null"); /* infinite */
    hold_value(json, "means", "angle", "\"60\"");
    hold_value(json, "means", "letters", "\"ab\"");
    hold_value(json, "means", "class", "\"high\"");
    hold_value(json, "typical", "estimate", "10,");
    hold_value(json, "typical", "upper", "11");
    hold_value(json, "means", "back", "null");
    hold_value(json, "differences", "verdict", "\"lower\"");
    hold_value(json, "differences", "beyond_margin", "false");
    hold_value(json, "differences", "replicates_to_settle", "null");
    hold_value(json, "simple_effects", "pinch", "\"early\"");
    hold_value(json, "checks", "row", "17");
    assert_null(strstr(after_key(json, "differences"), "\"class\"")); /* it has none */
    assert_null(strstr(json, "_small_sample\""));
    assert_null(strstr(after_key(json, "contrasts"), "\"within\""));
}

static void nothing_found_is_a_document_too(void **state)
{
    const qx_protocol protocol = {.title = ""};
    const qx_findings findings = {.protocol = &protocol};
    const char *json = render(*state, &findings);
    assert_true(is_one_document(json));
    hold_value(json, NULL, "results", "[]");
}

/* The reader above must itself be strict. */
static void the_checker_refuses_what_is_not_json(void **state)
{
    static const char *const bad[] = {"",
                                      "{",
                                      "{\"a\": 1,}",
                                      "[1 2]",
                                      "{\"a\" 1}",
                                      "nan",
                                      "[01]",
                                      "[1.]",
                                      "\"a\nb\"",
                                      "[1] [2]",
                                      "{a: 1}",
                                      "[.5]",
                                      "\"\\x\"",
                                      "{\"a\": }",
                                      "[1,]",
                                      "[-]"};
    (void)state;
    for (size_t i = 0; i < QX_COUNT(bad); i++) {
        if (is_one_document(bad[i])) {
            fail_msg("taken for JSON: %s", bad[i]);
        }
    }
    assert_true(
        is_one_document(" {\"a\": [1, -0.5e+3, true, null, \"x\\n\"], \"b\": {}} "));
}

static qx_status render_once(qx_ctx *cx, void *given)
{
    qx_arena *arena = qx_arena_new();
    qx_text *text = arena == NULL ? NULL : qx_text_new(arena);
    const qx_status status = text == NULL ? QX_E_NOMEM : qx_render_json(cx, given, text);
    qx_arena_free(arena);
    return status;
}

static void survives_no_memory(void **state)
{
    const qx_protocol protocol = {.title = "x"};
    qx_difference simple;
    const qx_result result = result_by_hand(&simple);
    qx_findings findings = {.protocol = &protocol, .result_count = 1, .result = &result};
    (void)state;
    assert_true(fail_each_allocation(render_once, &findings) > 2);
}

#define WITH_CTX(name)                                                                   \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(every_key_of_the_contract),
        WITH_CTX(values_as_the_contract_writes_them),
        WITH_CTX(nothing_found_is_a_document_too),
        cmocka_unit_test(the_checker_refuses_what_is_not_json),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
