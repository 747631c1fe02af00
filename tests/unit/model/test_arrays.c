/* A fit from plain arrays is the fit of the spec that it stands for, and bad arrays are told.
 * Oats: case splitplot-oats (lme4, pbkrtest, emmeans; SOURCE.md of the case). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/arrays.h"

#include "reference_case.h"
#include "support.h"

/* Plots are told by block and variety. */
static qx_arrays_fit *oats(qx_ctx *cx, const reference_case *c)
{
    static uint32_t plot[72];
    qx_codes fixed[2] = {{.name = "variety"}, {.name = "nitrogen"}};
    qx_codes random[2] = {{.name = "block"}, {"plot", 18, plot}};
    qx_arrays_fit *fit = NULL;
    fixed[0].code = reference_codes(c, "variety", &fixed[0].levels);
    fixed[1].code = reference_codes(c, "nitrogen", &fixed[1].levels);
    random[0].code = reference_codes(c, "block", &random[0].levels);
    for (size_t i = 0; i < 72; i++) {
        plot[i] = random[0].code[i] * 3 + fixed[0].code[i];
    }
    const qx_arrays data = {.n = reference_rows(c),
                            .y = reference_numbers(c, "yield"),
                            .fixed_count = 2,
                            .fixed = fixed,
                            .random_count = 2,
                            .random = random};
    assert_ok(cx, qx_arrays_fit_new(cx, &data, &fit));
    return fit;
}

static void oats_by_lme4(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "splitplot-oats");
    qx_arrays_fit *f = oats(cx, c);
    qx_joint_test t;
    reference_assert(c, "varcomp.block", f->fit->component[0].variance);
    reference_assert(c, "varcomp.block:variety", f->fit->component[1].variance);
    assert_ok(cx, qx_arrays_test(cx, f, 0, &t));
    reference_assert(c, "marginal.variety.kr.F", t.f);
    assert_ok(cx, qx_arrays_test(cx, f, 1, &t));
    reference_assert(c, "marginal.nitrogen.kr.F", t.f);
    qx_arrays_fit_free(f);
}

static void pairs_are_differences_of_means(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "splitplot-oats");
    qx_arrays_fit *f = oats(cx, c);
    qx_comparison pair[6];
    qx_estimate a, b;
    assert_ok(cx, qx_arrays_pairs(cx, f, 1, QX_ADJUST_TUKEY, 0.95, pair));
    for (size_t l = 0, k = 0; l < 4; l++) {
        for (size_t m = 0; m < l; m++, k++) {
            assert_ok(cx, qx_arrays_mean(cx, f, 1, l, &a));
            assert_ok(cx, qx_arrays_mean(cx, f, 1, m, &b));
            assert_near(pair[k].estimate, a.estimate - b.estimate, 1e-9);
            assert_true(pair[k].p_adjusted >= pair[k].p);
        }
    }
    qx_arrays_fit_free(f);
}

static void bad_arrays_are_told(void **state)
{
    qx_ctx *cx = *state;
    static const double y[4] = {1, 2, 3, 5};
    static const uint32_t code[4] = {0, 1, 0, 1}, wrong[4] = {0, 2, 0, 1};
    const qx_codes good = {"a", 2, code}, bad = {"a", 2, wrong}, none = {"a", 0, code};
    const qx_codes many[5] = {good, good, good, good, good};
    qx_arrays_fit *f = NULL;
    qx_comparison pair[1];
    qx_estimate e;
    assert_fails(
        cx, qx_arrays_fit_new(cx, &(qx_arrays){.n = 0, .y = y}, &f), QX_E_ARG, "no rows");
    assert_fails(
        cx,
        qx_arrays_fit_new(
            cx, &(qx_arrays){.n = 4, .y = y, .fixed_count = 1, .fixed = &bad}, &f),
        QX_E_ARG,
        "row 2: a has code 2, expected 0 to 1");
    assert_fails(
        cx,
        qx_arrays_fit_new(
            cx, &(qx_arrays){.n = 4, .y = y, .fixed_count = 1, .fixed = &none}, &f),
        QX_E_ARG,
        "no level");
    assert_fails(
        cx,
        qx_arrays_fit_new(
            cx, &(qx_arrays){.n = 4, .y = y, .fixed_count = 5, .fixed = many}, &f),
        QX_E_ARG,
        "at most 4");
    assert_ok(
        cx,
        qx_arrays_fit_new(
            cx, &(qx_arrays){.n = 4, .y = y, .fixed_count = 1, .fixed = &good}, &f));
    assert_fails(cx, qx_arrays_mean(cx, f, 0, 2, &e), QX_E_ARG, "level 2");
    assert_fails(cx, qx_arrays_mean(cx, f, 1, 0, &e), QX_E_ARG, "factor number 1");
    assert_fails(cx,
                 qx_arrays_pairs(cx, f, 0, QX_ADJUST_DUNNETT, 0.95, pair),
                 QX_E_ARG,
                 "Dunnett");
    qx_arrays_fit_free(f);
    qx_arrays_fit_free(NULL);
}

/* An interaction cell without data: its main effects have no equal-weighted mean. */
static void what_cannot_be_estimated(void **state)
{
    qx_ctx *cx = *state;
    static const double y[10] = {1, 2, 3, 5, 4, 2, 6, 3, 2, 4};
    static const uint32_t a[10] = {0, 0, 0, 1, 1, 0, 0, 0, 1, 1};
    static const uint32_t b[10] = {0, 1, 2, 0, 1, 0, 1, 2, 0, 1}; /* never 1 with 2 */
    const qx_codes fixed[2] = {{"a", 2, a}, {"b", 3, b}};
    const qx_arrays data = {.n = 10, .y = y, .fixed_count = 2, .fixed = fixed};
    qx_arrays_fit *f = NULL;
    qx_comparison pair[1];
    qx_estimate e;
    assert_ok(cx, qx_arrays_fit_new(cx, &data, &f));
    assert_ok(cx, qx_arrays_mean(cx, f, 0, 0, &e));
    assert_fails(
        cx, qx_arrays_mean(cx, f, 0, 1, &e), QX_E_RANK, "level 1 cannot be estimated");
    assert_ok(cx, qx_arrays_pairs(cx, f, 0, QX_ADJUST_TUKEY, 0.95, pair));
    assert_true(isnan(pair[0].estimate) && isnan(pair[0].p));
    qx_arrays_fit_free(f);
}

static qx_status fit_and_free(qx_ctx *cx, void *given)
{
    static const double y[6] = {1, 2, 3, 5, 4, 2};
    static const uint32_t a[6] = {0, 1, 0, 1, 0, 1}, b[6] = {0, 0, 1, 1, 2, 2};
    const qx_codes fixed = {"a", 2, a}, random = {"b", 3, b};
    const qx_arrays data = {6, y, 1, &fixed, 1, &random, QX_KENWARD_ROGER};
    qx_arrays_fit *f = NULL;
    qx_joint_test t;
    (void)given;
    QX_TRY(qx_arrays_fit_new(cx, &data, &f));
    const qx_status status = qx_arrays_test(cx, f, 0, &t);
    qx_arrays_fit_free(f);
    return status;
}

static void survives_no_memory(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(fit_and_free, NULL) > 20);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(oats_by_lme4, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            pairs_are_differences_of_means, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            bad_arrays_are_told, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            what_cannot_be_estimated, support_ctx_new, support_ctx_free),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests_name("model/arrays", tests, NULL, NULL);
}
