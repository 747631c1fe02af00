#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/looks.h"
#include "numeric/dist.h"
#include "numeric/rng.h"
#include "support.h"

/* Limits for 2 to 5 equally spaced looks, two-sided 5 %, spending function of the
 * O'Brien-Fleming kind: printed with the programs of Reboussin, DeMets, Kim & Lan 2000,
 * Controlled Clinical Trials 21:190-207. The numbers are from memory; they print 3.3569
 * for the second of five, where R's integrate() gives 3.35701192157 as we do. */
static void equally_spaced_looks(void **state)
{
    static const char *const printed[4][5] = {
        {"2.9626", "1.9686"},
        {"3.7103", "2.5114", "1.9930"},
        {"4.3326", "2.9631", "2.3590", "2.0141"},
        {"4.8769", "3.357", "2.6803", "2.2898", "2.0310"}};
    for (size_t K = 2; K <= 5; K++) {
        double share[5];
        qx_look look[5];
        for (size_t k = 0; k < K; k++) {
            share[k] = (double)(k + 1) / (double)K;
        }
        assert_int_equal(qx_looks_limits(*state, K, share, 0.05, look), QX_OK);
        for (size_t k = 0; k < K; k++) {
            assert_printed(look[k].limit, printed[K - 2][k]);
        }
        assert_near(look[K - 1].spent, 0.05, 1e-14);
        if (K == 5) {
            assert_digits(look[1].limit, "3.35701192157", 10);
        }
    }
}

/* Two looks: 1 - P(|z1| < c1, |z2| < c2) of a bivariate normal, by a rectangle of the
 * distribution over z1 (independent quadrature: trapezoid in 4,000 steps). */
static double two_looks(double t, double c1, double c2)
{
    const double r = sqrt(t), rest = sqrt(1.0 - t);
    double sum = 0.0;
    for (int i = 0; i <= 4000; i++) {
        const double z = c1 * (2.0 * i / 4000.0 - 1.0);
        const double inside = qx_normal_p((c2 - r * z) / rest, QX_LOWER) -
                              qx_normal_p((-c2 - r * z) / rest, QX_LOWER);
        sum += (i == 0 || i == 4000 ? 0.5 : 1.0) * qx_normal_density(z) * inside;
    }
    return 1.0 - sum * 2.0 * c1 / 4000.0;
}

static void two_looks_by_quadrature(void **state)
{
    for (double t = 0.1; t < 0.95; t += 0.16) {
        const double share[2] = {t, 1.0}, nominal[2] = {0.05, 0.05};
        const double c = qx_normal_q(0.025, QX_UPPER);
        double error;
        qx_look look[2];
        assert_int_equal(qx_looks_error(*state, 2, share, nominal, &error), QX_OK);
        assert_near(error, two_looks(t, c, c), 1e-6);
        assert_int_equal(qx_looks_limits(*state, 2, share, 0.05, look), QX_OK);
        if (!isinf(look[0].limit)) {
            assert_near(two_looks(t, look[0].limit, look[1].limit), 0.05, 1e-5);
        }
    }
}

/* Testing at 5 % at each of K equally spaced looks: Armitage, McPherson & Rowe 1969, table
 * 2: 0.083, 0.107, 0.126, 0.142 for 2, 3, 4, 5 looks (from memory, printed in many books). */
static void repeated_tests_at_five_per_cent(void **state)
{
    static const char *const printed[] = {"0.083", "0.107", "0.126", "0.142"};
    const double nominal[5] = {0.05, 0.05, 0.05, 0.05, 0.05};
    for (size_t K = 2; K <= 5; K++) {
        double share[5], error;
        for (size_t k = 0; k < K; k++) {
            share[k] = (double)(k + 1) / (double)K;
        }
        assert_int_equal(qx_looks_error(*state, K, share, nominal, &error), QX_OK);
        assert_printed(error, printed[K - 2]);
    }
}

/* 200,000 random walks: what is called out agrees within 4 Monte Carlo errors. */
static void by_simulation(void **state)
{
    enum { LOOKS = 3, WALKS = 200000 };
    const double share[LOOKS] = {0.3, 0.55, 1.0}, drift = 2.2;
    double nominal[LOOKS], expected;
    qx_look look[LOOKS];
    assert_int_equal(qx_looks_limits(*state, LOOKS, share, 0.05, look), QX_OK);
    for (size_t k = 0; k < LOOKS; k++) {
        nominal[k] = look[k].nominal;
    }
    assert_int_equal(qx_looks_power(*state, LOOKS, share, nominal, drift, &expected),
                     QX_OK);
    qx_rng rng = qx_rng_seeded(20);
    size_t called = 0;
    for (size_t i = 0; i < WALKS; i++) {
        double s = 0.0, at = 0.0;
        bool out = false;
        for (size_t k = 0; k < LOOKS; k++) {
            s += drift * (share[k] - at) + sqrt(share[k] - at) * qx_rng_normal(&rng);
            at = share[k];
            out = out || fabs(s) / sqrt(at) >= look[k].limit;
        }
        called += (size_t)out;
    }
    const double got = (double)called / WALKS;
    assert_true(fabs(got - expected) < 4.0 * sqrt(expected * (1.0 - expected) / WALKS));
}

/* t tests: with endless df the recursion's answer; one look is at its level for any df; two
 * looks at 5 % cost more than 5 % (all within 4 Monte Carlo errors). */
static void t_tests_by_simulation(void **state)
{
    enum { TRIALS = 100000 };
    const double share[2] = {0.5, 1.0}, nominal[2] = {0.05, 0.05};
    const double endless[2] = {INFINITY, INFINITY}, few[2] = {6.0, 14.0};
    const double error = 4.0 * sqrt(0.08 * 0.92 / TRIALS);
    double exact, got;
    assert_int_equal(qx_looks_error(*state, 2, share, nominal, &exact), QX_OK);
    assert_int_equal(
        qx_looks_error_of_t(*state, 2, share, endless, nominal, TRIALS, 1, &got), QX_OK);
    assert_true(fabs(got - exact) < error);
    assert_int_equal(
        qx_looks_error_of_t(*state, 1, &share[1], few, nominal, TRIALS, 2, &got), QX_OK);
    assert_true(fabs(got - 0.05) < error);
    assert_int_equal(qx_looks_error_of_t(*state, 2, share, few, nominal, TRIALS, 3, &got),
                     QX_OK);
    assert_true(got > 0.07 && got < 0.09);
    const double fallen[2] = {14.0, 6.0};
    assert_int_equal(
        qx_looks_error_of_t(*state, 2, share, fallen, nominal, TRIALS, 3, &got),
        QX_E_ARG);
}

/* One look is an ordinary test; a look that may spend nothing changes nothing. */
static void ends(void **state)
{
    const double one[1] = {1.0}, early[2] = {0.001, 1.0};
    const double fallen[2] = {0.5, 0.4}, beyond[1] = {1.2};
    qx_look look[2];
    assert_int_equal(qx_looks_limits(*state, 1, one, 0.05, look), QX_OK);
    assert_near(look[0].nominal, 0.05, 1e-10);
    assert_int_equal(qx_looks_limits(*state, 2, early, 0.05, look), QX_OK);
    assert_true(isinf(look[0].limit) && look[0].nominal == 0.0);
    assert_near(look[1].nominal, 0.05, 1e-9);
    assert_int_equal(qx_looks_limits(*state, 2, fallen, 0.05, look), QX_E_ARG);
    qx_ctx_clear(*state);
    assert_int_equal(qx_looks_limits(*state, 1, beyond, 0.05, look), QX_E_ARG);
    qx_ctx_clear(*state);
    assert_int_equal(qx_looks_limits(*state, 0, one, 0.05, look), QX_E_ARG);
    qx_ctx_clear(*state);
    assert_int_equal(qx_looks_limits(*state, 1, one, 1.0, look), QX_E_ARG);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {WITH_CTX(equally_spaced_looks),
                                       WITH_CTX(two_looks_by_quadrature),
                                       WITH_CTX(repeated_tests_at_five_per_cent),
                                       WITH_CTX(by_simulation),
                                       WITH_CTX(t_tests_by_simulation),
                                       WITH_CTX(ends)};
    return cmocka_run_group_tests_name("model/looks", tests, NULL, NULL);
}
