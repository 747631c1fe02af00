#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "layout/odd.h"
#include "numeric/rng.h"
#include "support.h"

#define TREES 100

static void on_a_grid(double x[], double y[])
{
    for (size_t i = 0; i < TREES; i++) {
        x[i] = 3.5 * (double)(i / 10);
        y[i] = (double)(i % 10);
    }
}

/* By hand: logs -2 -1 0 1 10, median 0, deviations 2 1 0 1 10, MAD 1: z of the last is
 * 6.745. Four neighbours each; fewer than three do not count. */
static void by_hand(void **state)
{
    const double x[5] = {0.0, 1.0, 2.0, 3.0, 4.0}, y[5] = {0};
    const double size[5] = {exp(-2.0), exp(-1.0), 1.0, exp(1.0), exp(10.0)};
    qx_oddness odd[5];
    assert_int_equal(qx_odd_trees(*state, 5, x, y, size, odd), QX_OK);
    assert_near(odd[4].among_all, 6.745, 1e-12);
    assert_near(odd[0].among_all, -2.0 * 0.6745, 1e-12);
    assert_true(!isnan(odd[4].among_neighbours));
    assert_int_equal(qx_odd_trees(*state, 3, x, y, size, odd), QX_OK);
    assert_true(isnan(odd[0].among_neighbours));
}

/* A tree of ordinary size among small ones is seen by its neighbours alone. */
static void among_its_neighbours(void **state)
{
    double x[TREES], y[TREES], size[TREES];
    qx_oddness odd[TREES];
    qx_rng rng = qx_rng_seeded(5);
    on_a_grid(x, y);
    for (size_t i = 0; i < TREES; i++) {
        size[i] = exp(0.3 * x[i] / 3.5 + 0.03 * qx_rng_normal(&rng));
    }
    size[15] = size[75]; /* second row, size of the eighth */
    assert_int_equal(qx_odd_trees(*state, TREES, x, y, size, odd), QX_OK);
    assert_true(fabs(odd[15].among_all) < QX_ODD_LIMIT);
    assert_true(odd[15].among_neighbours > QX_ODD_LIMIT);
}

/* Ordinary trees are seldom called odd: with normal logs |z| > 3.5 has probability 0.0005;
 * 0.004 leaves room for the spread of the MAD among a hundred trees. */
static void seldom_by_chance(void **state)
{
    double x[TREES], y[TREES], size[TREES];
    qx_oddness odd[TREES];
    size_t called = 0;
    on_a_grid(x, y);
    for (size_t trial = 0; trial < 200; trial++) {
        qx_rng rng = qx_rng_stream(77, trial);
        for (size_t i = 0; i < TREES; i++) {
            size[i] = exp(3.0 + 0.2 * qx_rng_normal(&rng));
        }
        assert_int_equal(qx_odd_trees(*state, TREES, x, y, size, odd), QX_OK);
        for (size_t i = 0; i < TREES; i++) {
            called += (size_t)(fabs(odd[i].among_all) > QX_ODD_LIMIT);
        }
    }
    assert_in_range(called, 1, 80);
}

static void without_spread_or_size(void **state)
{
    double x[TREES], y[TREES], size[TREES];
    qx_oddness odd[TREES];
    on_a_grid(x, y);
    for (size_t i = 0; i < TREES; i++) {
        size[i] = i < 90 ? 20.0 : (double)NAN;
    }
    assert_int_equal(qx_odd_trees(*state, TREES, x, y, size, odd), QX_OK);
    assert_true(isnan(odd[3].among_all) && isnan(odd[95].among_all));
    size[3] = 0.0;
    assert_int_equal(qx_odd_trees(*state, TREES, x, y, size, odd), QX_E_ARG);
    qx_ctx_clear(*state);
    assert_int_equal(qx_odd_trees(*state, 0, x, y, size, odd), QX_OK);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {WITH_CTX(by_hand),
                                       WITH_CTX(among_its_neighbours),
                                       WITH_CTX(seldom_by_chance),
                                       WITH_CTX(without_spread_or_size)};
    return cmocka_run_group_tests_name("layout/odd", tests, NULL, NULL);
}
