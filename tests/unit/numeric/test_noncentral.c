/* Non-central distributions against mpmath 1.3.0 at 30 digits: Poisson sums of incomplete
 * beta and gamma functions, and the integral over S by Gauss-Legendre (for t). */
#include "test.h"

#include "numeric/dist.h"

static void student_has_its_digits(void **state)
{
    (void)state;
    assert_digits(qx_nc_t_p(2.0, 10.0, 1.5, QX_UPPER), "0.34084592755780918", 12);
    assert_digits(qx_nc_t_p(20.0, 10.0, 2.0, QX_UPPER), "2.5574799601486448e-7", 11);
    assert_digits(qx_nc_t_p(-1.0, 5.0, 2.0, QX_LOWER), "0.002316375654075119", 12);
    assert_digits(qx_nc_t_p(40.0, 3.0, 35.0, QX_UPPER), "0.48677400041770686", 12);
    assert_digits(qx_nc_t_p(1.0, 30.0, 6.0, QX_LOWER), "3.4113498201065195e-7", 11);
}

static void squares_have_their_digits(void **state)
{
    const double inf = (double)INFINITY;
    (void)state;
    assert_digits(qx_nc_f_p(3, 3, 20, 5, QX_UPPER), "0.38636339841827006", 13);
    assert_digits(qx_nc_f_p(60, 2, 8, 1, QX_UPPER), "5.4331199519887204e-5", 12);
    assert_digits(qx_nc_f_p(3, 3, 20, 60, QX_LOWER), "4.299199999520914e-6", 12);
    assert_digits(qx_nc_f_p(2.5, 3, inf, 7, QX_UPPER), "0.61314404068152939", 13);
    assert_digits(qx_nc_chisq_p(10, 4, 3, QX_UPPER), "0.21623681831821905", 13);
    assert_digits(qx_nc_chisq_p(200, 4, 30, QX_UPPER), "9.4403446022311881e-18", 12);
    assert_digits(qx_nc_chisq_p(5, 4, 30, QX_LOWER), "0.00012453699838804848", 12);
}

static void no_centre_is_the_central_one(void **state)
{
    (void)state;
    assert_near(qx_nc_t_p(1.7, 6, 0, QX_UPPER), qx_t_p(1.7, 6, QX_UPPER), 1e-12);
    assert_near(qx_nc_t_p(1.7, 0.5, 0, QX_UPPER), qx_t_p(1.7, 0.5, QX_UPPER), 1e-12);
    assert_near(qx_nc_f_p(2.7, 3, 9, 0, QX_UPPER), qx_f_p(2.7, 3, 9, QX_UPPER), 1e-14);
    assert_near(qx_nc_chisq_p(2, 3, 0, QX_LOWER), qx_chisq_p(2, 3, QX_LOWER), 1e-14);
    assert_near(qx_nc_t_p(1.2, (double)INFINITY, 0.7, QX_UPPER),
                qx_normal_p(0.5, QX_UPPER),
                1e-14);
}

/* T^2 is F with one degree of freedom: P(|T| > x) = P(F > x^2). */
static void a_squared_t_is_an_f(void **state)
{
    static const double ncp[] = {0.3, 2.0, 9.0, 40.0};
    (void)state;
    for (size_t i = 0; i < QX_COUNT(ncp); i++) {
        for (size_t k = 0; k < 6; k++) {
            const double x = 0.5 * pow(2.5, (double)k);
            const double two =
                qx_nc_t_p(x, 11, ncp[i], QX_UPPER) + qx_nc_t_p(-x, 11, ncp[i], QX_LOWER);
            assert_near(two, qx_nc_f_p(x * x, 1, 11, ncp[i] * ncp[i], QX_UPPER), 1e-11);
        }
    }
}

static void tails_sum_to_one(void **state)
{
    (void)state;
    for (size_t k = 0; k < 7; k++) {
        const double x = 0.1 * pow(3.0, (double)k);
        assert_within(qx_nc_f_p(x, 3, 8, 12, QX_LOWER) + qx_nc_f_p(x, 3, 8, 12, QX_UPPER),
                      1.0,
                      1e-13);
        assert_within(
            qx_nc_t_p(x, 2.5, 4, QX_LOWER) + qx_nc_t_p(x, 2.5, 4, QX_UPPER), 1.0, 1e-12);
    }
}

static void ends_and_bad_arguments(void **state)
{
    const double inf = (double)INFINITY;
    const double nan = (double)NAN;
    (void)state;
    assert_true(qx_nc_t_p(inf, 3, 1, QX_UPPER) == 0.0);
    assert_true(qx_nc_t_p(-inf, 3, 1, QX_UPPER) == 1.0);
    assert_true(qx_nc_f_p(0, 3, 4, 1, QX_UPPER) == 1.0);
    assert_true(qx_nc_f_p(inf, 3, 4, 1, QX_UPPER) == 0.0);
    assert_true(qx_nc_chisq_p(0, 3, 1, QX_LOWER) == 0.0);
    assert_true(isnan(qx_nc_t_p(nan, 3, 1, QX_UPPER)));
    assert_true(isnan(qx_nc_t_p(1, 0.05, 1, QX_UPPER)));
    assert_true(isnan(qx_nc_t_p(1, 3, 1001, QX_UPPER)));
    assert_true(isnan(qx_nc_f_p(1, inf, 3, 1, QX_UPPER)));
    assert_true(isnan(qx_nc_f_p(1, 2, 0, 1, QX_UPPER)));
    assert_true(isnan(qx_nc_f_p(1, 2, 3, -1, QX_UPPER)));
    assert_true(isnan(qx_nc_chisq_p(1, 0, 1, QX_UPPER)));
    assert_true(isnan(qx_nc_chisq_p(1, 2, 2e6, QX_UPPER)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(student_has_its_digits),
        cmocka_unit_test(squares_have_their_digits),
        cmocka_unit_test(no_centre_is_the_central_one),
        cmocka_unit_test(a_squared_t_is_an_f),
        cmocka_unit_test(tails_sum_to_one),
        cmocka_unit_test(ends_and_bad_arguments),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
