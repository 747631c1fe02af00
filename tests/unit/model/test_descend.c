/* Newton inside bounds, on functions whose minimum is known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/descend.h"

#include "support.h"

/* (x - a)'M(x - a)/2 with M = [2 1; 1 3] */
static qx_status quadratic(qx_ctx *cx, void *data, const double x[], double *f)
{
    const double *a = data;
    const double d0 = x[0] - a[0];
    const double d1 = x[1] - a[1];
    (void)cx;
    *f = 0.5 * (2.0 * d0 * d0 + 2.0 * d0 * d1 + 3.0 * d1 * d1);
    return QX_OK;
}

static qx_status quadratic_derive(
    qx_ctx *cx, void *data, const double x[], double *f, double g[], qx_mat h, qx_mat e)
{
    const double *a = data;
    g[0] = 2.0 * (x[0] - a[0]) + (x[1] - a[1]);
    g[1] = (x[0] - a[0]) + 3.0 * (x[1] - a[1]);
    QX_AT(h, 0, 0) = QX_AT(e, 0, 0) = 2.0;
    QX_AT(h, 1, 1) = QX_AT(e, 1, 1) = 3.0;
    QX_AT(h, 0, 1) = QX_AT(h, 1, 0) = QX_AT(e, 0, 1) = QX_AT(e, 1, 0) = 1.0;
    return quadratic(cx, data, x, f);
}

static void minimum_inside(void **state)
{
    qx_ctx *cx = *state;
    double a[] = {3.0, 0.25};
    double x[] = {1.0, 1.0};
    qx_descent_end end;
    const qx_descent problem = {
        .m = 2, .data = a, .value = quadratic, .derive = quadratic_derive};
    assert_ok(cx, qx_descend(cx, &problem, NULL, x, &end));
    assert_true(end.converged);
    assert_near(x[0], 3.0, 1e-14);
    assert_near(x[1], 0.25, 1e-13);
}

/* a = (2, -1): on x1 = 0 the best x0 solves 2 (x0 - 2) + 1 = 0. */
static void minimum_on_the_bound(void **state)
{
    qx_ctx *cx = *state;
    double a[] = {2.0, -1.0};
    const double starts[][2] = {{1.0, 1.0}, {0.0, 0.0}, {50.0, 0.0}, {0.0, 9.0}};
    const qx_descent problem = {
        .m = 2, .data = a, .value = quadratic, .derive = quadratic_derive};
    for (size_t k = 0; k < QX_COUNT(starts); k++) {
        double x[] = {starts[k][0], starts[k][1]};
        qx_descent_end end;
        assert_ok(cx, qx_descend(cx, &problem, NULL, x, &end));
        assert_true(end.converged);
        assert_near(x[0], 1.5, 1e-14);
        assert_true(x[1] == 0.0);
    }
}

static void held_parameters_stay(void **state)
{
    qx_ctx *cx = *state;
    double a[] = {3.0, 0.25};
    double x[] = {1.0, 1.0};
    const bool fixed[] = {false, true};
    double gradient[2];
    qx_descent_end end;
    const qx_descent problem = {.m = 2,
                                .data = a,
                                .value = quadratic,
                                .derive = quadratic_derive,
                                .loose = true,
                                .gradient = gradient};
    assert_ok(cx, qx_descend(cx, &problem, fixed, x, &end));
    assert_true(end.converged);
    assert_true(x[1] == 1.0);
    assert_near(x[0], 3.0 - 0.375, 1e-12);
    assert_near(gradient[1], -0.375 + 3.0 * 0.75, 1e-12);
}

/* log(1 + x^2) - x/10: not convex beyond 1, nowhere defined beyond 1000. */
static qx_status bumpy(qx_ctx *cx, void *data, const double x[], double *f)
{
    (void)cx;
    (void)data;
    *f = x[0] > 1000.0 ? (double)INFINITY : log1p(x[0] * x[0]) - 0.1 * x[0];
    return QX_OK;
}

static qx_status bumpy_derive(
    qx_ctx *cx, void *data, const double x[], double *f, double g[], qx_mat h, qx_mat e)
{
    const double s = 1.0 + x[0] * x[0];
    g[0] = 2.0 * x[0] / s - 0.1;
    QX_AT(h, 0, 0) = 2.0 * (1.0 - x[0] * x[0]) / (s * s);
    QX_AT(e, 0, 0) = 2.0 / s;
    return bumpy(cx, data, x, f);
}

/* From where the Hessian is negative it still comes down to 20x = 1 + x^2, x near 0.05. */
static void stand_in_where_not_convex(void **state)
{
    qx_ctx *cx = *state;
    double x[] = {4.0};
    qx_descent_end end;
    const qx_descent problem = {.m = 1, .value = bumpy, .derive = bumpy_derive};
    assert_ok(cx, qx_descend(cx, &problem, NULL, x, &end));
    assert_true(end.converged);
    assert_near(x[0], 10.0 - sqrt(99.0), 1e-12);
}

static void too_many_parameters_are_refused(void **state)
{
    qx_ctx *cx = *state;
    double x[QX_DESCENT_MOST + 1] = {0.0};
    qx_descent_end end;
    const qx_descent problem = {
        .m = QX_DESCENT_MOST + 1, .value = bumpy, .derive = bumpy_derive};
    assert_fails(cx, qx_descend(cx, &problem, NULL, x, &end), QX_E_SHAPE, "random terms");
}

static void cancelled_descent_stops(void **state)
{
    qx_ctx *cx = *state;
    double a[] = {3.0, 0.25};
    double x[] = {1.0, 1.0};
    qx_descent_end end;
    const qx_descent problem = {
        .m = 2, .data = a, .value = quadratic, .derive = quadratic_derive};
    qx_ctx_cancel(cx);
    assert_int_equal(qx_descend(cx, &problem, NULL, x, &end), QX_E_CANCELLED);
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(minimum_inside),
        TEST(minimum_on_the_bound),
        TEST(held_parameters_stay),
        TEST(stand_in_where_not_convex),
        TEST(too_many_parameters_are_refused),
        TEST(cancelled_descent_stops),
    };
    return cmocka_run_group_tests_name("model/descend", tests, NULL, NULL);
}
