#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/zero_inflation.h"
#include "support.h"

#define ROWS 20

/* Invented counts of shoots on 20 limbs, two treatments of ten. */
typedef struct setting {
    double k[ROWS], times[ROWS];
    uint32_t code[ROWS], tree[ROWS];
    qx_factor factor[2];
    qx_term term;
    qx_frame frame;
} setting;

static const char *const LEVEL[] = {"none", "notched"};
static const qx_random_term TREE = {"tree", 1};

static void set_up(setting *s, const double k[])
{
    memset(s, 0, sizeof *s);
    for (size_t i = 0; i < ROWS; i++) {
        s->k[i] = k[i];
        s->times[i] = 1.0;
        s->code[i] = i >= 10;
        s->tree[i] = (uint32_t)(i % 5);
    }
    s->factor[0] =
        (qx_factor){.name = "notch", .level_count = 2, .level = LEVEL, .code = s->code};
    s->factor[1] = (qx_factor){.name = "tree", .level_count = 5, .code = s->tree};
    s->term = (qx_term){
        .name = "notch", .factor_count = 1, .factor = {0}, .number = QX_NO_COLUMN};
    s->frame = (qx_frame){.n = ROWS, .factor_count = 2, .factor = s->factor};
}

static qx_glmm *fit_counts(qx_ctx *cx, const setting *s, const char *family, bool random)
{
    qx_glmm *fit;
    assert_ok(cx,
              qx_glmm_fit(cx,
                          &(qx_glmm_spec){.frame = &s->frame,
                                          .k = s->k,
                                          .times = s->times[0] > 1.0 ? s->times : NULL,
                                          .term_count = 1,
                                          .term = &s->term,
                                          .random_count = random ? 1 : 0,
                                          .random = &TREE,
                                          .family = qx_family_find(family),
                                          .link = QX_LINK_LOG,
                                          .level = 0.95},
                          &fit));
    return fit;
}

static const double MANY_ZEROS[ROWS] = {0, 0, 0, 3, 2, 0, 0, 5, 1, 4,
                                        0, 0, 2, 6, 7, 0, 3, 0, 8, 4};
static const double FEW_ZEROS[ROWS] = {1, 2, 1, 3, 2, 1, 2, 3, 1, 2,
                                       3, 4, 2, 5, 3, 4, 3, 2, 4, 3};

/* van den Broek's formula computed in R 4.2.2 from glm(poisson), its score also by
 * differences of the log-likelihood with extra zeros. */
static void score_of_extra_zeros(void **state)
{
    qx_ctx *cx = *state;
    setting s;
    qx_zeros got;
    set_up(&s, MANY_ZEROS);
    qx_glmm *fit = fit_counts(cx, &s, "poisson", false);
    assert_ok(cx, qx_zero_inflation(cx, fit, s.k, NULL, 0, 1, &got));
    assert_string_equal(got.method, "score");
    assert_true(got.observed == 9.0 && got.things == 20.0);
    assert_digits(got.expected, "2.72917228516", 9);
    assert_digits(got.value, "37.9010073359", 9);
    assert_digits(got.p, "3.7213400775e-10", 7);
    assert_non_null(strstr(qx_zero_inflation_advice(fit->arena, &got, 0.05), "9 of 20"));
    qx_glmm_free(fit);
}

/* Rows that stand for several: the same as the rows written out. */
static void times_are_rows(void **state)
{
    qx_ctx *cx = *state;
    setting s;
    qx_zeros got;
    set_up(&s, MANY_ZEROS);
    qx_glmm *fit = fit_counts(cx, &s, "poisson", false);
    assert_ok(cx, qx_zero_inflation(cx, fit, s.k, NULL, 0, 1, &got));
    const double once = got.value;
    qx_glmm_free(fit);
    for (size_t i = 0; i < ROWS; i++) {
        s.times[i] = 3.0;
    }
    fit = fit_counts(cx, &s, "poisson", false);
    assert_ok(cx, qx_zero_inflation(cx, fit, s.k, s.times, 0, 1, &got));
    assert_true(got.things == 60.0 && got.observed == 27.0);
    assert_near(got.value, 3.0 * once, 1e-8);
    qx_glmm_free(fit);
    fit = fit_counts(cx, &s, "poisson", true);
    assert_ok(cx, qx_zero_inflation(cx, fit, s.k, s.times, 50, 1, &got));
    assert_string_equal(got.method, "none");
    assert_true(isnan(got.p));
    assert_string_equal(qx_zero_inflation_advice(fit->arena, &got, 0.05), "");
    qx_glmm_free(fit);
}

static void fewer_zeros_are_no_inflation(void **state)
{
    qx_ctx *cx = *state;
    setting s;
    qx_zeros got;
    set_up(&s, FEW_ZEROS);
    qx_glmm *fit = fit_counts(cx, &s, "poisson", false);
    assert_ok(cx, qx_zero_inflation(cx, fit, s.k, NULL, 0, 1, &got));
    assert_true(got.observed == 0.0 && got.p > 0.5);
    assert_string_equal(qx_zero_inflation_advice(fit->arena, &got, 0.05), "");
    qx_glmm_free(fit);
}

/* Zeros to be expected with trees: the integral over their normal effects, by plain sums. */
static double zeros_by_integral(const qx_glmm *fit)
{
    double sum = 0.0;
    for (size_t i = 0; i < ROWS; i++) {
        const double eta = fit->beta[0] + (i >= 10 ? fit->beta[1] : 0.0);
        for (int j = -400; j <= 400; j++) {
            const double z = 0.02 * j;
            sum += 0.02 * exp(-0.5 * z * z) / sqrt(2.0 * acos(-1.0)) *
                   exp(-exp(eta + fit->sd[0] * z));
        }
    }
    return sum;
}

/* With trees or a spread: by draws, the same on any number of cores. */
static void bootstrap_of_zeros(void **state)
{
    qx_ctx *cx = *state;
    setting s;
    qx_zeros got, again;
    set_up(&s, MANY_ZEROS);
    qx_glmm *fit = fit_counts(cx, &s, "poisson", true);
    assert_ok(cx, qx_zero_inflation(cx, fit, s.k, NULL, 400, 9, &got));
    assert_string_equal(got.method, "parametric bootstrap");
    /* Monte Carlo error of the mean of 400: below 0.2 */
    assert_true(fabs(got.expected - zeros_by_integral(fit)) < 0.6);
    assert_true(got.p > 0.0 && got.p < 0.5);
    assert_ok(cx, qx_zero_inflation(cx, fit, s.k, NULL, 400, 9, &again));
    assert_true(got.p == again.p && got.expected == again.expected);
    qx_glmm_free(fit);
    /* a negative binomial takes most of these zeros for its spread */
    fit = fit_counts(cx, &s, "negbin", false);
    assert_ok(cx, qx_zero_inflation(cx, fit, s.k, NULL, 400, 9, &got));
    assert_true(got.expected > 5.0);
    qx_glmm_free(fit);
}

#define CASE(name)                                                                       \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        CASE(score_of_extra_zeros),
        CASE(times_are_rows),
        CASE(fewer_zeros_are_no_inflation),
        CASE(bootstrap_of_zeros),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
