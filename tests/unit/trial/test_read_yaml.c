/* The protocol reader: what a good protocol becomes, and every problem of bad ones.
 *
 * bad/NAME.yaml is a protocol with problems, bad/NAME.expected the lines that must be told
 * ("line:column: what is wrong; what was expected"), looked over against the contract's
 * rules: every problem in the file, in its order, and no other. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "support.h"
#include "trial/new_protocol.h"
#include "trial/protocol.h"
#include "trial/read_yaml.h"

static const char *bad_folder = "bad";

static const char contract_example[] =
    "quincunx: 1\n"
    "title: text\n"
    "question: >\n"
    "  Does a flat limb\n"
    "  flower more?\n"
    "people: [{name: A. Example, role: lead}, {name: B. Example}]\n"
    "crop: {species: pear, cultivar: text, rootstock: text, planted: 2023}\n"
    "site: {name: text, country: CH, latitude: 47.1, longitude: 9.2, row_spacing_m: 3.5, "
    "tree_spacing_m: 1.0}\n"
    "seasons: [2025, 2026]\n"
    "measure:\n" /* before units: the order of the sections is free */
    "  bloom:  {kind: proportion, of: spurs, on: limb, better: more, margin: 0.10}\n"
    "  shoots: {kind: count, on: limb, better: more, margin: 1.5, range: [0, 60], "
    "extra_variation: auto}\n"
    "  length: {kind: continuous, on: shoot, unit: cm, decimals: 1, range: [0, 250], "
    "better: none, margin: 8,\n"
    "           label: New shoot length, method: 'tape to the tip, base swelling "
    "excluded', transform: sqrt}\n"
    "  vigour: {kind: ordinal, levels: [low, medium, high], on: tree}\n"
    "  side:   {kind: nominal, levels: [upper, lateral, lower], on: shoot, times: "
    "number}\n"
    "units:\n"
    "  limb:  {within: tree, count: 3}\n"
    "  shoot: {within: limb, sample: true}\n"
    "  block: {count: 6}\n"
    "  tree:  {within: block, count: 2}\n"
    "treatments:\n"
    "  pinch: {levels: [none, early], on: tree, control: none}\n"
    "  angle: {levels: [30, 60, 90], on: limb, unit: degree, control: 30.0}\n"
    "covariates:\n"
    "  trunk_area: {on: tree, unit: cm2, slopes: [pinch]}\n"
    "contrasts:\n"
    "  flat_or_steep: {of: angle, weights: {30: 1, 90.0: -1}}\n"
    "  angle_trend:   {of: angle, trend: linear}\n"
    "  years: {of: season, weights: {2025: -1, 2026: 1}}\n"
    "analysis:\n"
    "  blocks: fixed\n"
    "  df: satterthwaite\n"
    "  compare: holm\n"
    "  sums: sequential\n"
    "  interactions: pairs\n"
    "  quadrature: 1\n"
    "  level: 0.9\n";

/* "line:column: wrong; expected\n" for each problem. */
static const char *told(qx_arena *arena, const qx_problems *problems)
{
    qx_text *text = qx_text_new(arena);
    for (size_t i = 0; i < qx_problems_stored(problems); i++) {
        const qx_problem *p = qx_problems_get(problems, i);
        qx_text_printf(
            text, "%zu:%zu: %s; %s\n", p->at.line, p->at.column, p->wrong, p->expected);
    }
    return qx_text_get(text);
}

static qx_protocol *must_parse(qx_ctx *cx, qx_arena *arena, const char *text)
{
    qx_problems *problems = qx_problems_new(arena);
    qx_protocol *p = NULL;
    const qx_status status =
        qx_protocol_parse(cx, "p.yaml", text, strlen(text), problems, &p);
    assert_string_equal(told(arena, problems), "");
    assert_int_equal(status, QX_OK);
    assert_non_null(p);
    return p;
}

static void example_of_the_contract_is_read_whole(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_protocol *p = must_parse(*state, arena, contract_example);
    assert_string_equal(p->question, "Does a flat limb flower more?");
    assert_int_equal(p->person_count, 2);
    assert_string_equal(p->person[0].role, "lead");
    assert_string_equal(p->person[1].role, "");
    assert_int_equal(p->crop.planted, 2023);
    assert_string_equal(p->site.country, "CH");
    assert_true(p->site.latitude == 47.1);
    assert_true(p->site.tree_spacing_m == 1.0);
    assert_int_equal(p->seasons.level_count, 2);
    assert_string_equal(p->seasons.column, "season");
    assert_int_equal(p->unit_count, 4);
    assert_string_equal(p->unit[p->unit_order[0]].name, "block");
    assert_string_equal(p->unit[1].path, "block:tree:limb:shoot");
    assert_true(p->unit[1].sample);
    assert_int_equal(p->unit[1].count, QX_NONE);
    assert_int_equal(p->treatment[0].control, 0);
    assert_int_equal(p->treatment[1].control, 0);
    assert_true(p->treatment[1].numeric && p->treatment[1].score[2] == 90);
    assert_false(p->treatment[0].numeric);
    assert_int_equal(p->treatment[1].on, qx_protocol_find_unit(p, "limb"));
    assert_int_equal(p->covariate[0].slope_count, 1);
    assert_int_equal(p->variate_count, 5);
    assert_int_equal(p->variate[0].kind, QX_PROPORTION);
    assert_string_equal(p->variate[0].of, "spurs");
    assert_string_equal(p->variate[0].label, "bloom");
    assert_string_equal(p->variate[2].label, "New shoot length");
    assert_string_equal(p->variate[2].method, "tape to the tip, base swelling excluded");
    assert_int_equal(p->variate[2].transform, QX_TRANSFORM_SQRT);
    assert_int_equal(p->variate[2].decimals, 1);
    assert_true(p->variate[2].has_range && p->variate[2].high == 250);
    assert_true(isnan(p->variate[3].margin));
    assert_string_equal(p->variate[4].times, "number");
    assert_true(p->contrast[0].weight[0] == 1 && p->contrast[0].weight[1] == 0 &&
                p->contrast[0].weight[2] == -1);
    assert_int_equal(p->contrast[1].trend, QX_TREND_LINEAR);
    assert_true(p->contrast[2].of == QX_OF_SEASON);
    assert_true(p->analysis.blocks_fixed);
    assert_int_equal(p->analysis.df, QX_DF_SATTERTHWAITE);
    assert_int_equal(p->analysis.compare, QX_COMPARE_HOLM);
    assert_int_equal(p->analysis.sums, QX_SUMS_SEQUENTIAL);
    assert_int_equal(p->analysis.interactions, QX_INTERACT_PAIRS);
    assert_true(p->analysis.level == 0.9);
    assert_int_equal(strlen(p->digest), 64);
    qx_protocol_free(p);
    qx_arena_free(arena);
}

static void defaults_are_those_of_the_contract(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_protocol *p = must_parse(*state,
                                arena,
                                "quincunx: 1\n"
                                "units: {tree: }\n"
                                "treatments:\n"
                                "measure: {y: {kind: proportion, on: tree}}\n");
    assert_int_equal(p->treatment_count, 0);
    assert_int_equal(p->seasons.level_count, 0);
    assert_int_equal(p->unit[0].count, QX_NONE);
    assert_string_equal(p->title, "");
    assert_string_equal(p->variate[0].of, "");
    assert_int_equal(p->variate[0].extra_variation, QX_VARIATION_AUTO);
    assert_int_equal(p->variate[0].link, QX_SHARE_LOGIT);
    assert_int_equal(p->variate[0].better, QX_BETTER_NONE);
    assert_int_equal(p->variate[0].decimals, -1);
    assert_false(p->analysis.blocks_fixed);
    assert_int_equal(p->analysis.df, QX_DF_KENWARD_ROGER);
    assert_int_equal(p->analysis.compare, QX_COMPARE_TUKEY);
    assert_int_equal(p->analysis.quadrature, 1);
    assert_true(p->analysis.level == 0.95);
    assert_true(isnan(p->site.latitude));
    qx_protocol_free(p);
    qx_arena_free(arena);
}

static void crossed_units_have_the_union_of_paths(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_protocol *p = must_parse(*state,
                                arena,
                                "quincunx: 1\n"
                                "units:\n"
                                "  well: {within: [strip, cross_strip]}\n"
                                "  strip: {within: block, count: 6}\n"
                                "  cross_strip: {within: block, count: 5}\n"
                                "  block: {count: 2}\n"
                                "measure: {y: {kind: continuous, on: well}}\n");
    assert_string_equal(p->unit[0].path, "block:strip:cross_strip:well");
    assert_true(qx_unit_reaches(p, 3, 0));
    assert_true(qx_unit_reaches(p, 0, 0));
    assert_false(qx_unit_reaches(p, 1, 2));
    qx_protocol_free(p);
    qx_arena_free(arena);
}

/* YAML 1.2: yes, no and on are words; only true and false are truth values. */
static void yes_and_no_are_words(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_protocol *p =
        must_parse(*state,
                   arena,
                   "quincunx: 1\n"
                   "units: {tree: {count: 1e1}, limb: {within: tree, sample: false}}\n"
                   "treatments: {oil: {levels: [no, 'yes', '3', 1e3], on: tree}}\n"
                   "measure: {y: {kind: continuous, on: tree}}\n");
    assert_int_equal(p->unit[0].count, 10);
    assert_string_equal(p->treatment[0].level[0], "no");
    assert_string_equal(p->treatment[0].level[1], "yes");
    assert_int_equal(
        qx_level_find(p->treatment[0].level_count, p->treatment[0].level, "1000.0", 6),
        3);
    assert_int_equal(
        qx_level_find(p->treatment[0].level_count, p->treatment[0].level, "3.00", 4), 2);
    assert_int_equal(
        qx_level_find(p->treatment[0].level_count, p->treatment[0].level, "n", 1),
        QX_NONE);
    qx_protocol_free(p);
    qx_arena_free(arena);
}

static void check_bad(qx_ctx *cx, const char *name)
{
    qx_arena *arena = qx_arena_new();
    char *path = qx_path_join(arena, bad_folder, name);
    qx_problems *problems = qx_problems_new(arena);
    qx_protocol *p = NULL;
    assert_int_equal(qx_protocol_read(cx, path, problems, &p), QX_E_INPUT);
    assert_null(p);
    qx_ctx_clear(cx);
    char *base = qx_arena_text(arena, path, strlen(path) - strlen(".yaml"));
    char *expected = qx_arena_printf(arena, "%s.expected", base);
    qx_bytes bytes = {0};
    assert_ok(cx, qx_file_read(cx, arena, expected, 1 << 20, &bytes));
    if (strcmp(told(arena, problems), bytes.bytes) != 0) {
        print_error("%s:\n%s", name, told(arena, problems));
    }
    assert_string_equal(told(arena, problems), bytes.bytes);
    qx_arena_free(arena);
}

static void every_bad_protocol_is_told_whole(void **state)
{
    DIR *folder = opendir(bad_folder);
    assert_non_null(folder);
    size_t count = 0;
    const struct dirent *entry = NULL;
    while ((entry = readdir(folder)) != NULL) {
        const size_t length = strlen(entry->d_name);
        if (length > 5 && strcmp(entry->d_name + length - 5, ".yaml") == 0) {
            check_bad(*state, entry->d_name);
            count++;
        }
    }
    closedir(folder);
    assert_true(count >= 30);
}

static void assert_told(qx_ctx *cx, const char *bytes, size_t length, const char *line)
{
    qx_arena *arena = qx_arena_new();
    qx_problems *problems = qx_problems_new(arena);
    qx_protocol *p = NULL;
    assert_int_equal(qx_protocol_parse(cx, "p.yaml", bytes, length, problems, &p),
                     QX_E_INPUT);
    qx_ctx_clear(cx);
    assert_null(p);
    assert_non_null(strstr(told(arena, problems), line));
    qx_arena_free(arena);
}

static void encodings_are_named(void **state)
{
    qx_ctx *cx = *state;
    static const char utf16[] = "\xFF\xFEq\0u\0";
    static const char latin1[] = "quincunx: 1\ntitle: S\xE4ulen\nquestion: \xFC\n";
    static const char bare16[] = "q\0u\0i\0";
    static const char binary[] = "\x7F"
                                 "ELF\x02\x01\x01\0\0\0";
    static const char packed[] = "PK\x03\x04xlsx";
    static const char mark_only[] = "\xEF\xBB\xBF";
    assert_told(cx, utf16, sizeof utf16 - 1, "1:1: the file is in UTF-16; ");
    assert_told(cx,
                latin1,
                sizeof latin1 - 1,
                "2:9: byte E4 is not UTF-8, so the file is in another encoding such as "
                "Latin-1 (1 further line like it); ");
    assert_told(cx, bare16, sizeof bare16 - 1, "the file is in UTF-16 or binary");
    assert_told(cx, binary, sizeof binary - 1, "the file is binary, not text");
    assert_told(cx, packed, sizeof packed - 1, "a spreadsheet or another packed file");
    assert_told(cx, mark_only, sizeof mark_only - 1, "1:1: the file is empty; ");
}

static void byte_order_mark_is_passed_over(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_protocol *p =
        must_parse(*state,
                   arena,
                   "\xEF\xBB\xBFquincunx: 1\r\n"
                   "units: {tree: {count: 2}}\r\n"
                   "measure: {h\xC3\xB6he: {kind: continuous, on: tree}}\r\n");
    assert_string_equal(p->variate[0].name, "h\xC3\xB6he");
    qx_protocol_free(p);
    qx_arena_free(arena);
}

static void limits_hold(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    const size_t large = QX_PROTOCOL_BYTES_MOST + 1;
    char *bytes = qx_arena_alloc(arena, large, 1);
    memset(bytes, 'a', large);
    assert_told(cx, bytes, large, "1:1: the file is too large: 1048577 bytes; ");
    /* One long scalar of a whole MiB is read, and only it is not a protocol. */
    assert_told(cx, bytes, large - 1, "1:1: here stands a single value; ");
    qx_text *text = qx_text_new(arena);
    qx_text_add(text, "quincunx: 1\npeople:\n");
    for (size_t i = 0; i < 20000; i++) {
        qx_text_add(text, "- a\n");
    }
    assert_told(cx,
                qx_text_get(text),
                qx_text_length(text),
                "the protocol holds too many values; ");
    qx_text *units = qx_text_new(arena);
    qx_text_add(units, "quincunx: 1\nmeasure: {y: {kind: count, on: u1}}\nunits:\n");
    for (size_t i = 0; i < 65; i++) {
        qx_text_printf(units, "  u%zu: {count: 1}\n", i);
    }
    assert_told(cx,
                qx_text_get(units),
                qx_text_length(units),
                "3:1: the protocol names 65 units; expected at most 64");
    qx_arena_free(arena);
}

/* Sixty-four units that cross in layers have some 4^15 ways up: only their number of
 * edges may matter. */
static void many_crossings_take_no_time(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_text *text = qx_text_new(arena);
    qx_text_add(text, "quincunx: 1\nmeasure: {y: {kind: count, on: u15_0}}\nunits:\n");
    for (size_t layer = 0; layer < 16; layer++) {
        for (size_t i = 0; i < 4; i++) {
            if (layer == 0) {
                qx_text_printf(text, "  u0_%zu: {count: 10000000}\n", i);
            } else {
                qx_text_printf(text,
                               "  u%zu_%zu: {within: [u%zu_0, u%zu_1, u%zu_2, u%zu_3]}\n",
                               layer,
                               i,
                               layer - 1,
                               layer - 1,
                               layer - 1,
                               layer - 1);
            }
        }
    }
    qx_protocol *p = must_parse(*state, arena, qx_text_get(text));
    assert_true(qx_unit_reaches(p, 0, 63));
    qx_protocol_free(p);
    qx_arena_free(arena);
}

/* The protocol that a new trial begins with is right as it stands, and so it is with its
 * commented parts switched on. */
static void new_protocol_has_no_problem(void **state)
{
    qx_arena *arena = qx_arena_new();
    qx_protocol *p = must_parse(*state, arena, qx_new_protocol_text());
    assert_int_equal(p->unit_count, 3);
    assert_int_equal(p->variate_count, 3);
    assert_int_equal(p->contrast_count, 2);
    qx_protocol_free(p);
    static const char *const optional[] = {"# seasons:",
                                           "# shoot:",
                                           "# covariates:",
                                           "#   trunk_area:",
                                           "# expect:",
                                           "# expect:",
                                           "# expect:",
                                           "# vigour:",
                                           "# side:",
                                           "# planning:"};
    static const char *const given[] = {"seasons:",
                                        "  shoot:",
                                        "covariates:",
                                        "  trunk_area:",
                                        "expect:",
                                        "expect:",
                                        "expect:",
                                        "  vigour:",
                                        "  side:",
                                        "planning:"};
    const char *rest = qx_new_protocol_text();
    qx_text *text = qx_text_new(arena);
    for (size_t i = 0; i < QX_COUNT(optional); i++) {
        const char *at = strstr(rest, optional[i]);
        assert_non_null(at);
        qx_text_add_bytes(text, rest, (size_t)(at - rest));
        qx_text_add(text, given[i]);
        rest = at + strlen(optional[i]);
    }
    qx_text_add(text, rest);
    qx_protocol *whole = must_parse(*state, arena, qx_text_get(text));
    assert_int_equal(whole->variate_count, 5);
    assert_int_equal(whole->covariate_count, 1);
    assert_int_equal(whole->seasons.level_count, 2);
    for (size_t v = 0; v < 3; v++) {
        assert_non_null(whole->variate[v].expect);
        assert_true(whole->variate[v].expect->mean > 0.0);
    }
    assert_int_equal(whole->planning.samples, 4);
    qx_protocol_free(whole);
    qx_arena_free(arena);
}

/* Each allocation fails in turn: a clean QX_E_NOMEM, nothing leaked (sanitizers look). */
static void any_allocation_may_fail(void **state)
{
    (void)state;
    bool done = false;
    for (size_t n = 1; !done && n < 5000; n++) {
        qx_ctx *cx = qx_ctx_new();
        qx_arena *arena = qx_arena_new();
        qx_problems *problems = qx_problems_new(arena);
        qx_protocol *p = NULL;
        qx_arena_fail_after(n);
        const qx_status status = qx_protocol_parse(
            cx, "p.yaml", contract_example, sizeof contract_example - 1, problems, &p);
        qx_arena_fail_after(0);
        assert_true(status == QX_OK || status == QX_E_NOMEM);
        assert_true((status == QX_OK) == (p != NULL));
        done = status == QX_OK;
        qx_protocol_free(p);
        qx_arena_free(arena);
        qx_ctx_free(cx);
    }
    assert_true(done);
}

static void missing_file_is_told(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    qx_problems *problems = qx_problems_new(arena);
    qx_protocol *p = NULL;
    assert_int_equal(qx_protocol_read(cx, "/nowhere/p.yaml", problems, &p), QX_E_INPUT);
    assert_non_null(strstr(qx_ctx_message(cx), "/nowhere/p.yaml"));
    qx_ctx_clear(cx);
    qx_arena_free(arena);
}

int main(int argc, char **argv)
{
    if (argc > 1) {
        bad_folder = argv[1];
    }
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            example_of_the_contract_is_read_whole, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            defaults_are_those_of_the_contract, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            crossed_units_have_the_union_of_paths, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            yes_and_no_are_words, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            every_bad_protocol_is_told_whole, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            encodings_are_named, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            byte_order_mark_is_passed_over, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(limits_hold, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            many_crossings_take_no_time, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            new_protocol_has_no_problem, support_ctx_new, support_ctx_free),
        cmocka_unit_test(any_allocation_may_fail),
        cmocka_unit_test_setup_teardown(
            missing_file_is_told, support_ctx_new, support_ctx_free),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
