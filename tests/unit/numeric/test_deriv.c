/* Differences against derivatives worked out by hand. */
#include "test.h"

#include "numeric/deriv.h"

/* f = exp(a) sin(b) + a^2 c^3. */
static double mixed(void *data, size_t m, const double x[])
{
    (void)data;
    (void)m;
    return exp(x[0]) * sin(x[1]) + x[0] * x[0] * x[2] * x[2] * x[2];
}

static const double place[] = {0.3, -1.1, 2.0};

static void a_gradient_has_ten_digits(void **state)
{
    double g[3];
    double x[3];
    memcpy(x, place, sizeof x);
    assert_ok(*state, qx_gradient(*state, 3, mixed, NULL, x, g));
    assert_near(g[0], exp(x[0]) * sin(x[1]) + 2.0 * x[0] * pow(x[2], 3), 1e-10);
    assert_near(g[1], exp(x[0]) * cos(x[1]), 1e-10);
    assert_near(g[2], 3.0 * x[0] * x[0] * x[2] * x[2], 1e-10);
    assert_memory_equal(x, place, sizeof x);
}

static void a_hessian_has_eight_digits(void **state)
{
    double at[9];
    const qx_mat H = qx_mat_of(at, 3, 3);
    const double *x = place;
    assert_ok(*state, qx_hessian(*state, 3, mixed, NULL, x, H));
    const double first = exp(x[0]) * sin(x[1]);
    assert_near(QX_AT(H, 0, 0), first + 2.0 * pow(x[2], 3), 1e-8);
    assert_near(QX_AT(H, 1, 1), -first, 1e-8);
    assert_near(QX_AT(H, 2, 2), 6.0 * x[0] * x[0] * x[2], 1e-8);
    assert_near(QX_AT(H, 1, 0), exp(x[0]) * cos(x[1]), 1e-8);
    assert_near(QX_AT(H, 2, 0), 6.0 * x[0] * x[2] * x[2], 1e-8);
    assert_within(QX_AT(H, 2, 1), 0.0, 1e-8);
    for (size_t i = 0; i < 3; i++) {
        for (size_t j = 0; j < 3; j++) {
            assert_true(QX_AT(H, i, j) == QX_AT(H, j, i));
        }
    }
}

static double slope(void *data, size_t m, const double x[])
{
    (void)data;
    (void)m;
    return 3.0 * x[0] - 7.0;
}

static void a_straight_line_at_nought(void **state)
{
    const double x[] = {0.0};
    double g[1];
    double h[1];
    assert_ok(*state, qx_gradient(*state, 1, slope, NULL, x, g));
    assert_ok(*state, qx_hessian(*state, 1, slope, NULL, x, qx_mat_of(h, 1, 1)));
    assert_near(g[0], 3.0, 1e-10);
    assert_within(h[0], 0.0, 1e-6);
}

static double unknown(void *data, size_t m, const double x[])
{
    (void)data;
    (void)m;
    (void)x;
    return (double)NAN;
}

static void what_is_wrong_is_told(void **state)
{
    double at[4];
    const double x[] = {1.0, 2.0, 3.0};
    assert_fails(*state,
                 qx_hessian(*state, 3, mixed, NULL, x, qx_mat_of(at, 2, 2)),
                 QX_E_SHAPE,
                 "2 x 2");
    double g[1];
    assert_ok(*state, qx_gradient(*state, 1, unknown, NULL, x, g));
    assert_true(isnan(g[0]));
}

static qx_status work(qx_ctx *cx, void *given)
{
    double g[3];
    double at[9];
    (void)given;
    QX_TRY(qx_gradient(cx, 3, mixed, NULL, place, g));
    return qx_hessian(cx, 3, mixed, NULL, place, qx_mat_of(at, 3, 3));
}

static void no_memory_is_told(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(work, NULL) >= 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(a_gradient_has_ten_digits),
        CTX_TEST(a_hessian_has_eight_digits),
        CTX_TEST(a_straight_line_at_nought),
        CTX_TEST(what_is_wrong_is_told),
        cmocka_unit_test(no_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
