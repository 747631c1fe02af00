#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/spread.h"
#include "reference_case.h"
#include "support.h"

static void hold(qx_ctx *cx,
                 const reference_case *c,
                 const double y[],
                 size_t groups,
                 const uint32_t group[])
{
    qx_check_value v;
    assert_ok(cx, qx_brown_forsythe(cx, reference_rows(c), y, groups, group, &v));
    reference_assert(c, "brown_forsythe.F", v.value);
    reference_assert(c, "brown_forsythe.num_df", v.num_df);
    reference_assert(c, "brown_forsythe.den_df", v.den_df);
    reference_assert(c, "brown_forsythe.p", v.p);
    assert_ok(cx, qx_bartlett(cx, reference_rows(c), y, groups, group, &v));
    reference_assert(c, "bartlett.chisq", v.value);
    reference_assert(c, "bartlett.df", v.num_df);
    reference_assert(c, "bartlett.p", v.p);
}

/* tests/reference/checks-insectsprays: Beall 1942. */
static void insect_sprays(void **state)
{
    const reference_case *c = reference_open(*state, "checks-insectsprays");
    size_t k;
    const uint32_t *spray = reference_codes(c, "spray", &k);
    hold(*state, c, reference_numbers(c, "count"), k, spray);
}

/* tests/reference/checks-warpbreaks: Tippett 1950; six cells of an odd number. The group
 * numbers leave gaps: empty groups are not there. */
static void warp_breaks_with_empty_groups(void **state)
{
    const reference_case *c = reference_open(*state, "checks-warpbreaks");
    size_t wools, tensions;
    const uint32_t *wool = reference_codes(c, "wool", &wools);
    const uint32_t *tension = reference_codes(c, "tension", &tensions);
    uint32_t cell[54];
    assert_int_equal(reference_rows(c), 54);
    for (size_t i = 0; i < 54; i++) {
        cell[i] = 1 + 7 * wool[i] + 2 * tension[i];
    }
    hold(*state, c, reference_numbers(c, "breaks"), 20, cell);
}

/* By hand: groups {0, 2, 4} and {0, 1, 2, 3}; distances from the medians 2 and 1.5 are
 * {2, 0, 2} and {1.5, 0.5, 0.5, 1.5}: means 4/3 and 1, within 8/3 + 1, between 4/21. */
static void by_hand(void **state)
{
    static const double x[] = {0, 2, 4, 0, 1, 2, 3};
    static const uint32_t group[] = {0, 0, 0, 1, 1, 1, 1};
    qx_check_value v;
    assert_ok(*state, qx_brown_forsythe(*state, 7, x, 2, group, &v));
    assert_near(v.value, (4.0 / 21.0) / ((11.0 / 3.0) / 5.0), 1e-14);
    /* variances 4 and 5/3: pooled (8 + 5)/5, C = 1 + (1/2 + 1/3 - 1/5)/3 */
    assert_ok(*state, qx_bartlett(*state, 7, x, 2, group, &v));
    assert_near(v.value,
                (5 * log(13.0 / 5.0) - 2 * log(4.0) - 3 * log(5.0 / 3.0)) /
                    (1.0 + (0.5 + 1.0 / 3.0 - 0.2) / 3.0),
                1e-13);
}

static void undefined_is_an_outcome(void **state)
{
    static const double x[] = {1, 2, 3, 4}, flat[] = {5, 5, 7, 7};
    static const uint32_t one[] = {0, 0, 0, 0}, each[] = {0, 1, 2, 3},
                          two[] = {0, 0, 1, 1};
    qx_check_value v;
    assert_ok(*state, qx_brown_forsythe(*state, 4, x, 1, one, &v));
    assert_true(isnan(v.value) && isnan(v.p));
    assert_ok(*state, qx_brown_forsythe(*state, 4, x, 4, each, &v));
    assert_true(isnan(v.value) && isnan(v.p));
    assert_ok(*state, qx_brown_forsythe(*state, 4, flat, 2, two, &v));
    assert_true(isnan(v.value) && isnan(v.p));
    assert_ok(*state, qx_bartlett(*state, 4, x, 4, each, &v));
    assert_true(isnan(v.value) && isnan(v.p));
    assert_ok(*state, qx_bartlett(*state, 4, flat, 2, two, &v));
    assert_true(isnan(v.value) && isnan(v.p));
    assert_ok(*state, qx_bartlett(*state, 4, x, 1, one, &v));
    assert_true(isnan(v.value) && isnan(v.p));
}

static void refuses_a_group_that_is_not_there(void **state)
{
    static const double x[] = {1, 2};
    static const uint32_t group[] = {0, 2};
    qx_check_value v;
    assert_fails(
        *state, qx_brown_forsythe(*state, 2, x, 2, group, &v), QX_E_ARG, "value 2");
    assert_fails(*state, qx_bartlett(*state, 2, x, 2, group, &v), QX_E_ARG, "value 2");
}

static qx_status both(qx_ctx *cx, void *given)
{
    static const uint32_t group[] = {0, 0, 1, 1};
    qx_check_value v;
    QX_TRY(qx_brown_forsythe(cx, 4, given, 2, group, &v));
    return qx_bartlett(cx, 4, given, 2, group, &v);
}

static void survives_no_memory(void **state)
{
    double x[] = {1, 2, 3, 5};
    (void)state;
    assert_true(fail_each_allocation(both, x) > 0);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(insect_sprays),
        WITH_CTX(warp_breaks_with_empty_groups),
        WITH_CTX(by_hand),
        WITH_CTX(undefined_is_an_outcome),
        WITH_CTX(refuses_a_group_that_is_not_there),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
