/* Data with a known truth (findings/simulate.h): their shape, their repeatability, and that
 * effects, spreads and losses are those that were asked for. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "findings/simulate.h"
#include "trial/check.h"
#include "trial/read_yaml.h"
#include "trial/structure.h"

static const char protocol_text[] =
    "quincunx: 1\n"
    "title: simulated\n"
    "seasons: [2024, 2025]\n"
    "units:\n"
    "  block: {count: 4}\n"
    "  tree: {within: block, count: 3}\n"
    "  shoot: {within: tree, sample: true}\n"
    "treatments:\n"
    "  cut: {levels: [none, short, long], on: tree}\n"
    "measure:\n"
    "  girth: {kind: continuous, on: tree, decimals: 2}\n"
    "  length: {kind: continuous, on: shoot, decimals: 1, range: [0, 100]}\n"
    "  fruits: {kind: count, on: tree}\n";

typedef struct trial {
    qx_ctx *cx;
    qx_arena *arena;
    qx_problems *problems;
    qx_protocol *protocol;
    qx_layout *layout;
} trial;

static int set_up(void **state)
{
    static trial t;
    t.cx = qx_ctx_new();
    t.arena = qx_arena_new();
    t.problems = qx_problems_new(t.arena);
    assert_int_equal(qx_protocol_parse(t.cx,
                                       "p.yaml",
                                       protocol_text,
                                       strlen(protocol_text),
                                       t.problems,
                                       &t.protocol),
                     QX_OK);
    qx_layout_spec spec;
    assert_int_equal(qx_structure_of(t.cx, t.arena, t.protocol, &spec), QX_OK);
    assert_int_equal(qx_layout_make(t.cx, &spec, 7, &t.layout), QX_OK);
    *state = &t;
    return 0;
}

static int tear_down(void **state)
{
    trial *t = *state;
    qx_layout_free(t->layout);
    qx_protocol_free(t->protocol);
    qx_arena_free(t->arena);
    qx_ctx_free(t->cx);
    return 0;
}

static const qx_truth_effect effects[] = {
    {"cut", "short", 5.0}, {"cut", "long", -3.0}, {"season", "2025", 10.0}};
static const qx_truth exact[] = {
    {.variate = "girth", .mean = 20.0, .effect_count = 3, .effect = effects}};

static const char *simulate(trial *t, const qx_simulation *simulation)
{
    qx_text *csv = qx_text_new(t->arena);
    assert_int_equal(qx_simulate_csv(t->cx, t->protocol, t->layout, simulation, csv),
                     QX_OK);
    return qx_text_get(csv);
}

static qx_table *read_back(trial *t, const char *csv)
{
    qx_table *table = NULL;
    bool *bad = NULL;
    assert_int_equal(qx_data_parse(t->cx,
                                   t->protocol,
                                   "d.csv",
                                   csv,
                                   strlen(csv),
                                   false,
                                   t->problems,
                                   &table,
                                   &bad),
                     QX_OK);
    return table;
}

static bool
label_is(const qx_table *table, const char *column, size_t row, const char *label)
{
    const qx_column *c = qx_table_find(table, column);
    return c->code[row] != QX_MISSING_CODE && strcmp(c->level[c->code[row]], label) == 0;
}

/* Without variation every value is the sum of its effects. */
static void values_are_the_sums_of_their_effects(void **state)
{
    trial *t = *state;
    const qx_simulation s = {.seed = 1, .samples = 2, .truth_count = 1, .truth = exact};
    qx_table *table = read_back(t, simulate(t, &s));
    const qx_column *girth = qx_table_find(table, "girth");
    assert_int_equal(table->rows, 2 * (12 + 12 * 2)); /* seasons x (trees + shoots) */
    size_t seen = 0;
    for (size_t i = 0; i < table->rows; i++) {
        if (qx_table_find(table, "shoot")->code[i] != QX_MISSING_CODE) {
            assert_true(isnan(girth->value[i]));
            continue;
        }
        const double want = 20.0 + (label_is(table, "season", i, "2025") ? 10.0 : 0.0) +
                            (label_is(table, "cut", i, "short") ? 5.0 : 0.0) +
                            (label_is(table, "cut", i, "long") ? -3.0 : 0.0);
        assert_true(fabs(girth->value[i] - want) < 1e-12);
        seen++;
    }
    assert_int_equal(seen, 24);
    qx_table_free(table);
}

static void the_same_seed_gives_the_same_file(void **state)
{
    trial *t = *state;
    const qx_truth_spread spreads[] = {{"tree", 2.0, 1.0}, {"shoot", 5.0, 0.0}};
    const qx_truth truth[] = {{.variate = "length",
                               .mean = 50.0,
                               .spread_count = 2,
                               .spread = spreads,
                               .step = 0.5,
                               .lost = 0.1}};
    qx_simulation s = {.seed = 3, .samples = 3, .truth_count = 1, .truth = truth};
    const char *first = simulate(t, &s);
    assert_string_equal(first, simulate(t, &s));
    s.seed = 4;
    assert_string_not_equal(first, simulate(t, &s));
}

/* Mean and variance of many draws, within four standard errors of what they must be. */
static void spreads_are_those_asked_for(void **state)
{
    trial *t = *state;
    const qx_truth_spread spreads[] = {{"shoot", 5.0, 0.0}};
    const qx_truth truth[] = {
        {.variate = "length", .mean = 50.0, .spread_count = 1, .spread = spreads}};
    const qx_simulation s = {
        .seed = 11, .samples = 200, .truth_count = 1, .truth = truth};
    qx_table *table = read_back(t, simulate(t, &s));
    const qx_column *length = qx_table_find(table, "length");
    double n = 0.0, sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < table->rows; i++) {
        if (!isnan(length->value[i])) {
            n += 1.0;
            sum += length->value[i] - 50.0;
            squares += (length->value[i] - 50.0) * (length->value[i] - 50.0);
        }
    }
    assert_true(n == 2 * 12 * 200);
    assert_true(fabs(sum / n) < 4.0 * 5.0 / sqrt(n));
    assert_true(fabs(squares / n - 25.0) < 4.0 * 25.0 * sqrt(2.0 / n));
    qx_table_free(table);
}

/* A tree's own deviation is the same in both seasons when no season adds to it. */
static void trees_carry_their_deviation_over_seasons(void **state)
{
    trial *t = *state;
    const qx_truth_spread spreads[] = {{"tree", 2.0, 0.0}};
    const qx_truth truth[] = {
        {.variate = "girth", .mean = 20.0, .spread_count = 1, .spread = spreads}};
    const qx_simulation s = {.seed = 5, .truth_count = 1, .truth = truth};
    qx_table *table = read_back(t, simulate(t, &s));
    const qx_column *girth = qx_table_find(table, "girth");
    assert_int_equal(table->rows, 24);
    size_t differ = 0;
    for (size_t i = 0; i < 12; i++) {
        assert_true(fabs(girth->value[i] - girth->value[i + 12]) < 1e-12);
        differ += fabs(girth->value[i] - 20.0) > 0.1 ? 1 : 0;
    }
    assert_true(differ > 6);
    qx_table_free(table);
}

static void what_is_lost_stays_lost(void **state)
{
    trial *t = *state;
    const qx_truth_loss loss = {.unit = "tree", .things = 3, .season = 1};
    const qx_simulation s = {
        .seed = 9, .truth_count = 1, .truth = exact, .loss_count = 1, .loss = &loss};
    qx_table *table = read_back(t, simulate(t, &s));
    const qx_column *girth = qx_table_find(table, "girth");
    size_t lost[2] = {0, 0};
    for (size_t i = 0; i < table->rows; i++) {
        lost[i / 12] += isnan(girth->value[i]) ? 1 : 0;
    }
    assert_int_equal(lost[0], 0);
    assert_int_equal(lost[1], 3);
    qx_table_free(table);
}

static void values_keep_to_step_and_range(void **state)
{
    trial *t = *state;
    const qx_truth_spread spreads[] = {{"shoot", 60.0, 0.0}};
    const qx_truth truth[] = {{.variate = "length",
                               .mean = 50.0,
                               .spread_count = 1,
                               .spread = spreads,
                               .step = 0.5}};
    const qx_simulation s = {.seed = 2, .samples = 20, .truth_count = 1, .truth = truth};
    qx_table *table = read_back(t, simulate(t, &s));
    const qx_column *length = qx_table_find(table, "length");
    size_t at_an_end = 0;
    for (size_t i = 0; i < table->rows; i++) {
        const double y = length->value[i];
        if (!isnan(y)) {
            assert_true(y >= 0.0 && y <= 100.0);
            assert_true(fabs(2.0 * y - round(2.0 * y)) < 1e-12);
            at_an_end += y <= 0.0 || y >= 100.0 ? 1 : 0;
        }
    }
    assert_true(at_an_end > 0);
    qx_table_free(table);
}

static void wrong_names_are_refused(void **state)
{
    trial *t = *state;
    const qx_truth_effect no_level = {"cut", "tall", 1.0};
    const qx_truth_effect no_treatment = {"spray", "none", 1.0};
    const qx_truth_spread no_unit = {"limb", 1.0, 0.0};
    const qx_truth wrong[] = {
        {.variate = "weight"},
        {.variate = "girth", .effect_count = 1, .effect = &no_level},
        {.variate = "girth", .effect_count = 1, .effect = &no_treatment},
        {.variate = "girth", .spread_count = 1, .spread = &no_unit}};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        const qx_simulation s = {.seed = 1, .truth_count = 1, .truth = &wrong[i]};
        qx_text *csv = qx_text_new(t->arena);
        assert_int_equal(qx_simulate_csv(t->cx, t->protocol, t->layout, &s, csv),
                         QX_E_ARG);
        qx_ctx_clear(t->cx);
    }
    const qx_truth_loss too_many = {.unit = "tree", .things = 13};
    const qx_simulation s = {.seed = 1, .loss_count = 1, .loss = &too_many};
    assert_int_equal(
        qx_simulate_csv(t->cx, t->protocol, t->layout, &s, qx_text_new(t->arena)),
        QX_E_ARG);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            values_are_the_sums_of_their_effects, set_up, tear_down),
        cmocka_unit_test_setup_teardown(
            the_same_seed_gives_the_same_file, set_up, tear_down),
        cmocka_unit_test_setup_teardown(spreads_are_those_asked_for, set_up, tear_down),
        cmocka_unit_test_setup_teardown(
            trees_carry_their_deviation_over_seasons, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_is_lost_stays_lost, set_up, tear_down),
        cmocka_unit_test_setup_teardown(values_keep_to_step_and_range, set_up, tear_down),
        cmocka_unit_test_setup_teardown(wrong_names_are_refused, set_up, tear_down)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
