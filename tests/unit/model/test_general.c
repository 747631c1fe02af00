/* Correlated dates, neighbours in the field and residual variances by level, against nlme
 * and an independent dense implementation (SOURCE.md of each case), and by derivatives. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "model/covariance.h"
#include "model_case.h"
#include "support.h"

static qx_lmm *fitted(qx_ctx *cx, const qx_lmm_spec *spec)
{
    qx_lmm *fit = NULL;
    assert_ok(cx, qx_lmm_fit(cx, spec, &fit));
    assert_true(fit->converged);
    assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.95));
    return fit;
}

/* Steps from the first value, in units of the shortest. */
static double *
steps(qx_ctx *cx, const reference_case *c, const char *column, double shortest)
{
    const size_t n = reference_rows(c);
    const double *x = reference_numbers(c, column);
    double *out = qx_arena_alloc(qx_ctx_scratch(cx), n, sizeof *out);
    assert_non_null(out);
    for (size_t i = 0; i < n; i++) {
        out[i] = (x[i] - x[0]) / shortest;
    }
    return out;
}

/* "unit" and "sex", "F" to "unit.marginal.sex.kr.F". */
static const char *named(qx_ctx *cx, const char *part, const char *term, const char *what)
{
    const char *name = qx_arena_printf(qx_ctx_scratch(cx),
                                       "%s%smarginal.%s.kr.%s",
                                       part,
                                       part[0] != '\0' ? "." : "",
                                       term,
                                       what);
    assert_non_null(name);
    return name;
}

static void
test_terms(qx_ctx *cx, const reference_case *c, const char *part, const qx_lmm *fit)
{
    for (size_t t = 0; t < fit->design.term_count; t++) {
        const char *term = fit->design.term[t].name;
        qx_mat L;
        qx_joint_test test;
        assert_ok(cx, qx_design_marginal(cx, fit->arena, &fit->design, t, &L));
        assert_ok(cx, qx_lmm_test(cx, fit, L, &test));
        reference_assert(c, named(cx, part, term, "F"), test.f);
        reference_assert(c, named(cx, part, term, "den_df"), test.den_df);
        if (reference_has(c, named(cx, part, term, "p"))) {
            reference_assert(c, named(cx, part, term, "p"), test.p);
        }
    }
}

static qx_lmm_spec
orthodont(qx_ctx *cx, const reference_case *c, qx_covariance *covariance)
{
    static const model_spelling how = {
        "dates-orthodont", "distance", "sex age sex:age", "child", NULL};
    qx_lmm_spec spec = model_case_spec(cx, c, &how);
    *covariance = QX_COVARIANCE_NONE;
    covariance->series = model_case_factor(spec.frame, "child");
    covariance->time = steps(cx, c, "age", 2.0);
    covariance->series_name = "age";
    spec.covariance = covariance;
    spec.random_count = 0;
    return spec;
}

static void dates_of_one_child(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "dates-orthodont");
    qx_covariance covariance;
    const qx_lmm_spec spec = orthodont(cx, c, &covariance);
    qx_lmm *fit = fitted(cx, &spec);
    double *row = qx_arena_alloc(qx_ctx_scratch(cx), fit->p, sizeof *row);
    assert_non_null(row);
    reference_assert(c, "alone.log_likelihood", fit->log_likelihood);
    reference_assert(c, "alone.nlme.log_likelihood", fit->log_likelihood);
    reference_assert(c, "alone.varcomp.residual", fit->component[0].variance);
    reference_assert(c, "alone.nlme.residual", fit->component[0].variance);
    reference_assert(c, "alone.correlation", fit->correlation[0].estimate);
    reference_assert(c, "alone.nlme.correlation", fit->correlation[0].estimate);
    for (size_t j = 0; j < fit->p; j++) {
        char name[100];
        qx_estimate e;
        memset(row, 0, fit->p * sizeof *row);
        row[j] = 1.0;
        assert_ok(cx, qx_lmm_contrast(cx, fit, row, j == 0 ? 1.0 : 0.0, &e));
        (void)snprintf(name, sizeof name, "alone.coefficient.%zu.estimate", j + 1);
        reference_assert(c, name, e.estimate);
        (void)snprintf(name, sizeof name, "alone.coefficient.%zu.kr_se", j + 1);
        reference_assert(c, name, e.se);
        (void)snprintf(name, sizeof name, "alone.coefficient.%zu.se", j + 1);
        reference_assert(c, name, sqrt(QX_AT(fit->phi, j, j)));
    }
    test_terms(cx, c, "alone", fit);
    qx_lmm_free(fit);
}

static void a_residual_for_each_level(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "dates-orthodont");
    qx_covariance covariance;
    const qx_lmm_spec spec = orthodont(cx, c, &covariance);
    covariance.residual_by = model_case_factor(spec.frame, "sex");
    qx_lmm *fit = fitted(cx, &spec);
    reference_assert(c, "by.log_likelihood", fit->log_likelihood);
    reference_assert(c, "by.nlme.log_likelihood", fit->log_likelihood);
    assert_string_equal(fit->component[0].name, "residual female");
    assert_string_equal(fit->component[1].name, "residual male");
    reference_assert(c, "by.varcomp.residual female", fit->component[0].variance);
    reference_assert(c, "by.varcomp.residual male", fit->component[1].variance);
    reference_assert(c, "by.nlme.residual.female", fit->component[0].variance);
    reference_assert(c, "by.nlme.residual.male", fit->component[1].variance);
    reference_assert(c, "by.correlation", fit->correlation[0].estimate);
    reference_assert(c, "by.residual_lrt", fit->residual_lrt);
    test_terms(cx, c, "by", fit);
    qx_lmm_free(fit);
}

static void dates_with_units(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "dates-orthodont");
    qx_covariance covariance;
    qx_lmm_spec spec = orthodont(cx, c, &covariance);
    spec.random_count = 1;
    qx_lmm *fit = fitted(cx, &spec);
    const qx_correlation *rho = &fit->correlation[0];
    reference_assert(c, "unit.log_likelihood", fit->log_likelihood);
    reference_assert(c, "unit.nlme.log_likelihood", fit->log_likelihood);
    reference_assert(c, "unit.varcomp.child", fit->component[0].variance);
    reference_assert(c, "unit.varcomp.residual", fit->component[1].variance);
    reference_assert(c, "unit.interval.residual.lower", fit->component[1].lower);
    reference_assert(c, "unit.interval.residual.upper", fit->component[1].upper);
    reference_assert(c, "unit.correlation.age.estimate", rho->estimate);
    reference_assert(c, "unit.correlation.age.lower", rho->lower);
    reference_assert(c, "unit.correlation.age.upper", rho->upper);
    reference_assert(c, "unit.correlation.age.lrt", rho->lrt);
    test_terms(cx, c, "unit", fit);
    qx_lmm_free(fit);
}

static void dates_at_unequal_steps(void **state)
{
    static const model_spelling how = {
        "dates-cefamandole", "log_concentration", "minute", "person", NULL};
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, how.name);
    qx_lmm_spec spec = model_case_spec(cx, c, &how);
    qx_covariance covariance = QX_COVARIANCE_NONE;
    covariance.series = model_case_factor(spec.frame, "person");
    covariance.time = steps(cx, c, "minute", 5.0);
    covariance.series_name = "minute";
    spec.covariance = &covariance;
    spec.random_count = 0;
    qx_lmm *fit = fitted(cx, &spec);
    reference_assert(c, "log_likelihood", fit->log_likelihood);
    reference_assert(c, "nlme.log_likelihood", fit->log_likelihood);
    reference_assert(c, "varcomp.residual", fit->component[0].variance);
    reference_assert(c, "correlation", fit->correlation[0].estimate);
    test_terms(cx, c, "", fit);
    qx_lmm_free(fit);
}

static void neighbours_in_the_field(void **state)
{
    static const model_spelling how = {"field-wheat2", "yield", "variety", "", NULL};
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, how.name);
    qx_lmm_spec spec = model_case_spec(cx, c, &how);
    qx_covariance covariance = QX_COVARIANCE_NONE;
    covariance.field = true;
    covariance.row = reference_numbers(c, "row");
    covariance.place = reference_numbers(c, "place");
    covariance.field_name = "row:place";
    covariance.row_name = "row";
    covariance.place_name = "place";
    spec.covariance = &covariance;
    qx_lmm *fit = fitted(cx, &spec);
    double *row = qx_arena_alloc(qx_ctx_scratch(cx), fit->p, sizeof *row);
    qx_estimate e;
    assert_non_null(row);
    row[1] = 1.0;
    reference_assert(c, "log_likelihood", fit->log_likelihood);
    reference_assert(c, "varcomp.row:place", fit->component[0].variance);
    reference_assert(c, "varcomp.residual", fit->component[1].variance);
    reference_assert(c, "correlation.row.estimate", fit->correlation[0].estimate);
    reference_assert(c, "correlation.place.estimate", fit->correlation[1].estimate);
    assert_ok(cx, qx_lmm_contrast(cx, fit, row, 0.0, &e));
    reference_assert(c, "coefficient.2.estimate", e.estimate);
    reference_assert(c, "coefficient.2.kr_se", e.se);
    assert_near(fit->component[0].lrt,
                2.0 *
                    (fit->log_likelihood - reference_value(c, "without.log_likelihood")),
                1e-8);
    test_terms(cx, c, "", fit);
    qx_lmm_free(fit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            dates_of_one_child, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            a_residual_for_each_level, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            dates_with_units, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            dates_at_unequal_steps, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            neighbours_in_the_field, support_ctx_new, support_ctx_free),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
