#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "fixture.h"
#include "layout/layout.h"
#include "trial/check.h"
#include "trial/read_yaml.h"
#include "trial/structure.h"

static const char split_protocol[] =
    "quincunx: 1\n"
    "title: Angle & pinch <in> \"young\" trees (invented)\n"
    "question: Does it matter how limbs are tied?\n"
    "institution: Station 'A' & B\n"
    "crop: {species: pear, cultivar: trial & error, rootstock: quince, planted: 2022}\n"
    "site: {name: North <field>, country: CH, row_spacing_m: 3.5, tree_spacing_m: 1.2}\n"
    "units:\n"
    "  block: {count: 4}\n"
    "  tree: {within: block, count: 2}\n"
    "  limb: {within: tree, count: 3}\n"
    "treatments:\n"
    "  pinch: {levels: [none, early], on: tree, control: none}\n"
    "  angle: {levels: [30, 60, 90], on: limb, unit: degree, control: 30}\n"
    "measure:\n"
    "  length: {kind: continuous, on: limb, unit: cm, margin: 8, label: shoot length}\n"
    "contrasts:\n"
    "  slope: {of: angle, trend: linear}\n";

static const char plain_protocol[] = "quincunx: 1\n"
                                     "title: Where the variation lies\n"
                                     "question: ''\n"
                                     "units:\n"
                                     "  batch: {count: 6}\n"
                                     "  sample: {within: batch, count: 5}\n"
                                     "measure:\n"
                                     "  yield: {kind: continuous, on: sample}\n";

static const char missing_protocol[] =
    "quincunx: 1\n"
    "title: Nothing came of it\n"
    "question: What if every sheet is lost?\n"
    "units:\n"
    "  tree: {count: 6}\n"
    "treatments:\n"
    "  spray: {levels: [no, yes], on: tree}\n"
    "measure:\n"
    "  weight: {kind: continuous, on: tree, unit: kg}\n";

static const char *many_protocol(qx_arena *arena)
{
    qx_text *t = qx_text_new(arena);
    assert_non_null(t);
    qx_text_add(t,
                "quincunx: 1\ntitle: Forty kinds\nquestion: Which one?\nunits:\n"
                "  block: {count: 3}\n  plot: {within: block, count: 40}\n"
                "treatments:\n  kind: {levels: [");
    for (int i = 0; i < 40; i++) {
        qx_text_printf(
            t, "%sseedling of the long row number %d", i > 0 ? ", " : "", i + 1);
    }
    qx_text_add(
        t, "], on: plot}\nmeasure:\n  mass: {kind: continuous, on: plot, unit: kg}\n");
    return qx_text_get(t);
}

static void read_protocol(fixture *f, const char *text)
{
    qx_problems *problems = qx_problems_new(f->arena);
    const qx_status status = qx_protocol_parse(
        f->cx, "fixture.yaml", text, strlen(text), problems, &f->protocol);
    for (size_t i = 0; i < qx_problems_stored(problems); i++) {
        print_error("%s; %s\n",
                    qx_problems_get(problems, i)->wrong,
                    qx_problems_get(problems, i)->expected);
    }
    assert_int_equal(status, QX_OK);
    f->findings.protocol = f->protocol;
}

static void lay_out(fixture *f)
{
    qx_layout_spec spec;
    assert_int_equal(qx_structure_of(f->cx, f->arena, f->protocol, &spec), QX_OK);
    assert_int_equal(qx_layout_make(f->cx, &spec, 1935, &f->layout), QX_OK);
    f->findings.layout = f->layout;
}

/* A table with the treatments' labels and a value for each row. */
static void tabulate(fixture *f, const char *csv)
{
    qx_problems *problems = qx_problems_new(f->arena);
    const qx_status status = qx_data_parse(f->cx,
                                           f->protocol,
                                           "fixture.csv",
                                           csv,
                                           strlen(csv),
                                           false,
                                           problems,
                                           &f->table,
                                           NULL);
    for (size_t i = 0; i < qx_problems_stored(problems); i++) {
        print_error("%s; %s\n",
                    qx_problems_get(problems, i)->wrong,
                    qx_problems_get(problems, i)->expected);
    }
    assert_int_equal(status, QX_OK);
    f->findings.table = f->table;
}

static qx_result *new_result(fixture *f)
{
    qx_result *r = qx_arena_alloc(f->arena, 1, sizeof *r);
    assert_non_null(r);
    const qx_variate *v = &f->protocol->variate[0];
    *r = (qx_result){.variate = v->name,
                     .label = v->label,
                     .unit = v->unit,
                     .definition = v,
                     .kind = "continuous",
                     .family = "normal",
                     .link = "identity",
                     .method = "REML",
                     .log_likelihood = NAN,
                     .reml_criterion = NAN,
                     .deviance = NAN,
                     .pearson_chisq = NAN,
                     .residual_df = NAN,
                     .cv_percent = 12.3,
                     .dispersion = NAN,
                     .converged = true};
    f->findings.result = r;
    f->findings.result_count = 1;
    return r;
}

static const char *const pinch[] = {"pinch"};
static const char *const angle[] = {"angle"};
static const char *const both[] = {"pinch", "angle"};
static const char *const none[] = {"none"}, *const early[] = {"early"};
static const char *const a30[] = {"30"}, *const a60[] = {"60"}, *const a90[] = {"90"};
static const char *const cells[6][2] = {{"none", "30"},
                                        {"none", "60"},
                                        {"none", "90"},
                                        {"early", "30"},
                                        {"early", "60"},
                                        {"early", "90"}};

static qx_mean mean(const char *term,
                    size_t factors,
                    const char *const factor[],
                    const char *const level[],
                    double at,
                    const char *letters)
{
    return (qx_mean){.term = term,
                     .cell = {factors, factor, level},
                     .estimate = at,
                     .se = 1.53,
                     .df = 9.4,
                     .lower = at - 3.4,
                     .upper = at + 3.4,
                     .letters = letters,
                     .n = 8,
                     .link_estimate = at,
                     .link_se = 1.53,
                     .back = {NAN, NAN, NAN}};
}

static qx_difference difference(const char *term,
                                const char *const factor[],
                                const char *const first[],
                                const char *const second[],
                                double at,
                                qx_verdict verdict)
{
    return (qx_difference){.term = term,
                           .first = {1, factor, first},
                           .second = {1, factor, second},
                           .estimate = at,
                           .se = 1.8,
                           .df = 12,
                           .value = at / 1.8,
                           .p = 0.02,
                           .p_adjusted = 0.04,
                           .adjust = "tukey",
                           .lower = at - 4.2,
                           .upper = at + 4.2,
                           .margin = 8,
                           .p_lower = 0.01,
                           .p_upper = 0.02,
                           .p_equivalence = 0.02,
                           .lower_equivalence = at - 3.1,
                           .upper_equivalence = at + 3.1,
                           .verdict = verdict,
                           .replicates_to_settle = NAN};
}

static void split_means(fixture *f, qx_result *r)
{
    qx_mean *m = qx_arena_alloc(f->arena, 11, sizeof *m);
    assert_non_null(m);
    m[0] = mean("pinch", 1, pinch, none, 44.1, "a");
    m[1] = mean("pinch", 1, pinch, early, 42.6, "a");
    m[2] = mean("angle", 1, angle, a30, 53.2, "a");
    m[3] = mean("angle", 1, angle, a60, 47.3, "a");
    m[4] = mean("angle", 1, angle, a90, 29.5, "b");
    for (size_t i = 0; i < 6; i++) {
        m[5 + i] = mean(
            "pinch:angle", 2, both, cells[i], 50.0 - 4.0 * (double)i, i < 3 ? "a" : "b");
    }
    r->mean = m;
    r->mean_count = 11;
}

static void split_differences(fixture *f, qx_result *r)
{
    qx_difference *d = qx_arena_alloc(f->arena, 4, sizeof *d);
    qx_difference *s = qx_arena_alloc(f->arena, 2, sizeof *s);
    assert_non_null(d);
    assert_non_null(s);
    d[0] = difference("pinch", pinch, early, none, -1.5, QX_EQUIVALENT);
    d[1] = difference("angle", angle, a60, a30, -5.9, QX_UNSETTLED);
    d[1].replicates_to_settle = 11.2;
    d[1].replicate = "limb";
    d[2] = difference("angle", angle, a90, a30, -23.7, QX_LOWER_VERDICT);
    d[2].beyond_margin = true;
    d[3] = difference("angle", angle, a90, a60, -4.8, QX_TRIVIAL);
    s[0] = difference("pinch", pinch, early, none, 9.1, QX_HIGHER);
    s[0].within = (qx_cell){1, angle, a30};
    s[1] = difference("pinch", pinch, early, none, NAN, QX_CANNOT_TELL);
    s[1].within = (qx_cell){1, angle, a90};
    r->difference = d;
    r->difference_count = 4;
    r->simple = s;
    r->simple_count = 2;
}

static const qx_test_line split_tests[] = {
    {"pinch",
     "block:tree",
     1,
     3,
     "F",
     1.2,
     0.353,
     "Kenward-Roger",
     14.2,
     14.2,
     NAN,
     NULL},
    {"angle",
     "block:tree:limb",
     2,
     12,
     "F",
     45.1,
     0.0000021,
     "Kenward-Roger",
     2300,
     1150,
     NAN,
     NULL},
    {"pinch:angle",
     "block:tree:limb",
     2,
     12,
     "F",
     5.9,
     0.0163,
     "Kenward-Roger",
     300,
     150,
     NAN,
     NULL},
    {"residual", "block", 3, NAN, NULL, NAN, NAN, NULL, 90, 30, NAN, NULL},
    {"residual", "block:tree", 3, NAN, NULL, NAN, NAN, NULL, 35.5, 11.83, NAN, NULL},
    {"residual", "block:tree:limb", 12, NAN, NULL, NAN, NAN, NULL, 306, 25.5, NAN, NULL}};

static const qx_variance_line split_variance[] = {
    {"block", 4.1, 2.02, 0.2, 31.0, 1.1, 0.15, false, false, 4.1},
    {"block:tree", 0, 0, 0, 8.5, 0, 1, true, false, -0.4},
    {"residual", 25.5, 5.05, 13.1, 69.5, NAN, NAN, false, false, 25.9}};

static const qx_contrast_line split_contrast[] = {{.name = "slope",
                                                   .of = "angle",
                                                   .estimate = -16.8,
                                                   .se = 1.9,
                                                   .df = 12,
                                                   .value = -8.8,
                                                   .p = 0.0000014,
                                                   .p_adjusted = 0.0000014,
                                                   .lower = -20.9,
                                                   .upper = -12.7,
                                                   .margin = NAN,
                                                   .verdict = QX_LOWER_VERDICT}};

static const qx_check_line split_check[] = {
    {"shapiro-wilk", 0.97, 0.66, NAN, NAN, NAN, NAN, 0, NULL, NULL, NULL},
    {"outlier",
     4.1,
     0.008,
     NAN,
     11,
     NAN,
     NAN,
     7,
     "Look at the sheet of row 7.",
     NULL,
     NULL}};

static const char *const split_fixed[] = {"pinch", "angle", "pinch:angle"};
static const char *const split_random[] = {"block", "block:tree"};
static const char *const split_note[] = {"limb 3 of tree 1 is <lost> & gone."};

static void split_points(fixture *f, qx_result *r)
{
    qx_point *p = qx_arena_alloc(f->arena, 24, sizeof *p);
    assert_non_null(p);
    for (size_t i = 0; i < 24; i++) {
        const double fitted = 52.0 - 11.0 * (double)(i % 3);
        const double residual = (double)((i * 7) % 11) - 5.0;
        p[i] = (qx_point){i + 1, fitted + residual, fitted, residual, residual / 5.0};
    }
    r->point = p;
    r->point_count = 24;
}

static void open_split(fixture *f)
{
    qx_text *csv = qx_text_new(f->arena);
    assert_non_null(csv);
    read_protocol(f, split_protocol);
    lay_out(f);
    qx_text_add(csv, "block,tree,limb,pinch,angle,length\n");
    for (int i = 0; i < 24; i++) {
        qx_text_printf(csv,
                       "%d,%d,%d,%s,%d,%d\n",
                       i / 6 + 1,
                       (i / 3) % 2 + 1,
                       i % 3 + 1,
                       (i / 3) % 2 == 0 ? "none" : "early",
                       30 * (i % 3 + 1),
                       52 - 11 * (i % 3) + (i * 7) % 11 - 5);
    }
    tabulate(f, qx_text_get(csv));
    qx_result *r = new_result(f);
    r->used = 24;
    r->fixed_count = 3;
    r->fixed = split_fixed;
    r->random_count = 2;
    r->random = split_random;
    r->test_count = 6;
    r->test = split_tests;
    r->variance_count = 3;
    r->variance = split_variance;
    r->contrast_count = 1;
    r->contrast = split_contrast;
    r->check_count = 2;
    r->check = split_check;
    r->note_count = 1;
    r->note = split_note;
    split_means(f, r);
    split_differences(f, r);
    split_points(f, r);
}

static void open_plain(fixture *f)
{
    static const qx_variance_line variance[] = {
        {"batch", 1764, 42.0, 245, 10200, 3.0, 0.04, false, false, 1764},
        {"residual", 2451, 49.5, 1460, 4580, NAN, NAN, false, false, 2451}};
    static const char *const random[] = {"batch"};
    read_protocol(f, plain_protocol);
    qx_result *r = new_result(f);
    r->used = 30;
    r->random_count = 1;
    r->random = random;
    r->variance_count = 2;
    r->variance = variance;
}

static void open_many(fixture *f)
{
    static const char *const factor[] = {"kind"};
    read_protocol(f, many_protocol(f->arena));
    lay_out(f);
    qx_result *r = new_result(f);
    qx_mean *m = qx_arena_alloc(f->arena, 40, sizeof *m);
    qx_difference *d = qx_arena_alloc(f->arena, 780, sizeof *d);
    assert_non_null(m);
    assert_non_null(d);
    const qx_treatment *t = &f->protocol->treatment[0];
    size_t count = 0;
    for (size_t i = 0; i < 40; i++) {
        m[i] = mean("kind",
                    1,
                    factor,
                    &t->level[i],
                    10.0 + (double)i,
                    "abcdefghijklmnopqrstuvwxyzAB");
        for (size_t j = 0; j < i; j++) {
            d[count] = difference("kind",
                                  factor,
                                  &t->level[i],
                                  &t->level[j],
                                  (double)(i - j),
                                  i - j > 5 ? QX_HIGHER : QX_UNSETTLED);
            d[count++].margin = NAN;
        }
    }
    r->used = 120;
    r->mean = m;
    r->mean_count = 40;
    r->difference = d;
    r->difference_count = count;
}

static void open_missing(fixture *f)
{
    static const char *const note[] = {"weight has no value at all."};
    read_protocol(f, missing_protocol);
    qx_result *r = new_result(f);
    r->missing = 6;
    r->converged = false;
    r->method = NULL;
    r->cv_percent = NAN;
    r->note_count = 1;
    r->note = note;
}

void fixture_open(fixture *f, fixture_kind kind)
{
    static void (*const open[])(fixture *) = {
        open_split, open_plain, open_many, open_missing};
    *f = (fixture){.cx = qx_ctx_new(), .arena = qx_arena_new()};
    assert_non_null(f->cx);
    assert_non_null(f->arena);
    f->findings.arena = f->arena;
    open[kind](f);
    qx_ctx_clear(f->cx);
}

void fixture_close(fixture *f)
{
    qx_layout_free(f->layout);
    qx_table_free(f->table);
    qx_protocol_free(f->protocol);
    qx_arena_free(f->arena);
    qx_ctx_free(f->cx);
}
