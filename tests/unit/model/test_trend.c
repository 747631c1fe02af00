#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>

#include "model/trend.h"
#include "reference_case.h"
#include "support.h"

/* Integer coefficients over their length. */
static void
hold_table(qx_ctx *cx, size_t k, const double score[], int degree, const double whole[])
{
    double got[8], squares = 0.0;
    assert_ok(cx, qx_trend_coefficients(cx, k, score, degree, got));
    for (size_t i = 0; i < k; i++) {
        squares += whole[i] * whole[i];
    }
    for (size_t i = 0; i < k; i++) {
        assert_true(fabs(got[i] - whole[i] / sqrt(squares)) < 1e-14);
    }
}

/* Orthogonal polynomials for equal steps: Fisher & Yates 1963, Statistical Tables for
 * Biological, Agricultural and Medical Research, table XXIII, k = 4 and 5 (from memory). */
static void equal_steps_as_tabulated(void **state)
{
    static const double four[] = {0.0, 0.2, 0.4, 0.6}, five[] = {18, 24, 30, 36, 42};
    hold_table(*state, 4, four, 1, (const double[]){-3, -1, 1, 3});
    hold_table(*state, 4, four, 2, (const double[]){1, -1, -1, 1});
    hold_table(*state, 4, four, 3, (const double[]){-1, 3, -3, 1});
    hold_table(*state, 5, five, 1, (const double[]){-2, -1, 0, 1, 2});
    hold_table(*state, 5, five, 2, (const double[]){2, -1, -2, -1, 2});
    hold_table(*state, 5, five, 3, (const double[]){-1, 2, 0, -2, 1});
    hold_table(*state, 5, five, 4, (const double[]){1, -4, 6, -4, 1});
}

/* Unequal steps by hand: scores 1/2, 1, 2 centred are (-2, -1, 5)/3; what is orthogonal to
 * both ones and these is (1, -1, 0) x (0, 1, -1) weighted by gaps: (2, -3, 1). */
static void unequal_steps_by_hand(void **state)
{
    static const double dose[] = {0.5, 1.0, 2.0};
    hold_table(*state, 3, dose, 1, (const double[]){-4, -1, 5});
    hold_table(*state, 3, dose, 2, (const double[]){2, -3, 1});
}

static double along(const reference_case *c,
                    const char *const quantity[],
                    size_t k,
                    const double coefficient[])
{
    double sum = 0.0;
    for (size_t i = 0; i < k; i++) {
        sum += coefficient[i] * reference_value(c, quantity[i]);
    }
    return sum;
}

/* tests/reference/factorial-toothgrowth-unbalanced and splitplot-oats: trends of means. */
static void trends_of_reference_means(void **state)
{
    static const char *const dose[] = {
        "emmean.dose.0.5.estimate", "emmean.dose.1.estimate", "emmean.dose.2.estimate"};
    static const char *const nitrogen[] = {"emmean.nitrogen.0.estimate",
                                           "emmean.nitrogen.0.2.estimate",
                                           "emmean.nitrogen.0.4.estimate",
                                           "emmean.nitrogen.0.6.estimate"};
    static const char *const degree[] = {"linear", "quadratic", "cubic"};
    const reference_case *tooth =
        reference_open(*state, "factorial-toothgrowth-unbalanced");
    const reference_case *oats = reference_open(*state, "splitplot-oats");
    double c[4];
    char name[80];
    for (int d = 1; d <= 3; d++) {
        if (d < 3) {
            assert_ok(
                *state,
                qx_trend_coefficients(*state, 3, (const double[]){0.5, 1, 2}, d, c));
            (void)snprintf(name, sizeof name, "contrast.dose.%s.estimate", degree[d - 1]);
            reference_assert(tooth, name, along(tooth, dose, 3, c));
        }
        assert_ok(
            *state,
            qx_trend_coefficients(*state, 4, (const double[]){0, 0.2, 0.4, 0.6}, d, c));
        (void)snprintf(name, sizeof name, "contrast.nitrogen.%s.estimate", degree[d - 1]);
        reference_assert(oats, name, along(oats, nitrogen, 4, c));
    }
}

/* The definition, on scores far from zero and close together, in any order. */
static void orthogonal_whatever_the_scores(void **state)
{
    static const double score[] = {2026.0, 2019.5, 2021.0, 2020.0, 2030.0, 2021.0};
    double c[QX_TREND_DEGREE_MOST][6];
    for (int d = 1; d <= QX_TREND_DEGREE_MOST; d++) {
        double sum = 0.0, length = 0.0, rising = 0.0;
        assert_ok(*state, qx_trend_coefficients(*state, 6, score, d, c[d - 1]));
        for (size_t i = 0; i < 6; i++) {
            sum += c[d - 1][i];
            length += c[d - 1][i] * c[d - 1][i];
            rising += c[d - 1][i] * pow(score[i] - 2022.0, d);
        }
        assert_true(fabs(sum) < 1e-14);
        assert_true(fabs(length - 1.0) < 1e-14);
        assert_true(rising > 0.0);
        for (int e = 1; e < d; e++) {
            double with = 0.0;
            for (size_t i = 0; i < 6; i++) {
                with += c[d - 1][i] * c[e - 1][i];
            }
            assert_true(fabs(with) < 1e-14);
        }
    }
}

static void refuses_what_has_no_trend(void **state)
{
    static const double two[] = {1.0, 2.0, 1.0};
    static const double odd[] = {1.0, NAN, 3.0};
    double c[3] = {7.0, 7.0, 7.0};
    assert_fails(*state, qx_trend_coefficients(*state, 3, two, 2, c), QX_E_ARG, "levels");
    assert_fails(*state, qx_trend_coefficients(*state, 3, two, 0, c), QX_E_ARG, "degree");
    assert_fails(*state, qx_trend_coefficients(*state, 3, two, 5, c), QX_E_ARG, "degree");
    assert_fails(*state, qx_trend_coefficients(*state, 0, two, 1, c), QX_E_ARG, "levels");
    assert_fails(
        *state, qx_trend_coefficients(*state, 3, odd, 1, c), QX_E_ARG, "level 2");
    assert_true(c[0] == 7.0 && c[1] == 7.0 && c[2] == 7.0);
}

static qx_status any_trend(qx_ctx *cx, void *given)
{
    double c[4];
    (void)given;
    return qx_trend_coefficients(cx, 4, (const double[]){0, 1, 2, 4}, 3, c);
}

static void survives_no_memory(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(any_trend, NULL) > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            equal_steps_as_tabulated, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            unequal_steps_by_hand, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            trends_of_reference_means, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            orthogonal_whatever_the_scores, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            refuses_what_has_no_trend, support_ctx_new, support_ctx_free),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
