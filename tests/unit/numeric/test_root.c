/* Roots and minima with closed forms, hard shapes, and every refusal. */
#include "test.h"

#include "numeric/root.h"

typedef struct counted {
    double parameter;
    size_t calls;
} counted;

static double square_less_two(void *data, double x)
{
    ((counted *)data)->calls++;
    return x * x - 2.0;
}

static double step(void *data, double x)
{
    return x < ((counted *)data)->parameter ? -1.0 : 1.0;
}

static double flat_cube(void *data, double x)
{
    const double d = x - ((counted *)data)->parameter;
    return d * d * d;
}

static double endless_below(void *data, double x)
{
    return log(x) - ((counted *)data)->parameter;
}

static double unknown(void *data, double x)
{
    (void)data;
    return x > 0.5 ? (double)NAN : -1.0;
}

static double unknown_inside(void *data, double x)
{
    (void)data;
    return x == 0.0 ? -1.0 : x == 1.0 ? 1.0 : (double)NAN;
}

static void a_smooth_root_is_found_fast(void **state)
{
    counted data = {0};
    double x = 0.0;
    assert_ok(*state, qx_root(*state, square_less_two, &data, 0.0, 2.0, 0.0, &x));
    assert_near(x, sqrt(2.0), 1e-15);
    assert_true(data.calls < 15);
    assert_ok(*state, qx_root(*state, square_less_two, &data, -2.0, 0.0, 0.0, &x));
    assert_near(x, -sqrt(2.0), 1e-15);
}

static void a_jump_is_bracketed(void **state)
{
    counted data = {.parameter = 0.7};
    double x = 0.0;
    assert_ok(*state, qx_root(*state, step, &data, -1.0, 3.0, 0.0, &x));
    assert_near(x, 0.7, 1e-15);
}

static void a_flat_root_is_found(void **state)
{
    counted data = {.parameter = 1.25};
    double x = 0.0;
    /* (x - 1.25)^3 underflows within 1e-108 of the root only. */
    assert_ok(*state, qx_root(*state, flat_cube, &data, -4.0, 9.0, 0.0, &x));
    assert_near(x, 1.25, 1e-14);
}

static void an_infinite_end_is_a_sign_too(void **state)
{
    counted data = {.parameter = -3.0};
    double x = 0.0;
    assert_ok(*state, qx_root(*state, endless_below, &data, 0.0, 1.0, 0.0, &x));
    assert_near(x, exp(-3.0), 1e-14);
}

static void an_end_may_be_the_root(void **state)
{
    counted data = {.parameter = 2.0};
    double x = 0.0;
    assert_ok(*state, qx_root(*state, flat_cube, &data, 2.0, 5.0, 0.0, &x));
    assert_true(x == 2.0);
    assert_ok(*state, qx_root(*state, flat_cube, &data, -5.0, 2.0, 0.0, &x));
    assert_true(x == 2.0);
}

static void the_tolerance_saves_calls(void **state)
{
    counted fine = {0};
    counted coarse = {0};
    double x = 0.0;
    assert_ok(*state, qx_root(*state, square_less_two, &fine, 0.0, 2.0, 0.0, &x));
    assert_ok(*state, qx_root(*state, square_less_two, &coarse, 0.0, 2.0, 0.01, &x));
    assert_within(x, sqrt(2.0), 0.01);
    assert_true(coarse.calls < fine.calls);
}

static void what_has_no_root_is_refused(void **state)
{
    qx_ctx *cx = *state;
    counted data = {0};
    double x = 5.0;
    assert_fails(cx,
                 qx_root(cx, square_less_two, &data, 2.0, 3.0, 0.0, &x),
                 QX_E_ARG,
                 "does not change its sign");
    assert_fails(
        cx, qx_root(cx, unknown, &data, 0.0, 1.0, 0.0, &x), QX_E_NUMERIC, "not a number");
    assert_fails(cx,
                 qx_root(cx, unknown_inside, &data, 0.0, 1.0, 0.0, &x),
                 QX_E_NUMERIC,
                 "not a number");
    assert_fails(cx,
                 qx_root(cx, square_less_two, &data, 3.0, 2.0, 0.0, &x),
                 QX_E_ARG,
                 "not an interval");
    assert_fails(cx,
                 qx_root(cx, square_less_two, &data, 0.0, (double)INFINITY, 0.0, &x),
                 QX_E_ARG,
                 "not an interval");
    assert_fails(
        cx, qx_root(cx, square_less_two, &data, 0.0, 2.0, -1.0, &x), QX_E_ARG, "below 0");
    assert_true(x == 5.0);
}

static double bowl(void *data, double x)
{
    const double d = x - ((counted *)data)->parameter;
    ((counted *)data)->calls++;
    return d * d + 3.0;
}

static double falling(void *data, double x)
{
    (void)data;
    return -x;
}

static double dip(void *data, double x)
{
    (void)data;
    return -cos(x);
}

static double unknown_everywhere(void *data, double x)
{
    (void)data;
    (void)x;
    return (double)NAN;
}

static void minima_are_found(void **state)
{
    counted data = {.parameter = 1.25};
    double x = 0.0;
    assert_ok(*state, qx_minimum(*state, bowl, &data, 0.0, 3.0, 0.0, &x));
    assert_within(x, 1.25, 1e-7);
    assert_true(data.calls < 30);
    assert_ok(*state, qx_minimum(*state, dip, NULL, -2.0, 3.0, 0.0, &x));
    assert_within(x, 0.0, 1e-7);
    assert_ok(*state, qx_minimum(*state, falling, NULL, 0.0, 1.0, 0.0, &x));
    assert_within(x, 1.0, 1e-7);
}

static void what_has_no_minimum_is_refused(void **state)
{
    qx_ctx *cx = *state;
    counted data = {0};
    double x = 5.0;
    assert_fails(cx,
                 qx_minimum(cx, unknown_everywhere, NULL, 0.0, 1.0, 0.0, &x),
                 QX_E_NUMERIC,
                 "not a number");
    assert_fails(
        cx, qx_minimum(cx, unknown, &data, 0.0, 1.0, 0.0, &x), QX_E_NUMERIC, "number");
    assert_fails(
        cx, qx_minimum(cx, bowl, &data, 1.0, 0.0, 0.0, &x), QX_E_ARG, "interval");
    assert_true(x == 5.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(a_smooth_root_is_found_fast),
        CTX_TEST(a_jump_is_bracketed),
        CTX_TEST(a_flat_root_is_found),
        CTX_TEST(an_infinite_end_is_a_sign_too),
        CTX_TEST(an_end_may_be_the_root),
        CTX_TEST(the_tolerance_saves_calls),
        CTX_TEST(what_has_no_root_is_refused),
        CTX_TEST(minima_are_found),
        CTX_TEST(what_has_no_minimum_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
