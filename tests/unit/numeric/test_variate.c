/* Draws against their distributions: frequencies by Pearson's chi-squared at one in a million,
 * moments within five standard errors. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "numeric/dist.h"
#include "numeric/variate.h"
#include "support.h"

#define DRAWS 20000
#define CELLS 64

/* Cells with fewer than five expected are joined with the next. */
static void
hold_frequencies(const double seen[CELLS], const double expected[CELLS], size_t cells)
{
    double chisq = 0, see = 0, expect = 0, df = -1;
    for (size_t i = 0; i < cells; i++) {
        see += seen[i];
        expect += expected[i];
        if (expect >= 5 || i + 1 == cells) {
            chisq += expect > 0 ? (see - expect) * (see - expect) / expect : 0;
            df += 1;
            see = expect = 0;
        }
    }
    assert_true(qx_chisq_p(chisq, df, QX_UPPER) > 1e-6);
}

static void binomial_frequencies(void **state)
{
    static const double p[] = {0.001, 0.3, 0.5, 0.97};
    qx_rng rng = qx_rng_seeded(1);
    (void)state;
    for (size_t i = 0; i < QX_COUNT(p); i++) {
        double seen[CELLS] = {0}, expected[CELLS] = {0};
        for (size_t j = 0; j < DRAWS; j++) {
            const double k = qx_variate_binomial(&rng, 20, p[i]);
            assert_true(k >= 0 && k <= 20);
            seen[(size_t)k]++;
        }
        for (size_t k = 0; k <= 20; k++) {
            expected[k] = DRAWS * qx_binomial_density((double)k, 20, p[i]);
        }
        hold_frequencies(seen, expected, 21);
    }
}

static void poisson_frequencies(void **state)
{
    static const double mean[] = {0.05, 1.7, 12.0};
    qx_rng rng = qx_rng_seeded(2);
    (void)state;
    for (size_t i = 0; i < QX_COUNT(mean); i++) {
        double seen[CELLS] = {0}, expected[CELLS] = {0};
        for (size_t j = 0; j < DRAWS; j++) {
            const double k = qx_variate_poisson(&rng, mean[i]);
            assert_true(k >= 0 && k < CELLS);
            seen[(size_t)k]++;
        }
        for (size_t k = 0; k < CELLS; k++) {
            expected[k] = DRAWS * qx_poisson_density((double)k, mean[i]);
        }
        hold_frequencies(seen, expected, CELLS);
    }
}

/* Shape (or mean) and variance of a gamma draw are equal; the beta distribution's by its
 * formulas. */
static void moments_of_gamma_and_beta(void **state)
{
    static const double shape[] = {0.1, 0.9, 3.0, 250.0};
    qx_rng rng = qx_rng_seeded(3);
    (void)state;
    for (size_t i = 0; i < QX_COUNT(shape); i++) {
        const double a = shape[i], b = 1.5, mean = a / (a + b);
        const double variance = a * b / ((a + b) * (a + b) * (a + b + 1));
        double gamma = 0, beta = 0, square = 0;
        for (size_t j = 0; j < DRAWS; j++) {
            gamma += qx_variate_gamma(&rng, a);
            const double x = qx_variate_beta(&rng, a, b);
            assert_true(x >= 0 && x <= 1);
            beta += x;
            square += (x - mean) * (x - mean);
        }
        assert_true(fabs(gamma / DRAWS - a) < 5 * sqrt(a / DRAWS));
        assert_true(fabs(beta / DRAWS - mean) < 5 * sqrt(variance / DRAWS));
        /* (x - mean)^2 is at most 1, its variance below its mean. */
        assert_true(fabs(square / DRAWS - variance) < 5 * sqrt(variance / DRAWS));
    }
}

/* A thousand million: mean and standard deviation, few draws. */
static void large_numbers(void **state)
{
    qx_rng rng = qx_rng_seeded(4);
    double sum = 0, square = 0;
    (void)state;
    for (size_t j = 0; j < 300; j++) {
        const double k = qx_variate_binomial(&rng, 1e9, 0.3),
                     m = qx_variate_poisson(&rng, 1e9);
        sum += (k - 3e8) / sqrt(2.1e8);
        square += (m - 1e9) * (m - 1e9) / 1e9;
    }
    assert_true(fabs(sum / 300) < 5 / sqrt(300));
    assert_true(fabs(square / 300 - 1) < 5 * sqrt(2.0 / 300));
}

static void ends_and_what_cannot_be(void **state)
{
    qx_rng rng = qx_rng_seeded(5);
    (void)state;
    assert_true(qx_variate_binomial(&rng, 7, 0) == 0);
    assert_true(qx_variate_binomial(&rng, 7, 1) == 7);
    assert_true(qx_variate_binomial(&rng, 0, 0.5) == 0);
    assert_true(qx_variate_poisson(&rng, 0) == 0);
    assert_true(isnan(qx_variate_binomial(&rng, 7, 1.1)));
    assert_true(isnan(qx_variate_binomial(&rng, -1, 0.5)));
    assert_true(isnan(qx_variate_binomial(&rng, 7, NAN)));
    assert_true(isnan(qx_variate_poisson(&rng, -1)));
    assert_true(isnan(qx_variate_poisson(&rng, INFINITY)));
    assert_true(isnan(qx_variate_gamma(&rng, 0)));
    assert_true(isnan(qx_variate_beta(&rng, 0, 1)));
}

static void same_stream_same_draws(void **state)
{
    qx_rng a = qx_rng_seeded(6), b = qx_rng_seeded(6);
    (void)state;
    for (size_t j = 0; j < 100; j++) {
        assert_true(qx_variate_binomial(&a, 20, 0.4) == qx_variate_binomial(&b, 20, 0.4));
        assert_true(qx_variate_gamma(&a, 0.4) == qx_variate_gamma(&b, 0.4));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(binomial_frequencies),
        cmocka_unit_test(poisson_frequencies),
        cmocka_unit_test(moments_of_gamma_and_beta),
        cmocka_unit_test(large_numbers),
        cmocka_unit_test(ends_and_what_cannot_be),
        cmocka_unit_test(same_stream_same_draws),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
