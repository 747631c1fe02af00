/* Minimisation inside bounds: functions whose minimum is known. */
#include "test.h"

#include "numeric/bobyqa.h"

/* Source: Rosenbrock 1960, Comput J 3:175-184: minimum 0 at (1, 1). */
static double valley(void *data, size_t m, const double x[])
{
    const double a = x[1] - x[0] * x[0];
    const double b = 1.0 - x[0];
    (void)data;
    (void)m;
    return 100.0 * a * a + b * b;
}

static void the_curved_valley_is_followed(void **state)
{
    const double low[] = {-5, -5};
    const double high[] = {5, 5};
    double x[] = {-1.2, 1.0};
    double value = 0.0;
    size_t evaluations = 0;
    assert_ok(
        *state,
        qx_bobyqa(*state, 2, valley, NULL, low, high, 1e-10, x, &value, &evaluations));
    assert_within(x[0], 1.0, 1e-5);
    assert_within(x[1], 1.0, 1e-5);
    assert_true(value < 1e-10 && evaluations > 5 && evaluations < 1000);
}

static void a_bound_that_holds_is_reached(void **state)
{
    /* With x <= 0.5 the valley's lowest place is (0.5, 0.25), of 0.25. */
    const double low[] = {-5, -5};
    const double high[] = {0.5, 5};
    double x[] = {-1.2, 1.0};
    double value = 0.0;
    assert_ok(*state,
              qx_bobyqa(*state, 2, valley, NULL, low, high, 1e-10, x, &value, NULL));
    assert_within(x[0], 0.5, 1e-8);
    assert_within(x[1], 0.25, 1e-5);
    assert_near(value, 0.25, 1e-8);
}

static double bowl_with_hole(void *data, size_t m, const double x[])
{
    double sum = 0.0;
    for (size_t i = 0; i < m; i++) {
        sum += (x[i] - 2.0) * (x[i] - 2.0);
    }
    if (x[0] < *(const double *)data) {
        return (double)NAN;
    }
    return x[0] > 3.5 ? (double)INFINITY : sum;
}

static void bad_places_do_not_mislead(void **state)
{
    const double low[] = {0, 0, 0};
    const double high[] = {4, 4, 4};
    double edge = 1.0;
    double x[] = {1.2, 3.0, 0.5};
    double value = 0.0;
    assert_ok(
        *state,
        qx_bobyqa(*state, 3, bowl_with_hole, &edge, low, high, 1e-8, x, &value, NULL));
    for (size_t i = 0; i < 3; i++) {
        assert_within(x[i], 2.0, 1e-4);
    }
    double one[] = {1.5};
    assert_ok(
        *state,
        qx_bobyqa(*state, 1, bowl_with_hole, &edge, low, high, 1e-8, one, &value, NULL));
    assert_within(one[0], 2.0, 1e-6);
}

static double falling(void *data, size_t m, const double x[])
{
    (void)data;
    (void)m;
    return -x[0];
}

static void one_parameter_reaches_its_bound(void **state)
{
    const double low[] = {0.0};
    const double high[] = {1.0};
    double x[] = {0.3};
    double value = 0.0;
    size_t evaluations = 0;
    assert_ok(
        *state,
        qx_bobyqa(*state, 1, falling, NULL, low, high, 1e-8, x, &value, &evaluations));
    assert_true(x[0] == 1.0 && value == -1.0 && evaluations > 4);
}

static void the_same_run_twice_is_the_same(void **state)
{
    const double low[] = {-5, -5};
    const double high[] = {5, 5};
    double value[2];
    double x[2][2] = {{-1.2, 1.0}, {-1.2, 1.0}};
    for (size_t i = 0; i < 2; i++) {
        assert_ok(
            *state,
            qx_bobyqa(*state, 2, valley, NULL, low, high, 1e-6, x[i], &value[i], NULL));
    }
    assert_true(value[0] == value[1]);
    assert_memory_equal(x[0], x[1], sizeof x[0]);
}

static double unknown(void *data, size_t m, const double x[])
{
    (void)data;
    (void)m;
    (void)x;
    return (double)NAN;
}

static void what_is_wrong_is_refused(void **state)
{
    qx_ctx *cx = *state;
    const double low[] = {0, 0};
    const double high[] = {1, 1};
    double x[] = {0.5, 2.0};
    double value = 0.0;
    assert_fails(cx,
                 qx_bobyqa(cx, 2, valley, NULL, low, high, 1e-8, x, &value, NULL),
                 QX_E_ARG,
                 "parameter 2");
    assert_fails(cx,
                 qx_bobyqa(cx, 2, valley, NULL, high, high, 1e-8, x, &value, NULL),
                 QX_E_ARG,
                 "parameter 1");
    assert_fails(cx,
                 qx_bobyqa(cx, 0, valley, NULL, low, high, 1e-8, x, &value, NULL),
                 QX_E_ARG,
                 "0 parameters");
    x[1] = 0.5;
    assert_fails(cx,
                 qx_bobyqa(cx, 2, valley, NULL, low, high, -1.0, x, &value, NULL),
                 QX_E_ARG,
                 "tolerance");
    assert_fails(cx,
                 qx_bobyqa(cx, 2, unknown, NULL, low, high, 1e-8, x, &value, NULL),
                 QX_E_NUMERIC,
                 "nowhere finite");
    assert_fails(cx,
                 qx_bobyqa(cx, 1, unknown, NULL, low, high, 1e-8, x, &value, NULL),
                 QX_E_NUMERIC,
                 "nowhere finite");
}

static qx_status work(qx_ctx *cx, void *given)
{
    const double low[] = {-5, -5};
    const double high[] = {5, 5};
    double x[] = {-1.2, 1.0};
    double value = 0.0;
    (void)given;
    return qx_bobyqa(cx, 2, valley, NULL, low, high, 1e-4, x, &value, NULL);
}

static void no_memory_is_told(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(work, NULL) >= 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(the_curved_valley_is_followed),
        CTX_TEST(a_bound_that_holds_is_reached),
        CTX_TEST(bad_places_do_not_mislead),
        CTX_TEST(one_parameter_reaches_its_bound),
        CTX_TEST(the_same_run_twice_is_the_same),
        CTX_TEST(what_is_wrong_is_refused),
        cmocka_unit_test(no_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
