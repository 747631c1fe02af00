#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/ranks.h"
#include "reference_case.h"
#include "support.h"

static void hold_kruskal(qx_ctx *cx,
                         const reference_case *c,
                         const double y[],
                         size_t groups,
                         const uint32_t group[])
{
    qx_check_value v;
    assert_ok(cx, qx_kruskal_wallis(cx, reference_rows(c), y, groups, group, &v));
    reference_assert(c, "kruskal_wallis.chisq", v.value);
    reference_assert(c, "kruskal_wallis.df", v.num_df);
    reference_assert(c, "kruskal_wallis.p", v.p);
}

/* tests/reference/checks-insectsprays (Beall 1942): counts with many ties. */
static void insect_sprays_with_ties(void **state)
{
    const reference_case *c = reference_open(*state, "checks-insectsprays");
    size_t k;
    const uint32_t *spray = reference_codes(c, "spray", &k);
    hold_kruskal(*state, c, reference_numbers(c, "count"), k, spray);
}

/* tests/reference/checks-warpbreaks (Tippett 1950); group numbers with gaps. */
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
    hold_kruskal(*state, c, reference_numbers(c, "breaks"), 20, cell);
}

/* tests/reference/checks-friedman-immer-1931: Immer, Hayes & Powers 1934. */
static void barley_in_six_places(void **state)
{
    const reference_case *c = reference_open(*state, "checks-friedman-immer-1931");
    size_t varieties, places;
    const uint32_t *variety = reference_codes(c, "variety", &varieties);
    const uint32_t *place = reference_codes(c, "location", &places);
    qx_check_value v;
    assert_ok(*state,
              qx_friedman(*state,
                          reference_rows(c),
                          reference_numbers(c, "yield"),
                          varieties,
                          variety,
                          places,
                          place,
                          &v));
    reference_assert(c, "friedman.chisq", v.value);
    reference_assert(c, "friedman.df", v.num_df);
    reference_assert(c, "friedman.p", v.p);
}

/* Two treatments without ties: Friedman's chi-squared is (plus - minus)^2 / blocks, the
 * sign test. Seven blocks, five up and two down: 9/7. */
static void two_treatments_are_the_sign_test(void **state)
{
    static const double x[] = {1, 2, 1, 3, 4, 5, 2, 9, 3, 8, 7, 1, 6, 2};
    uint32_t treatment[14], block[14];
    qx_check_value v;
    for (uint32_t i = 0; i < 14; i++) {
        treatment[i] = i % 2;
        block[i] = i / 2;
    }
    assert_ok(*state, qx_friedman(*state, 14, x, 2, treatment, 7, block, &v));
    assert_near(v.value, 9.0 / 7.0, 1e-14);
}

/* By hand: blocks (1, 1, 2) and (1, 2, 3) have ranks (1.5, 1.5, 3), (1, 2, 3); sums less
 * their expectation -1.5, -0.5, 2: 12 x 6.5 / (2 x 3 x 4 - 6/2) = 78/21. */
static void ties_inside_a_block(void **state)
{
    static const double x[] = {1, 1, 2, 1, 2, 3};
    static const uint32_t treatment[] = {0, 1, 2, 0, 1, 2}, block[] = {0, 0, 0, 1, 1, 1};
    qx_check_value v;
    assert_ok(*state, qx_friedman(*state, 6, x, 3, treatment, 2, block, &v));
    assert_near(v.value, 78.0 / 21.0, 1e-14);
}

/* By hand: {1, 2} against {3, 4}: H = 12/20 x (9 + 49)/2 - 15 = 2.4. */
static void kruskal_by_hand(void **state)
{
    static const double x[] = {1, 2, 3, 4};
    static const uint32_t group[] = {0, 0, 1, 1};
    qx_check_value v;
    assert_ok(*state, qx_kruskal_wallis(*state, 4, x, 2, group, &v));
    assert_near(v.value, 2.4, 1e-14);
    assert_near(v.num_df, 1.0, 0.0);
}

static void all_equal_is_an_outcome(void **state)
{
    static const double x[] = {2, 2, 2, 2};
    static const uint32_t a[] = {0, 0, 1, 1}, b[] = {0, 1, 0, 1}, one[] = {0, 0, 0, 0};
    qx_check_value v;
    assert_ok(*state, qx_kruskal_wallis(*state, 4, x, 2, a, &v));
    assert_true(isnan(v.value) && isnan(v.p));
    assert_ok(*state, qx_kruskal_wallis(*state, 4, x, 1, one, &v));
    assert_true(isnan(v.value) && isnan(v.p));
    assert_ok(*state, qx_friedman(*state, 4, x, 2, a, 2, b, &v));
    assert_true(isnan(v.value) && isnan(v.p));
}

static void refuses_an_incomplete_table(void **state)
{
    static const double x[] = {1, 2, 3, 4};
    static const uint32_t a[] = {0, 0, 1, 1}, b[] = {0, 1, 0, 0}, far[] = {0, 1, 0, 5};
    qx_check_value v;
    assert_fails(
        *state, qx_friedman(*state, 3, x, 2, a, 2, b, &v), QX_E_ARG, "2 x 2 cells");
    assert_fails(*state, qx_friedman(*state, 4, x, 2, a, 2, b, &v), QX_E_ARG, "second");
    assert_fails(
        *state, qx_friedman(*state, 4, x, 2, a, 2, far, &v), QX_E_ARG, "no cell");
    assert_fails(*state, qx_friedman(*state, 1, x, 1, a, 1, b, &v), QX_E_ARG, "cells");
    assert_fails(
        *state, qx_kruskal_wallis(*state, 4, x, 2, far, &v), QX_E_ARG, "value 4");
}

static qx_status both(qx_ctx *cx, void *given)
{
    static const uint32_t a[] = {0, 0, 1, 1}, b[] = {0, 1, 0, 1};
    qx_check_value v;
    QX_TRY(qx_kruskal_wallis(cx, 4, given, 2, a, &v));
    return qx_friedman(cx, 4, given, 2, a, 2, b, &v);
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
        WITH_CTX(insect_sprays_with_ties),
        WITH_CTX(warp_breaks_with_empty_groups),
        WITH_CTX(barley_in_six_places),
        WITH_CTX(two_treatments_are_the_sign_test),
        WITH_CTX(ties_inside_a_block),
        WITH_CTX(kruskal_by_hand),
        WITH_CTX(all_equal_is_an_outcome),
        WITH_CTX(refuses_an_incomplete_table),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
