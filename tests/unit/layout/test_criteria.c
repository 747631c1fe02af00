/* Criteria against closed forms of published layouts, and bounds that hold. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "layout/construct.h"
#include "layout/criteria.h"
#include "layout/field.h"
#include "support.h"

#define PLOTS_MOST 500

typedef struct laid {
    size_t plots, blocks;
    uint32_t block[PLOTS_MOST];
    uint32_t treatment[PLOTS_MOST];
} laid;

static qx_criteria criteria_of(qx_ctx *cx, const laid *l, size_t v)
{
    qx_criteria c = {0};
    const qx_blocking blocking = {l->blocks, l->block};
    assert_ok(cx, qx_criteria_of(cx, l->plots, v, l->treatment, 1, &blocking, &c));
    return c;
}

static void number_blocks(laid *l, size_t k)
{
    for (size_t i = 0; i < l->plots; i++) {
        l->block[i] = (uint32_t)(i / k);
    }
    l->blocks = l->plots / k;
}

/* E = v(k-1)/(k(v-1)) and every difference has the variance 2/(rE): Yates 1936, Ann Eugen
 * 7:121-140 (formula from memory; derived from C = (r - l') I + ... in criteria.h). */
static void balanced_blocks_have_the_known_efficiency(void **state)
{
    static const size_t cases[][3] = {{7, 3, 7},
                                      {13, 4, 13},
                                      {21, 5, 21},
                                      {31, 6, 31},
                                      {9, 3, 12},
                                      {16, 4, 20},
                                      {25, 5, 30},
                                      {4, 3, 4},
                                      {5, 2, 10},
                                      {11, 5, 11},
                                      {13, 3, 26},
                                      {7, 4, 7},
                                      {57, 8, 57}};
    for (size_t i = 0; i < QX_COUNT(cases); i++) {
        const size_t v = cases[i][0];
        const size_t k = cases[i][1];
        static laid l;
        bool found = false;
        l.plots = cases[i][2] * k;
        if (l.plots > PLOTS_MOST) {
            continue;
        }
        assert_ok(*state,
                  qx_construct_balanced(*state, v, k, cases[i][2], l.treatment, &found));
        if (!found) {
            fail_msg("no construction for v = %zu, k = %zu", v, k);
        }
        number_blocks(&l, k);
        const qx_criteria c = criteria_of(*state, &l, v);
        const double e = (double)(v * (k - 1)) / (double)(k * (v - 1));
        const double r = (double)l.plots / (double)v;
        assert_int_equal(c.parts, 1);
        assert_near(c.a_efficiency, e, 1e-12);
        assert_near(c.d_efficiency, e, 1e-12);
        assert_near(c.e_efficiency, e, 1e-12);
        assert_near(c.a_bound, e, 1e-12);
        assert_near(c.mean_variance, 2 / (r * e), 1e-12);
        assert_near(c.least_variance, c.most_variance, 1e-10);
    }
}

/* Square lattices with r replicates: E = (k+1)(r-1) / ((k+1)(r-1) + r); with two of them
 * the difference of two that meet has the variance (k+1)/k, of two that do not (k+2)/k, in
 * units of the residual variance. Source: Yates 1936, J Agric Sci 26:424-455; Cochran & Cox
 * 1957, Experimental Designs, ch. 10 (from memory; the mean of the two variances gives the
 * formula of E with r = 2). */
static void square_lattices_have_the_known_efficiency(void **state)
{
    static const size_t order[] = {3, 4, 5, 7, 8, 9};
    for (size_t i = 0; i < QX_COUNT(order); i++) {
        const size_t k = order[i];
        for (size_t r = 2; r <= 4 && r <= k + 1; r++) {
            static laid l;
            l.plots = r * k * k;
            assert_ok(*state, qx_construct_sets(*state, k, k, r, l.treatment));
            number_blocks(&l, k);
            const qx_criteria c = criteria_of(*state, &l, k * k);
            const double part = (double)(k + 1) * (double)(r - 1);
            assert_near(c.a_efficiency, part / (part + (double)r), 1e-12);
            assert_true(c.a_bound >= c.a_efficiency - 1e-12);
            if (r == 2) {
                assert_near(c.least_variance, (double)(k + 1) / (double)k, 1e-12);
                assert_near(c.most_variance, (double)(k + 2) / (double)k, 1e-12);
            }
        }
    }
}

/* Two sets of two blocks that never meet: two parts, no efficiency, no bound broken. */
static void parts_that_never_meet_are_counted(void **state)
{
    const laid l = {8, 4, {0, 0, 1, 1, 2, 2, 3, 3}, {0, 1, 0, 1, 2, 3, 2, 3}};
    const qx_criteria c = criteria_of(*state, &l, 4);
    assert_int_equal(c.parts, 2);
    assert_true(isnan(c.a_efficiency) && isnan(c.mean_variance));
    double variance[16];
    const qx_blocking blocking = {4, l.block};
    assert_ok(*state,
              qx_criteria_pairs(*state, 8, 4, l.treatment, 1, &blocking, variance));
    assert_near(variance[0 + 1 * 4], 1.0, 1e-12); /* 2 sigma^2 / 2 */
    assert_true(isnan(variance[0 + 2 * 4]));
    assert_true(variance[0] == 0);
}

/* Without blocks: variance 1/r_i + 1/r_j, efficiency 1. */
static void unequal_replicates_without_blocks(void **state)
{
    static const uint32_t treatment[] = {0, 0, 0, 0, 1, 1, 2};
    double variance[9];
    qx_criteria c = {0};
    assert_ok(*state, qx_criteria_of(*state, 7, 3, treatment, 0, NULL, &c));
    assert_near(c.a_efficiency, 1, 1e-12);
    assert_near(c.a_bound, 1, 1e-12);
    assert_ok(*state, qx_criteria_pairs(*state, 7, 3, treatment, 0, NULL, variance));
    assert_near(variance[0 + 1 * 3], 0.75, 1e-12);
    assert_near(variance[0 + 2 * 3], 1.25, 1e-12);
    assert_near(variance[2 + 1 * 3], 1.5, 1e-12);
}

/* A Youden square: rows hold everything and cost nothing; a Latin square costs nothing. */
static void rows_and_columns(void **state)
{
    uint32_t treatment[21];
    uint32_t row[21];
    uint32_t column[21];
    bool found = false;
    qx_criteria c = {0};
    assert_ok(*state, qx_construct_youden(*state, 7, 3, treatment, &found));
    assert_true(found);
    for (uint32_t i = 0; i < 21; i++) {
        row[i] = i / 7;
        column[i] = i % 7;
    }
    const qx_blocking both[] = {{3, row}, {7, column}};
    assert_ok(*state, qx_criteria_of(*state, 21, 7, treatment, 2, both, &c));
    assert_near(c.a_efficiency, 7.0 * 2 / (3 * 6), 1e-12);
    assert_near(c.a_bound, 7.0 * 2 / (3 * 6), 1e-12);
    for (uint32_t i = 0; i < 16; i++) {
        row[i] = i / 4;
        column[i] = i % 4;
        treatment[i] = (i / 4 + i) % 4;
    }
    const qx_blocking latin[] = {{4, row}, {4, column}};
    assert_ok(*state, qx_criteria_of(*state, 16, 4, treatment, 2, latin, &c));
    assert_near(c.a_efficiency, 1, 1e-12);
}

/* All fillings of three blocks of two with three treatments, twice each, keep below the
 * bound, and the best of them reaches it. */
static void no_filling_is_better_than_the_bound(void **state)
{
    double best = 0;
    double bound = 0;
    for (size_t code = 0; code < 729; code++) {
        laid l = {.plots = 6};
        size_t seen[3] = {0};
        for (size_t i = 0, rest = code; i < 6; i++, rest /= 3) {
            l.treatment[i] = (uint32_t)(rest % 3);
            seen[rest % 3]++;
        }
        number_blocks(&l, 2);
        if (seen[0] != 2 || seen[1] != 2) {
            continue;
        }
        const qx_criteria c = criteria_of(*state, &l, 3);
        bound = c.a_bound;
        best = c.parts == 1 && c.a_efficiency > best ? c.a_efficiency : best;
        assert_true(c.parts > 1 || c.a_efficiency <= c.a_bound + 1e-12);
    }
    assert_near(best, bound, 1e-12); /* all pairs: balanced */
}

static void wrong_numbers_are_refused(void **state)
{
    static const uint32_t treatment[] = {0, 1, 5};
    qx_criteria c = {0};
    assert_fails(*state,
                 qx_criteria_of(*state, 3, 3, treatment, 0, NULL, &c),
                 QX_E_ARG,
                 "no such treatment");
    assert_fails(*state,
                 qx_criteria_of(*state, 2, 3, treatment, 0, NULL, &c),
                 QX_E_ARG,
                 "has no plot");
    static const uint32_t block[] = {0, 3, 0};
    const qx_blocking blocking = {2, block};
    assert_fails(*state,
                 qx_criteria_of(*state, 2, 2, treatment, 1, &blocking, &c),
                 QX_E_ARG,
                 "no such block");
}

/* Axioms of a field: every element but zero has an inverse, products distribute. */
static void fields_are_fields(void **state)
{
    (void)state;
    static const size_t orders[] = {2, 3, 4, 5, 7, 8, 9, 11, 13, 16, 25, 27};
    for (size_t i = 0; i < QX_COUNT(orders); i++) {
        const size_t q = orders[i];
        qx_field f;
        assert_true(qx_field_init(q, &f));
        for (size_t a = 1; a < q; a++) {
            size_t units = 0;
            for (size_t b = 0; b < q; b++) {
                units += qx_field_multiply(&f, a, b) == 1 ? 1 : 0;
                const size_t c = (a * 7 + b * 3) % q;
                assert_int_equal(qx_field_multiply(&f, a, qx_field_add(&f, b, c)),
                                 qx_field_add(&f,
                                              qx_field_multiply(&f, a, b),
                                              qx_field_multiply(&f, a, c)));
            }
            assert_int_equal(units, 1);
        }
    }
    qx_field f;
    assert_false(qx_field_init(6, &f));
    assert_false(qx_field_init(1, &f));
    assert_false(qx_field_init(128, &f));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define T(name) cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)
        T(balanced_blocks_have_the_known_efficiency),
        T(square_lattices_have_the_known_efficiency),
        T(parts_that_never_meet_are_counted),
        T(unequal_replicates_without_blocks),
        T(rows_and_columns),
        T(no_filling_is_better_than_the_bound),
        T(wrong_numbers_are_refused),
        T(fields_are_fields),
#undef T
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
