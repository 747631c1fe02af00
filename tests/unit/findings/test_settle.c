/* Replicates to settle: powers from the closed forms of tests/reference/power-closed-forms
 * (R 4.2.2; Phillips 1990), and the law that one replicate fewer is not enough. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "findings/settle.h"
#include "model/power.h"
#include "numeric/dist.h"

static void near(double got, double want, double relative)
{
    if (!(fabs(got - want) <= relative * fabs(want))) {
        fail_msg("got %.15g, want %.15g", got, want);
    }
}

/* p01: two samples of 20, difference of one sd, alpha 0.05. */
static void t_power_agrees_with_the_textbook(void **state)
{
    (void)state;
    near(qx_power_t(1.0, sqrt(2.0 / 20.0), 38.0, qx_t_q(0.025, 38.0, QX_UPPER)),
         0.868953027724586,
         1e-8);
    near(qx_power_t(2.5, 3.0 / sqrt(8.0), 7.0, qx_t_q(0.025, 7.0, QX_UPPER)),
         0.52829966023508,
         1e-8);
}

/* p12, p13: two groups of 15, sd 2, margin 2, true difference 0 and 0.5. */
static void equivalence_power_agrees_with_phillips(void **state)
{
    qx_ctx *cx = *state;
    double power;
    const double se = 2.0 * sqrt(2.0 / 15.0);
    assert_int_equal(qx_power_equivalence(cx, 0.0, 2.0, se, 28.0, 0.05, &power), QX_OK);
    near(power, 0.695405291574524, 1e-8);
    assert_int_equal(qx_power_equivalence(cx, 0.5, 2.0, se, 28.0, 0.05, &power), QX_OK);
    near(power, 0.595098018426337, 1e-8);
}

static void equivalence_power_refuses_what_makes_no_sense(void **state)
{
    qx_ctx *cx = *state;
    double power = -1.0;
    assert_int_equal(qx_power_equivalence(cx, 0.0, 0.0, 1.0, 10.0, 0.05, &power),
                     QX_E_ARG);
    assert_int_equal(qx_power_equivalence(cx, 0.0, 1.0, 0.0, 10.0, 0.05, &power),
                     QX_E_ARG);
    assert_int_equal(qx_power_equivalence(cx, 0.0, 1.0, 1.0, 10.0, 0.5, &power),
                     QX_E_ARG);
    assert_true(power < 0.0);
    assert_true(isnan(qx_power_t(1.0, -1.0, 10.0, 2.0)));
    qx_ctx_clear(cx);
}

/* What the questions of one test share: a context and the memory of answers. */
typedef struct fixture {
    qx_ctx *cx;
    qx_arena *arena;
    qx_settle_memory memory;
} fixture;

static double replicates_for(fixture *f, const qx_settle *s)
{
    double r = -1.0;
    assert_int_equal(qx_settle_replicates(f->cx, &f->memory, s, &r), QX_OK);
    return r;
}

static double power_with(fixture *f, const qx_settle *s, double r)
{
    double power = -1.0;
    assert_int_equal(qx_settle_power(f->cx, &f->memory, s, r, &power), QX_OK);
    return power;
}

static fixture open_fixture(void **state)
{
    fixture f = {.cx = *state, .arena = qx_arena_new()};
    assert_non_null(f.arena);
    f.memory.arena = f.arena;
    return f;
}

static void settles_with_just_enough_replicates(void **state)
{
    fixture f = open_fixture(state);
    for (int adjust = QX_ADJUST_NONE; adjust <= QX_ADJUST_BONFERRONI; adjust++) {
        const qx_settle s = {.se = 3.0,
                             .df = 15.0,
                             .replicates = 6.0,
                             .margin = 5.0,
                             .alpha = 0.05,
                             .adjust = (qx_adjust)adjust,
                             .means = 4,
                             .family = 6};
        const double r = replicates_for(&f, &s);
        assert_true(r > 6.0 && r == floor(r));
        assert_true(power_with(&f, &s, r) >= QX_SETTLE_POWER);
        assert_true(r - 1.0 == 6.0 || power_with(&f, &s, r - 1.0) < QX_SETTLE_POWER);
        assert_true(replicates_for(&f, &s) == r); /* from memory */
    }
    assert_int_equal(f.memory.count, QX_ADJUST_BONFERRONI + 1);
    qx_arena_free(f.arena);
}

static void says_nothing_where_nothing_can_be_said(void **state)
{
    fixture f = open_fixture(state);
    qx_settle s = {.se = 3.0,
                   .df = 15.0,
                   .replicates = 6.0,
                   .margin = 0.001,
                   .alpha = 0.05,
                   .means = 2,
                   .family = 1};
    assert_true(isnan(replicates_for(&f, &s))); /* more than QX_SETTLE_MOST */
    s.margin = 5.0;
    s.replicates = 1.0;
    assert_true(isnan(replicates_for(&f, &s)));
    s.replicates = 6.0;
    s.se = (double)NAN;
    assert_true(isnan(replicates_for(&f, &s)));
    qx_arena_free(f.arena);
}

static int setup(void **state)
{
    *state = qx_ctx_new();
    return *state == NULL;
}

static int teardown(void **state)
{
    qx_ctx_free(*state);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(t_power_agrees_with_the_textbook),
        cmocka_unit_test(equivalence_power_agrees_with_phillips),
        cmocka_unit_test(equivalence_power_refuses_what_makes_no_sense),
        cmocka_unit_test(settles_with_just_enough_replicates),
        cmocka_unit_test(says_nothing_where_nothing_can_be_said),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
