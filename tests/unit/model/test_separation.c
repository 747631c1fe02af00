#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "model/glmm.h"
#include "model/multinomial.h"
#include "model/ordinal.h"
#include "model/separation.h"
#include "support.h"

#define ROWS_MOST 40

/* A frame of one factor of three treatments (none, scored, sprayed) or of one covariate. */
typedef struct setting {
    uint32_t code[ROWS_MOST], unit[ROWS_MOST];
    double x[ROWS_MOST], count[2 * ROWS_MOST], k[ROWS_MOST], size[ROWS_MOST];
    qx_factor factor[2];
    qx_number number;
    qx_term term;
    qx_frame frame;
} setting;

static const char *const TREATMENT[] = {"none", "scored", "sprayed"};
static const char *const BUD[] = {"asleep", "broken"};
static const qx_random_term TREE = {"tree", 1};

static void use_factor(setting *s, size_t n, size_t levels)
{
    s->factor[0] = (qx_factor){
        .name = "treatment", .level_count = levels, .level = TREATMENT, .code = s->code};
    s->factor[1] = (qx_factor){.name = "tree", .level_count = n, .code = s->unit};
    s->term = (qx_term){
        .name = "treatment", .factor_count = 1, .factor = {0}, .number = QX_NO_COLUMN};
    s->frame = (qx_frame){.n = n, .factor_count = 2, .factor = s->factor};
}

static void use_covariate(setting *s, size_t n)
{
    s->number = (qx_number){"girth", s->x};
    s->term = (qx_term){.name = "girth", .number = 0};
    s->frame = (qx_frame){.n = n, .number_count = 1, .number = &s->number};
}

/* Row i: k of 5 buds broke on tree i. */
static void set_buds(setting *s, size_t n, const double k[])
{
    for (size_t i = 0; i < n; i++) {
        s->unit[i] = (uint32_t)i;
        s->k[i] = k[i];
        s->size[i] = 5.0;
        s->count[i] = 5.0 - k[i];
        s->count[i + n] = k[i];
    }
}

/* Four trees a treatment: none broke without, 40 per cent scored, all sprayed. */
static void five_buds(setting *s)
{
    static const double k[12] = {0, 0, 0, 0, 2, 1, 3, 2, 5, 5, 5, 5};
    memset(s, 0, sizeof *s);
    set_buds(s, 12, k);
    for (size_t i = 0; i < 12; i++) {
        s->code[i] = (uint32_t)(i / 4);
    }
    use_factor(s, 12, 3);
}

static qx_classes_spec spec_of(const setting *s)
{
    return (qx_classes_spec){
        .frame = &s->frame,
        .class_count = 2,
        .class_name = BUD,
        .count = s->count,
        .term_count = 1,
        .term = &s->term,
        .random = &TREE,
    };
}

static void make_design(qx_ctx *cx, const setting *s, qx_arena *arena, qx_design *design)
{
    assert_ok(cx, qx_design_make(cx, arena, &s->frame, 1, &s->term, design));
}

static void all_or_none_is_told(void **state)
{
    qx_ctx *cx = *state;
    setting s;
    qx_design design;
    qx_separation got;
    five_buds(&s);
    qx_arena *arena = qx_arena_new();
    make_design(cx, &s, arena, &design);
    assert_ok(cx, qx_separation_shares(cx, arena, &design, s.k, s.size, &got));
    assert_true(got.found);
    assert_false(got.complete);
    for (size_t i = 0; i < 12; i++) {
        assert_true(got.row[i] == (i < 4 || i >= 8));
    }
    assert_true(got.column[0] && got.column[1] && got.column[2]);
    assert_string_equal(got.words,
                        "treatment=none (none of 20), treatment=sprayed (all 20 of 20)");
    assert_non_null(strstr(qx_separation_sentence(arena, &got), "treatment=sprayed"));
    qx_arena_free(arena);
}

/* One bud that slept among the sprayed and one that broke without: nothing is apart. */
static void overlap_is_not(void **state)
{
    qx_ctx *cx = *state;
    setting s;
    qx_design design;
    qx_separation got;
    five_buds(&s);
    s.k[1] = 1.0;
    s.k[9] = 4.0;
    qx_arena *arena = qx_arena_new();
    make_design(cx, &s, arena, &design);
    assert_ok(cx, qx_separation_shares(cx, arena, &design, s.k, s.size, &got));
    assert_false(got.found);
    assert_string_equal(got.words, "");
    for (size_t i = 0; i < 12; i++) {
        assert_false(got.row[i]);
    }
    qx_arena_free(arena);
}

/* Albert & Anderson 1984: complete (every point apart), quasi-complete (apart but for a tie
 * on the border), overlap; here along one covariate, also when it is large and far off. */
static void along_a_covariate(void **state)
{
    static const double x[8] = {1, 2, 3, 4, 5, 6, 7, 8};
    static const double answer[3][8] = {
        {0, 0, 0, 0, 1, 1, 1, 1}, {0, 0, 0, 0, 1, 1, 1, 1}, {0, 0, 0, 1, 0, 1, 1, 1}};
    qx_ctx *cx = *state;
    for (size_t kind = 0; kind < 3; kind++) {
        for (size_t scale = 0; scale < 3; scale++) {
            static const double factor[3] = {1.0, 1e7, 1e-7};
            setting s;
            qx_design design;
            qx_separation got;
            memset(&s, 0, sizeof s);
            for (size_t i = 0; i < 8; i++) {
                const double tie = kind == 1 && i == 4 ? 4.0 : x[i];
                s.x[i] = factor[scale] * (1000.0 + tie);
                s.k[i] = answer[kind][i];
                s.size[i] = 1.0;
            }
            use_covariate(&s, 8);
            qx_arena *arena = qx_arena_new();
            make_design(cx, &s, arena, &design);
            assert_ok(cx, qx_separation_shares(cx, arena, &design, s.k, s.size, &got));
            assert_true(got.found == (kind < 2));
            assert_true(got.complete == (kind == 0));
            if (kind == 1) {
                assert_false(got.row[3]);
                assert_false(got.row[4]);
                assert_true(got.row[0] && got.row[7]);
            }
            qx_arena_free(arena);
        }
    }
}

static void mean_of_zero_is_told(void **state)
{
    qx_ctx *cx = *state;
    setting s;
    qx_design design;
    qx_separation got;
    five_buds(&s);
    s.k[8] = 0.0; /* one zero among the sprayed is none for the mean */
    qx_arena *arena = qx_arena_new();
    make_design(cx, &s, arena, &design);
    assert_ok(cx, qx_separation_counts(cx, arena, &design, s.k, &got));
    assert_true(got.found);
    assert_false(got.complete);
    for (size_t i = 0; i < 12; i++) {
        assert_true(got.row[i] == (i < 4));
    }
    assert_string_equal(got.words, "treatment=none (none in 4)");
    s.k[0] = 1.0;
    assert_ok(cx, qx_separation_counts(cx, arena, &design, s.k, &got));
    assert_false(got.found);
    s.k[0] = -1.0;
    assert_fails(
        cx, qx_separation_counts(cx, arena, &design, s.k, &got), QX_E_INPUT, "row 1");
    s.k[0] = 6.0;
    assert_fails(cx,
                 qx_separation_shares(cx, arena, &design, s.k, s.size, &got),
                 QX_E_INPUT,
                 "row 1");
    qx_arena_free(arena);
}

/* In one classification Jeffreys' prior adds one half to each cell (Firth 1993, Biometrika
 * 80:27-38, sec. 3.3, the logistic of Haldane and Anscombe): log odds are exact. */
static void one_way_adds_a_half(void **state)
{
    qx_ctx *cx = *state;
    setting s;
    qx_classes *fit;
    five_buds(&s);
    const qx_classes_spec spec = spec_of(&s);
    assert_ok(cx, qx_multinomial_fit(cx, &spec, &fit));
    assert_true(fit->penalised);
    assert_true(fit->converged);
    const double none = log(0.5 / 20.5), scored = log(8.5 / 12.5), all = log(20.5 / 0.5);
    assert_near(fit->coef[0], none, 1e-9);
    assert_near(fit->coef[1], scored - none, 1e-9);
    assert_near(fit->coef[2], all - none, 1e-9);
    qx_classes_free(fit);
}

static void set_logistic(setting *s)
{
    memset(s, 0, sizeof *s);
    for (size_t i = 0; i < 8; i++) {
        s->x[i] = (double)i + 1.0;
        s->count[i] = i < 4 ? 1.0 : 0.0;
        s->count[i + 8] = i < 4 ? 0.0 : 1.0;
    }
    use_covariate(s, 8);
}

/* x = 1 ... 8, the lower half without and the upper with: complete separation. Values by an
 * independent maximisation of log L + 1/2 log|X'WX| in R 4.2.2 (optim, then Newton steps on
 * differences), profile by optimize and uniroot, chi-squared by pchisq. */
static void penalised_logistic(void **state)
{
    qx_ctx *cx = *state;
    static const double slope[2] = {0.0, 1.0};
    setting s;
    qx_classes *fit;
    qx_classes_test test;
    double lower, upper, L[2] = {0.0, 1.0};
    set_logistic(&s);
    const qx_classes_spec spec = spec_of(&s);
    assert_ok(cx, qx_multinomial_fit(cx, &spec, &fit));
    assert_true(fit->penalised);
    assert_digits(fit->coef[0], "-4.64734977", 7);
    assert_digits(fit->coef[1], "1.03274439", 7);
    assert_digits(sqrt(QX_AT(fit->covariance, 0, 0)), "3.19807985", 7);
    assert_digits(sqrt(QX_AT(fit->covariance, 1, 1)), "0.672664781", 7);
    assert_ok(
        cx,
        qx_classes_lrt(cx, fit, (qx_mat){.at = L, .rows = 1, .cols = 2, .ld = 1}, &test));
    assert_digits(test.chisq, "5.73568203", 8);
    assert_digits(test.p, "0.0166236112", 7);
    assert_string_equal(test.method, "penalised likelihood ratio");
    assert_ok(cx, qx_classes_interval(cx, fit, slope, 1, 0.95, &lower, &upper));
    assert_digits(lower, "0.134140563", 6);
    assert_digits(upper, "5.74649614", 6);
    qx_classes_free(fit);
}

/* Two groups of three grades, (3, 2, 0) and (0, 2, 4): quasi-complete. Values by an
 * independent maximisation in R as above, I the expected information of all three
 * parameters. */
static void penalised_grades(void **state)
{
    static const char *const grade[] = {"low", "medium", "high"};
    static const uint32_t code[6] = {0, 1, 2, 0, 1, 2}, group[6] = {0, 0, 0, 1, 1, 1};
    static const double times[6] = {3, 2, 0, 0, 2, 4};
    qx_ctx *cx = *state;
    setting s;
    qx_classes *fit;
    qx_classes_test test;
    double L[2] = {0.0, 1.0};
    memset(&s, 0, sizeof s);
    memcpy(s.code, group, sizeof group);
    use_factor(&s, 6, 2);
    qx_classes_spec spec = spec_of(&s);
    spec.count = NULL;
    spec.class_count = 3;
    spec.class_name = grade;
    spec.code = code;
    spec.times = times;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_true(fit->penalised);
    assert_digits(fit->coef[0], "0.243796821", 6);
    assert_digits(fit->coef[1], "2.87188784", 6);
    assert_digits(fit->coef[2], "3.36636771", 6);
    assert_ok(
        cx,
        qx_classes_lrt(cx, fit, (qx_mat){.at = L, .rows = 1, .cols = 2, .ld = 1}, &test));
    assert_digits(test.chisq, "6.70282951", 8);
    qx_classes_free(fit);
}

/* With trees: finite, and the three treatments in their order. */
static void finite_with_trees(void **state)
{
    qx_ctx *cx = *state;
    setting s;
    qx_classes *fit;
    five_buds(&s);
    qx_classes_spec spec = spec_of(&s);
    spec.random_count = 1;
    assert_ok(cx, qx_multinomial_fit(cx, &spec, &fit));
    assert_true(fit->penalised);
    assert_true(fit->converged);
    for (size_t j = 0; j < fit->p; j++) {
        assert_true(fabs(fit->coef[j]) < 12.0);
        assert_true(sqrt(QX_AT(fit->covariance, j, j)) < 12.0);
    }
    assert_true(fit->coef[1] > 1.0 && fit->coef[2] > fit->coef[1] + 1.0);
    qx_classes_free(fit);
}

/* Every tree all or nothing: the deviation of trees has no finite estimate, the fit has. */
static void finite_when_units_are_all_or_nothing(void **state)
{
    static const double k[12] = {0, 5, 0, 5, 5, 0, 5, 5, 0, 5, 0, 5};
    qx_ctx *cx = *state;
    setting s;
    qx_classes *fit;
    five_buds(&s);
    set_buds(&s, 12, k);
    qx_classes_spec spec = spec_of(&s);
    spec.random_count = 1;
    assert_ok(cx, qx_multinomial_fit(cx, &spec, &fit));
    assert_true(fit->penalised);
    assert_true(fit->component[0].variance > 1.0 && fit->component[0].variance < 400.0);
    for (size_t j = 0; j < fit->p; j++) {
        assert_true(fabs(fit->coef[j]) < 30.0);
        assert_true(isfinite(QX_AT(fit->covariance, j, j)));
    }
    qx_classes_free(fit);
}

/* The penalised fit of shares (model/glmm.h) is made by other code: the same estimates,
 * standard errors aside (expected information here), and the same ratio. */
static void same_as_shares(void **state)
{
    qx_ctx *cx = *state;
    setting s;
    qx_classes *classes;
    qx_glmm *shares;
    qx_classes_test test;
    qx_glmm_test other;
    double L[2] = {0.0, 1.0};
    const qx_mat hypothesis = {.at = L, .rows = 1, .cols = 2, .ld = 1};
    set_logistic(&s);
    for (size_t i = 0; i < 8; i++) {
        s.k[i] = s.count[i + 8];
        s.size[i] = 1.0;
    }
    const qx_classes_spec spec = spec_of(&s);
    assert_ok(cx, qx_multinomial_fit(cx, &spec, &classes));
    assert_ok(cx,
              qx_glmm_fit(cx,
                          &(qx_glmm_spec){.frame = &s.frame,
                                          .k = s.k,
                                          .size = s.size,
                                          .term_count = 1,
                                          .term = &s.term,
                                          .family = qx_family_find("binomial"),
                                          .link = QX_LINK_LOGIT,
                                          .penalise = true,
                                          .level = 0.95},
                          &shares));
    for (size_t j = 0; j < 2; j++) {
        assert_near(classes->coef[j], shares->beta[j], 1e-7);
    }
    assert_ok(cx, qx_classes_lrt(cx, classes, hypothesis, &test));
    assert_ok(cx, qx_glmm_test_rows(cx, shares, hypothesis, &other));
    assert_near(test.chisq, other.chisq, 1e-6);
    qx_glmm_free(shares);
    qx_classes_free(classes);
}

/* Counts in one classification: the prior adds one half to the sum of each treatment. */
static void counts_add_a_half(void **state)
{
    qx_ctx *cx = *state;
    setting s;
    qx_glmm *fit;
    five_buds(&s);
    assert_ok(cx,
              qx_glmm_fit(cx,
                          &(qx_glmm_spec){.frame = &s.frame,
                                          .k = s.k,
                                          .term_count = 1,
                                          .term = &s.term,
                                          .family = qx_family_find("poisson"),
                                          .link = QX_LINK_LOG,
                                          .penalise = true,
                                          .level = 0.95},
                          &fit));
    assert_near(fit->beta[0], log(0.5 / 4.0), 1e-8);
    assert_near(fit->beta[1], log(8.5 / 0.5), 1e-8);
    assert_near(fit->beta[2], log(20.5 / 0.5), 1e-8);
    qx_glmm_free(fit);
}

static qx_status shares_in_an_arena(qx_ctx *cx, void *given)
{
    setting *s = given;
    qx_design design;
    qx_separation got;
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory");
    }
    qx_status status = qx_design_make(cx, arena, &s->frame, 1, &s->term, &design);
    if (status == QX_OK) {
        status = qx_separation_shares(cx, arena, &design, s->k, s->size, &got);
    }
    qx_arena_free(arena);
    return status;
}

static qx_status penalised_fit(qx_ctx *cx, void *given)
{
    const setting *s = given;
    qx_classes_spec spec = spec_of(s);
    spec.random_count = 1;
    qx_classes *fit = NULL;
    QX_TRY(qx_multinomial_fit(cx, &spec, &fit));
    qx_classes_free(fit);
    return QX_OK;
}

static void survives_no_memory(void **state)
{
    setting s;
    (void)state;
    five_buds(&s);
    assert_true(fail_each_allocation(shares_in_an_arena, &s) > 0);
    assert_true(fail_each_allocation(penalised_fit, &s) > 0);
}

#define CASE(name)                                                                       \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        CASE(all_or_none_is_told),
        CASE(overlap_is_not),
        CASE(along_a_covariate),
        CASE(mean_of_zero_is_told),
        CASE(one_way_adds_a_half),
        CASE(penalised_logistic),
        CASE(penalised_grades),
        CASE(same_as_shares),
        CASE(counts_add_a_half),
        CASE(finite_with_trees),
        CASE(finite_when_units_are_all_or_nothing),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
