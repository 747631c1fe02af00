/* Fits from a plan are those of qx_lmm_fit, number for number, in any thread. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "base/workers.h"
#include "model/refit.h"
#include "numeric/rng.h"

#include "model_case.h"
#include "support.h"

#define RESPONSES 60

static const model_spelling OATS = {.name = "splitplot-oats",
                                    .response = "yield",
                                    .fixed = "variety nitrogen variety:nitrogen",
                                    .random = "block block:variety"};
static const model_spelling PLANTS = {
    .name = "crd-plantgrowth", .response = "weight", .fixed = "group", .random = ""};

typedef struct many {
    const qx_lmm_plan *plan;
    const qx_lmm_spec *spec;
    size_t n;
    double value[RESPONSES][4]; /* p, denominator df, sigma2, log-likelihood */
} many;

/* Response number `task`: noise alone, so that components at zero are among them. */
static qx_status noise(qx_ctx *cx, size_t n, size_t task, double **out)
{
    qx_rng rng = qx_rng_stream(20261125, task);
    QX_NEW(cx, *out, n);
    for (size_t i = 0; i < n; i++) {
        (*out)[i] = qx_rng_normal(&rng);
    }
    return QX_OK;
}

static qx_status describe(qx_ctx *cx, qx_lmm *fit, double value[4])
{
    qx_mat rows;
    qx_joint_test test;
    qx_status status = qx_design_marginal(
        cx, fit->arena, &fit->design, fit->design.term_count - 1, &rows);
    status = status == QX_OK ? qx_lmm_test(cx, fit, rows, &test) : status;
    if (status == QX_OK) {
        value[0] = test.p;
        value[1] = test.den_df;
        value[2] = fit->component[fit->component_count - 1].variance;
        value[3] = fit->log_likelihood;
    }
    qx_lmm_free(fit);
    return status;
}

static qx_status refit(qx_ctx *cx, void *shared, size_t task)
{
    many *m = shared;
    double *y;
    qx_lmm *fit;
    QX_TRY(noise(cx, m->n, task, &y));
    QX_TRY(qx_lmm_refit(cx, m->plan, y, 3.0, &fit));
    return describe(cx, fit, m->value[task]);
}

static qx_status fit_alone(qx_ctx *cx, void *shared, size_t task)
{
    many *m = shared;
    double *y;
    qx_lmm *fit;
    qx_lmm_spec spec = *m->spec;
    QX_TRY(noise(cx, m->n, task, &y));
    spec.y = y;
    spec.shift = 3.0;
    QX_TRY(qx_lmm_fit(cx, &spec, &fit));
    return describe(cx, fit, m->value[task]);
}

static void check_case(qx_ctx *cx, const model_spelling *how, qx_df_method df)
{
    static many by_fit, by_plan;
    qx_lmm_plan *plan;
    qx_lmm_spec spec = model_case_spec(cx, reference_open(cx, how->name), how);
    spec.df = df;
    assert_ok(cx, qx_lmm_plan_new(cx, &spec, &plan));
    by_fit = (many){.spec = &spec, .n = spec.frame->n};
    by_plan = (many){.plan = plan, .n = spec.frame->n};
    const qx_workers_options one = {.threads = 1};
    assert_ok(cx, qx_workers_run(cx, &one, RESPONSES, fit_alone, &by_fit));
    static const size_t threads[] = {1, 4, 2};
    for (size_t i = 0; i < QX_COUNT(threads); i++) {
        const qx_workers_options options = {.threads = threads[i]};
        memset(by_plan.value, 0, sizeof by_plan.value);
        assert_ok(cx, qx_workers_run(cx, &options, RESPONSES, refit, &by_plan));
        assert_memory_equal(by_fit.value, by_plan.value, sizeof by_fit.value);
    }
    qx_lmm_plan_free(plan);
}

static void a_split_plot_by_every_method(void **state)
{
    check_case(*state, &OATS, QX_KENWARD_ROGER);
    check_case(*state, &OATS, QX_SATTERTHWAITE);
    check_case(*state, &OATS, QX_CONTAINMENT);
}

static void least_squares(void **state)
{
    check_case(*state, &PLANTS, QX_KENWARD_ROGER);
}

static void the_criterion_alone_is_that_of_the_fit(void **state)
{
    qx_ctx *cx = *state;
    qx_lmm_plan *plan;
    const qx_lmm_spec spec = model_case_spec(cx, reference_open(cx, OATS.name), &OATS);
    assert_ok(cx, qx_lmm_plan_new(cx, &spec, &plan));
    for (size_t k = 0; k < RESPONSES; k++) {
        double *y;
        double alone;
        qx_lmm *fit;
        assert_ok(cx, noise(cx, spec.frame->n, k, &y));
        assert_ok(cx, qx_lmm_refit(cx, plan, y, 0.0, &fit));
        assert_ok(cx, qx_lmm_refit_criterion(cx, plan, y, &alone));
        assert_near(alone, fit->reml_criterion, 1e-12);
        qx_lmm_free(fit);
        for (size_t i = 0; i < spec.frame->n; i++) {
            y[i] = 4.0;
        }
        assert_ok(cx, qx_lmm_refit_criterion(cx, plan, y, &alone));
        assert_true(isnan(alone));
    }
    qx_lmm_plan_free(plan);
}

static void a_response_that_is_not_finite_is_refused(void **state)
{
    qx_ctx *cx = *state;
    qx_lmm_plan *plan;
    qx_lmm *fit;
    double *y;
    const qx_lmm_spec spec = model_case_spec(cx, reference_open(cx, OATS.name), &OATS);
    assert_ok(cx, qx_lmm_plan_new(cx, &spec, &plan));
    assert_ok(cx, noise(cx, spec.frame->n, 0, &y));
    y[7] = NAN;
    assert_fails(cx, qx_lmm_refit(cx, plan, y, 0.0, &fit), QX_E_INPUT, "value 8");
    qx_lmm_plan_free(plan);
    qx_lmm_plan_free(NULL);
}

static qx_status plan_and_fit(qx_ctx *cx, void *given)
{
    const qx_lmm_spec *spec = given;
    qx_lmm_plan *plan;
    qx_lmm *fit;
    QX_TRY(qx_lmm_plan_new(cx, spec, &plan));
    const qx_status status = qx_lmm_refit(cx, plan, spec->y, spec->shift, &fit);
    if (status == QX_OK) {
        qx_lmm_free(fit);
    }
    qx_lmm_plan_free(plan);
    return status;
}

static void without_memory_it_fails(void **state)
{
    qx_lmm_spec spec = model_case_spec(*state, reference_open(*state, OATS.name), &OATS);
    assert_true(fail_each_allocation(plan_and_fit, &spec) > 20);
}

#define CTX_TEST(name)                                                                   \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(a_split_plot_by_every_method),
        CTX_TEST(least_squares),
        CTX_TEST(the_criterion_alone_is_that_of_the_fit),
        CTX_TEST(a_response_that_is_not_finite_is_refused),
        CTX_TEST(without_memory_it_fails),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
