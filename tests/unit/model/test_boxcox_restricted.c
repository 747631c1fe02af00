/* Box-Cox powers with random parts.
 * Oats (Yates 1935; case splitplot-oats): estimate and limits found by R 4.2.2 with lme4
 * 1.1.31, REMLcrit of a fit to z(lambda), optimize() and uniroot(). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/boxcox.h"

#include "model_case.h"
#include "small_model.h"
#include "support.h"

static void oats_by_lme4(void **state)
{
    qx_ctx *cx = *state;
    const model_spelling how = {"splitplot-oats",
                                "yield",
                                "variety nitrogen variety:nitrogen",
                                "block block:variety",
                                NULL};
    const reference_case *c = reference_open(cx, how.name);
    const qx_lmm_spec spec = model_case_spec(cx, c, &how);
    qx_box_cox b;
    assert_ok(cx,
              qx_box_cox_restricted(cx, &spec, reference_numbers(c, "yield"), 0.95, &b));
    assert_printed(b.lambda, "0.592");
    assert_printed(b.lower, "-0.10297");
    assert_printed(b.upper, "1.27138");
}

/* y -> y^2 halves everything, y -> 10 y changes nothing. */
static void follows_powers_and_ignores_units(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 5, 0.3, 0.2, 0.4);
    double squared[64], tenfold[64], plain[64];
    qx_box_cox a, b, t;
    for (size_t i = 0; i < m->n; i++) {
        plain[i] = exp(0.2 * m->y[i]);
        squared[i] = plain[i] * plain[i];
        tenfold[i] = 10.0 * plain[i];
    }
    assert_ok(cx, qx_box_cox_restricted(cx, &m->spec, plain, 0.95, &a));
    assert_ok(cx, qx_box_cox_restricted(cx, &m->spec, squared, 0.95, &b));
    assert_ok(cx, qx_box_cox_restricted(cx, &m->spec, tenfold, 0.95, &t));
    assert_true(fabs(b.lambda - a.lambda / 2.0) < 1e-4);
    assert_true(fabs(t.lambda - a.lambda) < 1e-4);
    assert_true(isnan(a.lower) || isnan(b.lower) || fabs(b.lower - a.lower / 2.0) < 1e-4);
}

/* Random terms at zero: the restricted profile has the estimate of least squares. */
static void without_variation_of_units(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_new(cx, 12);
    const size_t a = small_factor(cx, m, "a", 3, 1);
    const size_t block = small_factor(cx, m, "block", 4, 3);
    /* by position inside the block, so that blocks are more alike than chance */
    static const double y[] = {3, 9, 20, 8, 21, 4, 22, 3.5, 8.5, 4.2, 19, 9.2};
    qx_box_cox with, without;
    qx_lmm *fit;
    small_term(m, "a", 1, a, 0);
    small_random(m, "block", block);
    for (size_t i = 0; i < 12; i++) {
        m->y[i] = log(y[i]);
    }
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_ok(cx, qx_box_cox_restricted(cx, &m->spec, y, 0.95, &with));
    assert_ok(cx, qx_box_cox_profile(cx, &fit->design, y, 0.95, &without));
    assert_true(fabs(with.lambda - without.lambda) < 1e-4);
    qx_lmm_free(fit);
}

static void refuses_values_at_or_below_zero(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 5, 1.0, 1.0, 1.0);
    double y[64];
    qx_box_cox b;
    for (size_t i = 0; i < m->n; i++) {
        y[i] = i == 4 ? 0.0 : 1.0 + (double)i;
    }
    assert_fails(cx,
                 qx_box_cox_restricted(cx, &m->spec, y, 0.95, &b),
                 QX_E_ARG,
                 "value 5 is not above zero");
    assert_fails(cx, qx_box_cox_restricted(cx, &m->spec, y, 1.0, &b), QX_E_ARG, "level");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(oats_by_lme4, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            follows_powers_and_ignores_units, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            without_variation_of_units, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            refuses_values_at_or_below_zero, support_ctx_new, support_ctx_free),
    };
    return cmocka_run_group_tests_name("model/boxcox_restricted", tests, NULL, NULL);
}
