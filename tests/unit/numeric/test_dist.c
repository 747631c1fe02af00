/* Distributions against mpmath 1.3.0 at 30 digits (incomplete beta and gamma functions by
 * series, no statistical library), printed tables, and the round from p to q and back. */
#include "test.h"

#include <stdio.h>
#include <unistd.h>

#include "numeric/dist.h"

static void tails_have_their_digits(void **state)
{
    (void)state;
    assert_digits(qx_normal_p(10.0, QX_UPPER), "7.6198530241605261e-24", 14);
    assert_digits(qx_normal_p(-1.5, QX_LOWER), "0.066807201268858066", 15);
    assert_digits(qx_t_p(5.0, 3.0, QX_UPPER), "0.0076962190366511505", 13);
    assert_digits(qx_t_two_sided(-5.0, 3.0), "0.015392438073302301", 13);
    assert_digits(qx_t_p(40.0, 12.0, QX_UPPER), "1.9256147903860169e-14", 12);
    assert_digits(qx_t_p(-2.0, 0.5, QX_LOWER), "0.22275744509156562", 13);
    assert_digits(qx_f_p(3.0, 2.0, 10.0, QX_UPPER), "0.095367431640625", 14);
    assert_digits(qx_f_p(1000.0, 4.0, 12.0, QX_UPPER), "4.9992530878293957e-15", 12);
    assert_digits(qx_f_p(0.01, 3.0, 7.0, QX_LOWER), "0.0015047529598882999", 12);
    assert_digits(qx_chisq_p(50.0, 4.0, QX_UPPER), "3.6108654048906454e-10", 13);
    assert_digits(qx_chisq_p(0.1, 3.0, QX_LOWER), "0.0081625762681235215", 13);
    assert_digits(qx_beta_p(0.2, 2.5, 0.7, QX_LOWER), "0.010532224589409257", 13);
}

static void counts_have_their_digits(void **state)
{
    (void)state;
    assert_digits(qx_binomial_density(3, 10, 0.2), "0.201326592", 14);
    assert_digits(qx_binomial_p(3, 10, 0.2, QX_UPPER), "0.1208738816", 14);
    assert_digits(qx_poisson_density(4, 2.5), "0.13360188578108528", 14);
    assert_digits(qx_poisson_p(4, 2.5, QX_UPPER), "0.10882198108584876", 14);
    assert_true(qx_binomial_density(2.5, 10, 0.2) == 0.0);
    assert_true(qx_binomial_density(-1, 10, 0.2) == 0.0);
    assert_true(qx_binomial_density(11, 10, 0.2) == 0.0);
    assert_true(qx_poisson_density(2.5, 1.0) == 0.0);
    assert_true(qx_binomial_p(2.5, 10, 0.2, QX_LOWER) ==
                qx_binomial_p(2, 10, 0.2, QX_LOWER));
}

static void special_functions_have_their_digits(void **state)
{
    (void)state;
    assert_digits(qx_lgamma(0.5), "0.57236494292470009", 14);
    assert_digits(qx_lgamma(1000.5), "5908.6741758486775", 14);
    assert_digits(qx_digamma(0.3), "-3.502524222200133", 13);
    assert_digits(qx_trigamma(0.3), "12.24536454610773", 13);
    assert_digits(qx_lbeta(2.5, 0.7), "-0.33985471015032327", 13);
    assert_digits(qx_lchoose(50, 20), "31.483914142189383", 14);
}

/* Source: percentage points as printed in the common tables (Fisher & Yates, Statistical
 * Tables, tables III to V), from memory. */
static void quantiles_are_the_printed_ones(void **state)
{
    (void)state;
    assert_printed(qx_normal_q(0.975, QX_LOWER), "1.959964");
    assert_printed(qx_t_q(0.025, 10.0, QX_UPPER), "2.228");
    assert_printed(qx_t_q(0.005, 4.0, QX_UPPER), "4.604");
    assert_printed(qx_chisq_q(0.05, 4.0, QX_UPPER), "9.488");
    assert_printed(qx_f_q(0.05, 3.0, 20.0, QX_UPPER), "3.10");
    assert_printed(qx_f_q(0.01, 4.0, 12.0, QX_UPPER), "5.41");
}

static void infinite_degrees_of_freedom_are_limits(void **state)
{
    const double inf = (double)INFINITY;
    (void)state;
    assert_near(qx_t_p(1.5, inf, QX_UPPER), qx_normal_p(1.5, QX_UPPER), 1e-15);
    assert_near(qx_t_q(0.3, inf, QX_LOWER), qx_normal_q(0.3, QX_LOWER), 1e-15);
    assert_digits(qx_f_p(3.0, 2.0, inf, QX_UPPER), "0.049787068367863943", 14);
    assert_near(
        qx_f_q(0.1, 3.0, inf, QX_UPPER), qx_chisq_q(0.1, 3.0, QX_UPPER) / 3.0, 1e-14);
    assert_near(
        qx_f_q(0.1, inf, 8.0, QX_UPPER), 8.0 / qx_chisq_q(0.1, 8.0, QX_LOWER), 1e-14);
    assert_true(qx_f_q(0.1, inf, inf, QX_UPPER) == 1.0);
}

/* A quantile is right when its probability is: p itself is the expected value. */
static void check_of_one_shape(double p, double df, qx_tail tail)
{
    const double t = qx_t_q(p, df, tail);
    if (isfinite(t)) { /* 1e-200 with 0.2 df is beyond a double */
        assert_near(qx_t_p(t, df, tail), p, 1e-10);
    }
    const double x = qx_chisq_q(p, df, tail);
    if (x > 1e-300) {
        assert_near(qx_chisq_p(x, df, tail), p, 1e-10);
    }
}

static void check_of_two_shapes(double p, double a, double b, qx_tail tail)
{
    const double x = qx_f_q(p, a, b, tail);
    if (x > 1e-300 && x < 1e300) {
        assert_near(qx_f_p(x, a, b, tail), p, 1e-10);
    }
    const double y = qx_beta_q(p, a, b, tail);
    /* Next to 1 a double has no room for the upper tail's place. */
    if (y > 1e-300 && y < 0.999) {
        assert_near(qx_beta_p(y, a, b, tail), p, 1e-10);
    }
}

static void check_tail(double p, qx_tail tail)
{
    static const double shape[] = {0.2, 0.5, 1.0, 3.0, 30.0, 1000.0};
    assert_near(qx_normal_p(qx_normal_q(p, tail), tail), p, 1e-12);
    for (size_t a = 0; a < QX_COUNT(shape); a++) {
        check_of_one_shape(p, shape[a], tail);
        for (size_t b = 0; b < QX_COUNT(shape); b++) {
            check_of_two_shapes(p, shape[a], shape[b], tail);
        }
    }
}

static void quantiles_undo_probabilities(void **state)
{
    static const double p[] = {1e-200, 1e-12, 1e-3, 0.05, 0.3, 0.5, 0.7, 0.95, 0.999};
    (void)state;
    for (size_t i = 0; i < QX_COUNT(p); i++) {
        check_tail(p[i], QX_LOWER);
        check_tail(p[i], QX_UPPER);
    }
}

static void ends_are_ends(void **state)
{
    (void)state;
    assert_true(isinf(qx_f_q(0.0, 2, 3, QX_UPPER)) && qx_f_q(1.0, 2, 3, QX_UPPER) == 0.0);
    assert_true(isinf(qx_f_q(1.0, 2, 3, QX_LOWER)) && qx_f_q(0.0, 2, 3, QX_LOWER) == 0.0);
    assert_true(qx_beta_q(1.0, 2, 3, QX_LOWER) == 1.0);
    assert_true(qx_beta_q(0.0, 2, 3, QX_LOWER) == 0.0);
    assert_true(qx_normal_q(0.0, QX_LOWER) < 0.0 && isinf(qx_normal_q(0.0, QX_LOWER)));
    assert_true(qx_f_p(-1.0, 2, 3, QX_UPPER) == 1.0);
    assert_true(qx_beta_p(2.0, 2, 3, QX_LOWER) == 1.0);
}

static void bad_arguments_give_not_a_number(void **state)
{
    const double nan = (double)NAN;
    const double inf = (double)INFINITY;
    (void)state;
    assert_true(isnan(qx_normal_p(nan, QX_LOWER)) && isnan(qx_normal_density(nan)));
    assert_true(isnan(qx_normal_q(1.1, QX_LOWER)) && isnan(qx_normal_q(nan, QX_LOWER)));
    assert_true(isnan(qx_t_p(1, 0, QX_LOWER)) && isnan(qx_t_p(1, nan, QX_LOWER)));
    assert_true(isnan(qx_t_two_sided(nan, 3)) && isnan(qx_t_q(-0.1, 3, QX_LOWER)));
    assert_true(isnan(qx_f_p(1, -1, 3, QX_LOWER)) && isnan(qx_f_q(0.5, 1, 0, QX_LOWER)));
    assert_true(isnan(qx_chisq_p(1, inf, QX_LOWER)) && isnan(qx_chisq_density(1, -1)));
    assert_true(isnan(qx_chisq_q(2, 3, QX_LOWER)));
    assert_true(isnan(qx_beta_p(0.5, inf, 1, QX_LOWER)));
    assert_true(isnan(qx_beta_q(0.5, 0, 1, QX_LOWER)));
    assert_true(isnan(qx_binomial_density(1, 2.5, 0.5)));
    assert_true(isnan(qx_binomial_density(1, 2, 1.5)));
    assert_true(isnan(qx_binomial_p(1, -2, 0.5, QX_LOWER)));
    assert_true(isnan(qx_poisson_density(1, -1)) && isnan(qx_poisson_density(nan, 1)));
    assert_true(isnan(qx_poisson_p(1, inf, QX_LOWER)));
    assert_true(isnan(qx_lgamma(0)) && isnan(qx_digamma(-1)) && isnan(qx_trigamma(nan)));
    assert_true(isnan(qx_lbeta(0, 1)) && isnan(qx_lchoose(3, 4)));
    assert_true(isnan(qx_lchoose(2.5, 1)));
}

/* Every function on every mix of awkward arguments. */
static void ask_everything(void)
{
    static const double odd[] = {-1,
                                 0,
                                 1e-300,
                                 1e-5,
                                 0.3,
                                 0.5,
                                 1,
                                 2.5,
                                 3,
                                 50.5,
                                 1e4,
                                 1e10,
                                 1e300,
                                 (double)INFINITY,
                                 (double)NAN};
    for (size_t i = 0; i < QX_COUNT(odd); i++) {
        (void)qx_lgamma(odd[i]);
        (void)qx_digamma(odd[i]);
        (void)qx_trigamma(odd[i]);
        for (size_t j = 0; j < QX_COUNT(odd); j++) {
            (void)qx_t_p(odd[i], odd[j], QX_UPPER);
            (void)qx_t_q(odd[i], odd[j], QX_UPPER);
            (void)qx_chisq_p(odd[i], odd[j], QX_UPPER);
            (void)qx_chisq_q(odd[i], odd[j], QX_UPPER);
            (void)qx_chisq_density(odd[i], odd[j]);
            (void)qx_poisson_density(odd[i], odd[j]);
            (void)qx_poisson_p(odd[i], odd[j], QX_UPPER);
            (void)qx_lbeta(odd[i], odd[j]);
            (void)qx_lchoose(odd[i], odd[j]);
            for (size_t k = 0; k < QX_COUNT(odd); k++) {
                (void)qx_f_p(odd[i], odd[j], odd[k], QX_UPPER);
                (void)qx_f_q(odd[i], odd[j], odd[k], QX_UPPER);
                (void)qx_beta_p(odd[i], odd[j], odd[k], QX_LOWER);
                (void)qx_beta_q(odd[i], odd[j], odd[k], QX_LOWER);
                (void)qx_binomial_density(odd[i], odd[j], odd[k]);
                (void)qx_binomial_p(odd[i], odd[j], odd[k], QX_UPPER);
            }
        }
    }
}

/* librmath prints to standard output when it is not content: that must not happen. */
static void nothing_is_printed(void **state)
{
    (void)state;
    FILE *caught = tmpfile();
    assert_non_null(caught);
    (void)fflush(stdout);
    const int kept = dup(STDOUT_FILENO);
    assert_true(kept >= 0);
    assert_true(dup2(fileno(caught), STDOUT_FILENO) >= 0);
    ask_everything();
    (void)fflush(stdout);
    assert_true(dup2(kept, STDOUT_FILENO) >= 0);
    (void)close(kept);
    (void)fseek(caught, 0, SEEK_END);
    const long printed = ftell(caught);
    (void)fclose(caught);
    assert_int_equal(printed, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tails_have_their_digits),
        cmocka_unit_test(counts_have_their_digits),
        cmocka_unit_test(special_functions_have_their_digits),
        cmocka_unit_test(quantiles_are_the_printed_ones),
        cmocka_unit_test(infinite_degrees_of_freedom_are_limits),
        cmocka_unit_test(quantiles_undo_probabilities),
        cmocka_unit_test(ends_are_ends),
        cmocka_unit_test(bad_arguments_give_not_a_number),
        cmocka_unit_test(nothing_is_printed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
