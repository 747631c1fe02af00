#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/exact.h"
#include "support.h"

/* ---- tables ---------------------------------------------------------------------------- */

/* Fisher's tea: 3 of 4 right; p = 0.4857 two-sided (Agresti 2002, Categorical Data Analysis,
 * 2nd ed., sec. 3.5; from memory), exactly 34/70. */
static void tea_as_tasted(void **state)
{
    static const double tea[4] = {3, 1, 1, 3};
    qx_exact got;
    assert_ok(*state, qx_exact_table(*state, 2, 2, tea, 0, 1, &got));
    assert_true(got.exact);
    assert_near(got.p, 34.0 / 70.0, 1e-12);
    assert_true(got.arrangements == 5.0);
}

/* R 4.2.2, fisher.test: Fisher's convicted twins (1970, Statistical Methods for Research
 * Workers), p = 0.000536724119143, and tables of three and four treatments. */
static void tables_as_in_a_general_library(void **state)
{
    static const double twins[4] = {2, 15, 10, 3}, buds[6] = {20, 0, 12, 8, 0, 20};
    static const double four[12] = {3, 1, 0, 2, 4, 1, 0, 2, 5, 1, 1, 4};
    qx_exact got;
    assert_ok(*state, qx_exact_table(*state, 2, 2, twins, 0, 1, &got));
    assert_digits(got.p, "0.000536724119143", 10);
    assert_ok(*state, qx_exact_table(*state, 3, 2, buds, 0, 1, &got));
    assert_digits(got.p, "7.28712299423e-12", 10);
    assert_ok(*state, qx_exact_table(*state, 4, 3, four, 0, 1, &got));
    assert_true(got.exact);
    assert_digits(got.p, "0.0461530322517", 10);
}

/* Rows and columns may change places. */
static void tables_turned(void **state)
{
    static const double four[12] = {3, 1, 0, 2, 4, 1, 0, 2, 5, 1, 1, 4};
    double turned[12];
    qx_exact a, b;
    for (size_t i = 0; i < 4; i++) {
        for (size_t j = 0; j < 3; j++) {
            turned[j * 4 + i] = four[i * 3 + j];
        }
    }
    assert_ok(*state, qx_exact_table(*state, 4, 3, four, 0, 1, &a));
    assert_ok(*state, qx_exact_table(*state, 3, 4, turned, 0, 1, &b));
    assert_near(a.p, b.p, 1e-12);
    assert_true(a.arrangements == b.arrangements);
}

/* Job satisfaction of 104 (Agresti 2002, Categorical Data Analysis, 2nd ed., p. 57; also in
 * the help of R's fisher.test), p = 0.7827: too many tables here, so by chance. */
static void large_tables_by_chance(void **state)
{
    static const double job[16] = {1, 3, 10, 6, 2, 3, 10, 7, 1, 6, 14, 12, 0, 1, 9, 11};
    qx_exact got, again;
    assert_ok(*state, qx_exact_table(*state, 4, 4, job, 20000, 5, &got));
    assert_false(got.exact);
    assert_true(got.arrangements == 20000.0);
    assert_true(got.se > 0.0 && fabs(got.p - 0.7827) < 4.0 * got.se);
    assert_ok(*state, qx_exact_table(*state, 4, 4, job, 20000, 5, &again));
    assert_true(got.p == again.p);
}

static void refuses_what_is_no_table(void **state)
{
    static const double half[4] = {1, 0.5, 2, 3}, nothing[4] = {0, 0, 0, 0};
    qx_exact got;
    assert_fails(
        *state, qx_exact_table(*state, 2, 2, half, 0, 1, &got), QX_E_ARG, "whole");
    assert_fails(
        *state, qx_exact_table(*state, 2, 2, nothing, 0, 1, &got), QX_E_INPUT, "nothing");
    assert_fails(
        *state, qx_exact_table(*state, 0, 2, half, 0, 1, &got), QX_E_ARG, "no rows");
}

/* ---- permutations ---------------------------------------------------------------------- */

/* Three against three without overlap: two of the 20 ways are as extreme. */
static void three_against_three(void **state)
{
    static const double score[6] = {1, 2, 3, 4, 5, 6};
    static const uint32_t group[6] = {0, 0, 0, 1, 1, 1};
    const qx_permutation q = {.n = 6, .groups = 2, .score = score, .group = group};
    qx_exact got;
    assert_ok(*state, qx_exact_permutation(*state, &q, &got));
    assert_true(got.exact && got.arrangements == 20.0);
    assert_near(got.p, 0.1, 1e-12);
}

/* Five blocks of two, the treated always better: 2 of 32, in any order of the rows. */
static void within_blocks(void **state)
{
    static const double score[10] = {1, 9, 7, 3, 10, 4, 8, 2, 5, 6.5};
    static const uint32_t group[10] = {0, 1, 1, 0, 1, 0, 1, 0, 0, 1};
    static const uint32_t block[10] = {4, 4, 2, 2, 9, 9, 0, 0, 7, 7};
    const qx_permutation q = {
        .n = 10, .groups = 2, .score = score, .group = group, .stratum = block};
    qx_exact got;
    assert_ok(*state, qx_exact_permutation(*state, &q, &got));
    assert_true(got.exact && got.arrangements == 32.0);
    assert_near(got.p, 2.0 / 32.0, 1e-12);
}

/* Scores of 0 and 1 in groups of one size: the sum of squares orders arrangements as the
 * table does, so p is that of the table; here more ways than are gone through. */
static void ones_and_zeros_as_a_table(void **state)
{
    static const double table[4] = {5, 10, 11, 4};
    double score[30];
    uint32_t group[30];
    qx_exact got, by_table;
    for (size_t i = 0; i < 30; i++) {
        group[i] = i >= 15;
        score[i] = i % 15 < (i < 15 ? 10U : 4U) ? 1.0 : 0.0;
    }
    const qx_permutation q = {
        .n = 30, .groups = 2, .score = score, .group = group, .draws = 20000, .seed = 3};
    assert_ok(*state, qx_exact_permutation(*state, &q, &got));
    assert_ok(*state, qx_exact_table(*state, 2, 2, table, 0, 1, &by_table));
    assert_false(got.exact);
    assert_true(fabs(got.p - by_table.p) < 4.0 * got.se);
}

static void refuses_what_cannot_change_places(void **state)
{
    static const double score[3] = {1, 2, NAN};
    static const uint32_t group[3] = {0, 1, 5}, alone[3] = {0, 1, 2};
    qx_permutation q = {
        .n = 2, .groups = 2, .score = score, .group = group, .stratum = alone};
    qx_exact got;
    assert_fails(*state, qx_exact_permutation(*state, &q, &got), QX_E_INPUT, "another");
    q.n = 3;
    assert_fails(*state, qx_exact_permutation(*state, &q, &got), QX_E_ARG, "unit 3");
}

/* ---- odds ------------------------------------------------------------------------------ */

/* The twins again, and the rabbits of Agresti 1990, Categorical Data Analysis, p. 235. p:
 * fisher.test and mantelhaen.test(exact = TRUE) of R 4.2.2. Estimates and ends: the roots of
 * the same conditional distributions by R's uniroot to 1e-15; fisher.test itself stops its
 * search at about 1e-4 (0.0033258 for the lower end of the twins). */
static void odds_as_in_a_general_library(void **state)
{
    static const double twins[4] = {2, 17, 10, 13};
    static const double k1[5] = {0, 3, 6, 5, 2}, n1[5] = {6, 6, 6, 6, 2};
    static const double k0[5] = {0, 0, 2, 6, 5}, n0[5] = {5, 6, 6, 6, 5};
    qx_exact_odds got;
    assert_ok(*state,
              qx_exact_odds_ratio(
                  *state, 1, twins, twins + 1, twins + 2, twins + 3, 0.95, &got));
    assert_digits(exp(got.log_odds), "0.0469366390496800", 10);
    assert_digits(exp(got.lower), "0.0033171639506574", 10);
    assert_digits(exp(got.upper), "0.3631896023566806", 10);
    assert_digits(got.p, "0.000536724119143", 9);
    assert_false(got.median);
    assert_ok(*state, qx_exact_odds_ratio(*state, 5, k1, n1, k0, n0, 0.95, &got));
    assert_digits(exp(got.log_odds), "10.361046349489", 10);
    assert_digits(exp(got.lower), "1.077387763518", 10);
    assert_digits(exp(got.upper), "531.512782889933", 10);
    assert_digits(got.p, "0.0399449035813", 6);
}

/* None of 5 against all of 5: the estimate is finite, the interval open at its lower end.
 * p: fisher.test of R 4.2.2; upper end: as above. The median unbiased estimate solves
 * P(none of 5) = 1/2, here with the weights C(5, t)^2 = 1, 25, 100, 100, 25, 1. */
static void finite_at_the_end(void **state)
{
    static const double none[2] = {0, 5}, all[2] = {5, 5};
    static const double ways[6] = {1, 25, 100, 100, 25, 1};
    qx_exact_odds got;
    double sum = 0.0;
    assert_ok(*state,
              qx_exact_odds_ratio(*state, 1, none, none + 1, all, all + 1, 0.95, &got));
    assert_true(got.median);
    assert_true(isinf(got.lower) && got.lower < 0.0);
    assert_digits(got.upper, "-0.83162517433636", 10);
    assert_digits(got.p, "0.00793650793651", 10);
    for (size_t t = 0; t < 6; t++) {
        sum += ways[t] * exp((double)t * got.log_odds);
    }
    assert_near(1.0 / sum, 0.5, 1e-9);
}

static void refuses_odds_of_nothing(void **state)
{
    static const double five[1] = {5}, six[1] = {6}, none[1] = {0};
    qx_exact_odds got;
    assert_fails(*state,
                 qx_exact_odds_ratio(*state, 1, six, five, none, five, 0.95, &got),
                 QX_E_ARG,
                 "stratum 1");
    assert_fails(*state,
                 qx_exact_odds_ratio(*state, 1, none, five, none, five, 0.95, &got),
                 QX_E_INPUT,
                 "one outcome");
    assert_fails(*state,
                 qx_exact_odds_ratio(*state, 1, five, six, none, five, 1.0, &got),
                 QX_E_ARG,
                 "level");
}

static qx_status all_three(qx_ctx *cx, void *given)
{
    static const double table[4] = {3, 1, 1, 3}, score[4] = {1, 2, 3, 4};
    static const uint32_t group[4] = {0, 0, 1, 1};
    const qx_permutation q = {.n = 4, .groups = 2, .score = score, .group = group};
    qx_exact got;
    qx_exact_odds odds;
    (void)given;
    QX_TRY(qx_exact_table(cx, 2, 2, table, 0, 1, &got));
    QX_TRY(qx_exact_permutation(cx, &q, &got));
    return qx_exact_odds_ratio(cx, 1, table + 1, table, table + 2, table + 3, 0.9, &odds);
}

static void survives_no_memory(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(all_three, NULL) > 0);
}

#define CASE(name)                                                                       \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        CASE(tea_as_tasted),
        CASE(tables_as_in_a_general_library),
        CASE(tables_turned),
        CASE(large_tables_by_chance),
        CASE(refuses_what_is_no_table),
        CASE(three_against_three),
        CASE(within_blocks),
        CASE(ones_and_zeros_as_a_table),
        CASE(refuses_what_cannot_change_places),
        CASE(odds_as_in_a_general_library),
        CASE(finite_at_the_end),
        CASE(refuses_odds_of_nothing),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
