#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "classes_case.h"
#include "model/ordinal.h"
#include "support.h"

static const char *const GRADE[] = {"1", "2", "3", "4", "5"};

/* tests/reference/ordinal-clm-wine. */
static void wine_without_judges(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clm-wine");
    const qx_classes_spec spec = classes_case_wine(cx, c, "");
    qx_classes *fit;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_true(fit->converged);
    assert_false(fit->penalised);
    reference_assert(c, "fit.log_likelihood", fit->log_likelihood);
    classes_case_assert_coefs(c, "", fit);
    const char *const term[] = {"temp", "contact"};
    for (size_t t = 0; t < 2; t++) {
        char name[80];
        const qx_classes_test test = classes_case_lrt(cx, fit, term[t]);
        (void)snprintf(name, sizeof name, "lrt.%s.chisq", term[t]);
        reference_assert(c, name, test.chisq);
        (void)snprintf(name, sizeof name, "lrt.%s.p", term[t]);
        reference_assert(c, name, test.p);
        assert_int_equal(test.df, 1);
    }
    qx_classes_free(fit);
}

static void probabilities_of_wine(void **state)
{
    static const char *const factor[] = {"temp", "contact"};
    static const char *const cell[4][2] = {
        {"cold", "no"}, {"warm", "no"}, {"cold", "yes"}, {"warm", "yes"}};
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clm-wine");
    const qx_classes_spec spec = classes_case_wine(cx, c, "");
    qx_classes *fit;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    for (size_t i = 0; i < 4; i++) {
        double row[3], p[5];
        classes_case_row(cx, fit, 2, factor, cell[i], row);
        assert_ok(cx,
                  qx_classes_means(cx, fit, qx_mat_of(row, 1, 3), true, p, (qx_mat){0}));
        for (size_t k = 0; k < 5; k++) {
            char name[80];
            (void)snprintf(name,
                           sizeof name,
                           "probability.%s:%s.%s",
                           cell[i][0],
                           cell[i][1],
                           GRADE[k]);
            reference_assert(c, name, p[k]);
        }
    }
    qx_classes_free(fit);
}

static void wine_with_judges(qx_ctx *cx, size_t points, const char *prefix)
{
    const reference_case *c = reference_open(cx, "ordinal-clmm-wine");
    qx_classes_spec spec = classes_case_wine(cx, c, "judge");
    char name[80];
    qx_classes *fit;
    spec.quadrature = points;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_true(fit->converged);
    (void)snprintf(name, sizeof name, "%slog_likelihood", prefix);
    reference_assert(c, name, fit->log_likelihood);
    (void)snprintf(name, sizeof name, "%svarcomp.judge", prefix);
    reference_assert(c, name, fit->component[0].variance);
    assert_string_equal(fit->component[0].name, "judge");
    classes_case_assert_coefs(c, prefix, fit);
    const qx_classes_test test = classes_case_lrt(cx, fit, "temp");
    (void)snprintf(name, sizeof name, "%slrt.temp.chisq", prefix);
    reference_assert(c, name, test.chisq);
    (void)snprintf(name, sizeof name, "%slrt.temp.p", prefix);
    reference_assert(c, name, test.p);
    qx_classes_free(fit);
}

/* tests/reference/ordinal-clmm-wine. */
static void wine_with_judges_by_laplace(void **state)
{
    wine_with_judges(*state, 1, "laplace.");
}

static void wine_with_judges_by_quadrature(void **state)
{
    wine_with_judges(*state, 7, "agq7.");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            wine_without_judges, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            probabilities_of_wine, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            wine_with_judges_by_laplace, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            wine_with_judges_by_quadrature, support_ctx_new, support_ctx_free),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
