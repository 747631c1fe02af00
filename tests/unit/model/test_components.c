/* Profile intervals and restricted likelihood ratios of variance components. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/lmm_inner.h"
#include "numeric/dist.h"

#include "model_case.h"
#include "small_model.h"
#include "support.h"

/* Source: tests/reference/varcomp-dyestuff (Davies 1947; restricted likelihood ratio of
 * the case's expected.csv). */
static void dyestuff_likelihood_ratio(void **state)
{
    qx_ctx *cx = *state;
    const model_spelling how = {"varcomp-dyestuff", "yield", "", "batch", NULL};
    const reference_case *c = reference_open(cx, how.name);
    const qx_lmm_spec spec = model_case_spec(cx, c, &how);
    qx_lmm *fit;
    assert_ok(cx, qx_lmm_fit(cx, &spec, &fit));
    assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.95));
    reference_assert(c, "test.batch.restricted_lrt", fit->component[0].lrt);
    reference_assert(c, "test.batch.p_half", fit->component[0].p);
    qx_lmm_free(fit);
}

/* -2 restricted log-likelihood, free of constants, of one random factor with 6 groups of 5:
 * groups mean square on 5 df has expectation s + 5 b, the rest s on 24 df. */
static double two_mean_squares(double group, double rest, double b, double s)
{
    return 5.0 * log(s + 5.0 * b) + 5.0 * group / (s + 5.0 * b) + 24.0 * log(s) +
           24.0 * rest / s;
}

/* The limits are where that function, minimised over s, has risen by the quantile of
 * chi-square (mean squares of Davies 1947: 11271.5 and 2451.25). */
static void limits_stand_on_the_profile(void **state)
{
    qx_ctx *cx = *state;
    const model_spelling how = {"varcomp-dyestuff", "yield", "", "batch", NULL};
    const reference_case *c = reference_open(cx, how.name);
    const qx_lmm_spec spec = model_case_spec(cx, c, &how);
    const double group = 11271.5;
    const double rest = 2451.25;
    qx_lmm *fit;
    assert_ok(cx, qx_lmm_fit(cx, &spec, &fit));
    assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.9));
    const double b_hat = (group - rest) / 5.0;
    const double lowest = two_mean_squares(group, rest, b_hat, rest);
    const double limits[] = {fit->component[0].lower, fit->component[0].upper};
    for (size_t k = 0; k < 2; k++) {
        double best = (double)INFINITY;
        for (int i = 0; i < 100000; i++) {
            best =
                fmin(best, two_mean_squares(group, rest, limits[k], 1000.0 + 0.05 * i));
        }
        assert_near(best - lowest, qx_chisq_q(0.1, 1.0, QX_UPPER), 1e-7);
    }
    const double residual[] = {fit->component[1].lower, fit->component[1].upper};
    for (size_t k = 0; k < 2; k++) {
        double best = (double)INFINITY;
        for (int i = 0; i < 180000; i++) {
            best = fmin(best, two_mean_squares(group, rest, 0.05 * i, residual[k]));
        }
        assert_near(best - lowest, qx_chisq_q(0.1, 1.0, QX_UPPER), 1e-7);
    }
    qx_lmm_free(fit);
}

/* Least squares: (n - p) s2 / chi-square quantiles. */
static void least_squares_residual_has_its_chi_square_interval(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 61, 1.0, 1.0, 1.0);
    qx_lmm *fit;
    m->spec.random_count = 0;
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.95));
    const qx_component *c = &fit->component[0];
    /* 18 df: chi-square 8.231 and 31.526, printed in any table */
    assert_printed(fit->residual_ss / c->upper, "8.231");
    assert_printed(fit->residual_ss / c->lower, "31.526");
    qx_lmm_free(fit);
}

/* Every interval holds its estimate; a component at zero starts at zero with p = 1; wider
 * levels give wider intervals. */
static void intervals_hold_their_estimates(void **state)
{
    qx_ctx *cx = *state;
    size_t zeros = 0;
    for (uint64_t seed = 1; seed <= 40; seed++) {
        small_model *m = small_split_plot(cx, seed, 1.0, 0.3, 1.0);
        qx_lmm *fit;
        m->n = m->frame.n = 22;
        assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
        assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.8));
        for (size_t i = 0; i < 3; i++) {
            const qx_component narrow = fit->component[i];
            assert_true(narrow.lower <= narrow.variance &&
                        narrow.variance < narrow.upper);
            if (narrow.at_zero) {
                zeros++;
                assert_true(narrow.lower == 0.0 && narrow.lrt == 0.0 && narrow.p == 1.0);
            }
        }
        const double upper = fit->component[1].upper;
        assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.99));
        assert_true(fit->component[1].upper > upper);
        qx_lmm_free(fit);
    }
    assert_true(zeros > 5);
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(dyestuff_likelihood_ratio),
        TEST(limits_stand_on_the_profile),
        TEST(least_squares_residual_has_its_chi_square_interval),
        TEST(intervals_hold_their_estimates),
    };
    return cmocka_run_group_tests_name("model/components", tests, NULL, NULL);
}
