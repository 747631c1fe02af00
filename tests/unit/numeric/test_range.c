/* The studentised range against reference values, printed tables and closed forms. */
#include "test.h"

#include "numeric/dist.h"

typedef struct point {
    double k, df, p;
    const char *q;
} point;

/* Source: tests/reference/studentised-range-and-dunnett (R 4.2.2, qtukey refined on ptukey;
 * checked there by 20-digit quadrature with mpmath, largest difference 4e-10 in the
 * probability). 8 digits: what such a difference leaves. The values are those of Pearson &
 * Hartley, Biometrika Tables for Statisticians 1, table 29, and Harter 1960. */
static const point reference[] = {{2, 5, 0.95, "3.63535169514913"},
                                  {3, 6, 0.95, "4.33919547652442"},
                                  {4, 10, 0.95, "4.32658211591063"},
                                  {5, 15, 0.95, "4.36698469324141"},
                                  {6, 20, 0.95, "4.44523666377729"},
                                  {8, 24, 0.95, "4.68375211717371"},
                                  {10, 30, 0.95, "4.82414128610636"},
                                  {3, 60, 0.95, "3.39866124090627"},
                                  {4, 120, 0.95, "3.68458854231554"},
                                  {6, 12, 0.95, "4.75023144683715"},
                                  {10, 40, 0.95, "4.73451288397923"},
                                  {15, 9, 0.95, "6.27576157355352"},
                                  {4, 12, 0.99, "5.50162630077303"},
                                  {6, 20, 0.99, "5.50954165612968"}};

static void quantiles_are_the_reference(void **state)
{
    (void)state;
    for (size_t i = 0; i < QX_COUNT(reference); i++) {
        const point *r = &reference[i];
        assert_digits(qx_range_q(r->p, r->k, r->df, QX_LOWER), r->q, 8);
        assert_digits(qx_range_q(1.0 - r->p, r->k, r->df, QX_UPPER), r->q, 8);
    }
}

static void probabilities_are_the_reference(void **state)
{
    (void)state;
    assert_digits(qx_range_p(1.0, 3, 10, QX_LOWER), "0.235109189421202", 9);
    assert_digits(qx_range_p(10.0, 3, 10, QX_LOWER), "0.999908236642143", 9);
    assert_digits(qx_range_p(3.5, 8, 21.37, QX_LOWER), "0.742164473753521", 9);
    assert_digits(qx_range_p(4.2, 5, 7.25, QX_LOWER), "0.895402346221354", 9);
}

/* Source: as above, upper 5 % points printed for infinite degrees of freedom (from memory):
 * 2.77, 3.31, 3.63, 3.86 for 2 to 5 means, and 4.47 for 10. */
static void known_deviations_are_the_printed_points(void **state)
{
    const double inf = (double)INFINITY;
    (void)state;
    assert_printed(qx_range_q(0.05, 2, inf, QX_UPPER), "2.77");
    assert_printed(qx_range_q(0.05, 3, inf, QX_UPPER), "3.31");
    assert_printed(qx_range_q(0.05, 4, inf, QX_UPPER), "3.63");
    assert_printed(qx_range_q(0.05, 5, inf, QX_UPPER), "3.86");
    assert_printed(qx_range_q(0.05, 10, inf, QX_UPPER), "4.47");
}

/* Two means: the range is a t, sqrt(2) apart. */
static void two_means_are_a_t(void **state)
{
    static const double df[] = {1, 2, 5, 10, 17.3, 60, 1e4, (double)INFINITY};
    (void)state;
    for (size_t i = 0; i < QX_COUNT(df); i++) {
        for (size_t n = 0; n < 10; n++) {
            const double q = 0.01 * pow(3.0, (double)n);
            const double want = qx_t_two_sided(q / sqrt(2.0), df[i]);
            if (want > 1e-290) {
                assert_near(qx_range_p(q, 2, df[i], QX_UPPER), want, 1e-11);
            }
        }
    }
}

/* Three means of known deviation: the density of the range is 3 sqrt(2) phi(w / sqrt(2))
 * {2 Phi(w / sqrt(6)) - 1} (McKay & Pearson 1933, Biometrika 25:415-420; derived anew by
 * differentiating the double integral). Its integral by Simpson's rule. */
static void three_means_have_their_density(void **state)
{
    const double inf = (double)INFINITY;
    const size_t steps = 4000;
    (void)state;
    for (size_t n = 0; n < 9; n++) {
        const double w = 0.5 + (double)n;
        const double h = 14.0 / (double)steps;
        double sum = 0.0;
        for (size_t i = 0; i <= steps; i++) {
            const double x = w + h * (double)i;
            const double density = 3.0 * sqrt(2.0) * qx_normal_density(x / sqrt(2.0)) *
                                   (1.0 - 2.0 * qx_normal_p(x / sqrt(6.0), QX_UPPER));
            sum += (i == 0 || i == steps ? 1.0 : i % 2 == 1 ? 4.0 : 2.0) * density;
        }
        assert_near(qx_range_p(w, 3, inf, QX_UPPER), sum * h / 3.0, 1e-9);
    }
}

static void tails_sum_to_one(void **state)
{
    static const double k[] = {2, 3, 7, 25, 100};
    static const double df[] = {1, 2, 8, 40, (double)INFINITY};
    (void)state;
    for (size_t i = 0; i < QX_COUNT(k); i++) {
        for (size_t j = 0; j < QX_COUNT(df); j++) {
            for (size_t n = 0; n < 8; n++) {
                const double q = 0.5 * pow(1.7, (double)n);
                assert_within(qx_range_p(q, k[i], df[j], QX_UPPER) +
                                  qx_range_p(q, k[i], df[j], QX_LOWER),
                              1.0,
                              1e-12);
            }
        }
    }
}

/* Far out the largest pair alone decides: P(Q > q) tends to k(k-1)/2 times that of two. */
static void far_tails_keep_their_digits(void **state)
{
    (void)state;
    const double two = qx_range_p(25.0, 2, (double)INFINITY, QX_UPPER);
    assert_true(two > 0.0 && two < 1e-60);
    assert_near(qx_range_p(25.0, 4, (double)INFINITY, QX_UPPER), 6.0 * two, 1e-10);
}

static void quantiles_undo_probabilities(void **state)
{
    static const double p[] = {1e-12, 1e-4, 0.05, 0.5, 0.9, 0.999};
    (void)state;
    for (size_t i = 0; i < QX_COUNT(p); i++) {
        for (int tail = QX_LOWER; tail <= QX_UPPER; tail++) {
            const qx_tail t = (qx_tail)tail;
            assert_near(qx_range_p(qx_range_q(p[i], 5, 11, t), 5, 11, t), p[i], 1e-11);
        }
    }
}

static void ends_and_bad_arguments(void **state)
{
    const double nan = (double)NAN;
    const double inf = (double)INFINITY;
    (void)state;
    assert_true(qx_range_p(0, 3, 5, QX_UPPER) == 1.0);
    assert_true(qx_range_p(-1, 3, 5, QX_LOWER) == 0.0);
    assert_true(qx_range_p(inf, 3, 5, QX_UPPER) == 0.0);
    assert_true(qx_range_p(inf, 3, 5, QX_LOWER) == 1.0);
    assert_true(qx_range_q(1, 3, 5, QX_UPPER) == 0.0);
    assert_true(isinf(qx_range_q(0, 3, 5, QX_UPPER)));
    assert_true(isnan(qx_range_p(nan, 3, 5, QX_UPPER)));
    assert_true(isnan(qx_range_p(1, 1.5, 5, QX_UPPER)));
    assert_true(isnan(qx_range_p(1, 3, 0.5, QX_UPPER)));
    assert_true(isnan(qx_range_p(1, inf, 5, QX_UPPER)));
    assert_true(isnan(qx_range_q(1.5, 3, 5, QX_UPPER)));
    assert_true(isnan(qx_range_q(nan, 3, 5, QX_UPPER)));
    assert_true(isnan(qx_range_q(0.5, 3, nan, QX_UPPER)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(quantiles_are_the_reference),
        cmocka_unit_test(probabilities_are_the_reference),
        cmocka_unit_test(known_deviations_are_the_printed_points),
        cmocka_unit_test(two_means_are_a_t),
        cmocka_unit_test(three_means_have_their_density),
        cmocka_unit_test(tails_sum_to_one),
        cmocka_unit_test(far_tails_keep_their_digits),
        cmocka_unit_test(quantiles_undo_probabilities),
        cmocka_unit_test(ends_and_bad_arguments),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
