/* Joint tails of several comparisons: published and reference values of Dunnett, another
 * integral for two, the studentised range for all pairs, and closed forms. */
#include "test.h"

#include "numeric/dist.h"
#include "numeric/mvt.h"
#include "numeric/mvt_inner.h"

#define MOST 45

static qx_mat equicorrelated(qx_ctx *cx, size_t m, double rho)
{
    qx_mat R;
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), m, m, &R));
    for (size_t j = 0; j < m; j++) {
        for (size_t i = 0; i < m; i++) {
            QX_AT(R, i, j) = i == j ? 1.0 : rho;
        }
    }
    return R;
}

/* Correlations of all differences of `means` means: singular, of rank means - 1. */
static qx_mat all_pairs(qx_ctx *cx, size_t means)
{
    static const size_t most = 10;
    qx_mat C;
    qx_mat R;
    size_t m = 0;
    const size_t pairs = means * (means - 1) / 2;
    assert_true(means <= most);
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), pairs, means, &C));
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), pairs, pairs, &R));
    for (size_t i = 0; i < means; i++) {
        for (size_t j = i + 1; j < means; j++) {
            QX_AT(C, m, i) = 1.0;
            QX_AT(C, m, j) = -1.0;
            m++;
        }
    }
    assert_ok(cx, qx_mat_multiply(cx, 'n', 't', 0.5, C, C, 0.0, R));
    return R;
}

typedef struct dunnett {
    size_t m;
    double df;
    const char *printed;   /* Dunnett 1964, Biometrics 20:482-491, table II */
    const char *reference; /* more digits */
} dunnett;

/* Source: printed values from memory; more digits from
 * tests/reference/studentised-range-and-dunnett (two-dimensional Gauss-Legendre quadrature
 * in R 4.2.2, checked with pmvt of mvtnorm within its error). */
static const dunnett two_sided_5_percent[] = {{2, 10, "2.57", "2.56833887603162"},
                                              {3, 12, "2.68", "2.68287006283721"},
                                              {4, 20, "2.65", "2.6510295895727"},
                                              {5, 30, "2.66", "2.65685449121511"},
                                              {7, 60, "2.69", "2.69071693803335"},
                                              {9, 24, "2.90", "2.90041014784886"}};

static void dunnett_1964_critical_values(void **state)
{
    qx_ctx *cx = *state;
    for (size_t i = 0; i < QX_COUNT(two_sided_5_percent); i++) {
        const dunnett *d = &two_sided_5_percent[i];
        double x = 0.0;
        double p = 0.0;
        assert_ok(cx, qx_mvt_q(cx, equicorrelated(cx, d->m, 0.5), d->df, 0.05, &x));
        assert_printed(x, d->printed);
        assert_digits(x, d->reference, 11);
        assert_ok(cx, qx_mvt_p(cx, equicorrelated(cx, d->m, 0.5), d->df, x, &p, NULL));
        assert_near(p, 0.05, 1e-11);
    }
}

/* P(|T1| > 2 or |T2| > 2), 10 df. Source: R 4.2.2's adaptive `integrate` over T1 of the
 * conditional t of T2 with 11 df: an integral in one dimension, where ours has two. */
static void two_comparisons_by_another_integral(void **state)
{
    static const double rho[] = {0.9, 0.98, 0.99, 0.99999};
    static const char *const want[] = {"0.099439149322088",
                                       "0.085188221273027",
                                       "0.081745048602368",
                                       "0.073652716689686"};
    for (size_t i = 0; i < QX_COUNT(rho); i++) {
        double p = 0.0;
        assert_ok(*state,
                  qx_mvt_p(*state, equicorrelated(*state, 2, rho[i]), 10, 2, &p, NULL));
        assert_digits(p, want[i], 13);
        /* The sign of a correlation does not matter to |T|. */
        double mirrored = 0.0;
        assert_ok(
            *state,
            qx_mvt_p(*state, equicorrelated(*state, 2, -rho[i]), 10, 2, &mirrored, NULL));
        assert_near(mirrored, p, 1e-13);
    }
}

static void independent_normals_multiply(void **state)
{
    const double b[5] = {0};
    for (size_t k = 0; k < 6; k++) {
        const double x = 0.5 + 1.5 * (double)k;
        const double one = 2.0 * qx_normal_p(x, QX_UPPER);
        double p = 0.0;
        assert_ok(*state, qx_mvt_one_factor_p(*state, 5, b, (double)INFINITY, x, &p));
        assert_near(p, -expm1(5.0 * log1p(-one)), 1e-12);
    }
}

static void one_comparison_is_a_t(void **state)
{
    const double b[1] = {0.7};
    double p = 0.0;
    double x = 0.0;
    assert_ok(*state, qx_mvt_one_factor_p(*state, 1, b, 7, 2.1, &p));
    assert_near(p, qx_t_two_sided(2.1, 7), 1e-14);
    assert_ok(*state, qx_mvt_p(*state, equicorrelated(*state, 1, 1), 7, 2.1, &p, NULL));
    assert_near(p, qx_t_two_sided(2.1, 7), 1e-14);
    assert_ok(*state, qx_mvt_q(*state, equicorrelated(*state, 1, 1), 7, 0.05, &x));
    assert_near(x, qx_t_q(0.025, 7, QX_UPPER), 1e-12);
}

/* A comparison told twice, also with its sign changed, is one comparison. */
static void twins_count_once(void **state)
{
    const double b[4] = {1, -1, 1, 1};
    double p = 0.0;
    assert_ok(*state, qx_mvt_one_factor_p(*state, 4, b, 7, 2.1, &p));
    assert_near(p, qx_t_two_sided(2.1, 7), 1e-10);
}

/* Unequal replication: three exact ways of b, from loose to tight, against the general
 * form, within its own error. */
static void the_two_forms_agree(void **state)
{
    static const double b[3][4] = {
        {0.1, 0.3, 0.2, 0.05}, {0.7, 0.6, 0.75, 0.5}, {0.99, 0.9, -0.95, 0.3}};
    qx_ctx *cx = *state;
    for (size_t c = 0; c < 3; c++) {
        qx_mat R = equicorrelated(cx, 4, 0.0);
        for (size_t i = 0; i < 4; i++) {
            for (size_t j = 0; j < 4; j++) {
                QX_AT(R, i, j) = i == j ? 1.0 : b[c][i] * b[c][j];
            }
        }
        double found[4];
        assert_true(qx_mvt_one_factor_of(R, found));
        for (size_t i = 0; i < 4; i++) {
            assert_near(fabs(found[i]), fabs(b[c][i]), 1e-12);
        }
        qx_mvt_sphere sphere;
        assert_ok(cx, qx_mvt_sphere_new(cx, qx_ctx_scratch(cx), R, &sphere));
        assert_int_equal(sphere.rank, 4);
        for (size_t k = 0; k < 4; k++) {
            const double x = 1.0 + 1.5 * (double)k;
            double exact = 0.0;
            double error = 0.0;
            assert_ok(cx, qx_mvt_one_factor_p(cx, 4, b[c], 15, x, &exact));
            const double p = qx_mvt_sphere_tail(&sphere, 15, x, &error);
            assert_within(p, exact, error);
            assert_true(error < 1e-4);
        }
    }
}

/* All pairs of equally replicated means: the studentised range over sqrt(2). */
static void all_pairs_are_the_studentised_range(void **state)
{
    /* By the number of means; some 50 ms buy this much. */
    static const double room[] = {
        0, 0, 0, 1e-8, 1e-6, 5e-5, 5e-5, 2e-4, 3e-4, 3e-4, 3e-4};
    qx_ctx *cx = *state;
    for (size_t means = 3; means <= 10; means++) {
        qx_mvt_family *family = NULL;
        assert_ok(
            cx, qx_mvt_family_new(cx, qx_ctx_scratch(cx), all_pairs(cx, means), &family));
        for (size_t k = 0; k < 3; k++) {
            const double x = 1.5 * pow(2.0, (double)k);
            double p = 0.0;
            double error = 0.0;
            assert_ok(cx, qx_mvt_family_p(cx, family, 12, x, &p, &error));
            const double want = qx_range_p(x * sqrt(2.0), (double)means, 12, QX_UPPER);
            assert_within(p, want, error);
            assert_within(p, want, room[means]);
            assert_near(p, want, 5e-3); /* small ones keep their digits */
        }
        double x = 0.0;
        assert_ok(cx, qx_mvt_family_q(cx, family, 12, 0.05, &x));
        assert_near(x, qx_range_q(0.05, (double)means, 12, QX_UPPER) / sqrt(2.0), 1e-4);
    }
}

static void the_same_question_has_the_same_answer(void **state)
{
    double p[2] = {0};
    for (size_t i = 0; i < 2; i++) {
        assert_ok(*state, qx_mvt_p(*state, all_pairs(*state, 5), 9, 2.5, &p[i], NULL));
    }
    assert_true(p[0] == p[1]);
}

static void what_has_one_factor_is_seen(void **state)
{
    qx_ctx *cx = *state;
    double b[MOST];
    assert_true(qx_mvt_one_factor_of(equicorrelated(cx, 3, 0.0), b));
    assert_true(b[0] == 0.0 && b[1] == 0.0 && b[2] == 0.0);
    assert_true(qx_mvt_one_factor_of(equicorrelated(cx, 4, 1.0), b));
    assert_false(qx_mvt_one_factor_of(all_pairs(cx, 3), b));
    assert_false(qx_mvt_one_factor_of(all_pairs(cx, 4), b));
    /* Negative throughout: b b would have to be negative for three. */
    assert_false(qx_mvt_one_factor_of(equicorrelated(cx, 3, -0.4), b));
    /* One pair alone is tied. */
    qx_mat R = equicorrelated(cx, 3, 0.0);
    QX_AT(R, 0, 2) = QX_AT(R, 2, 0) = -0.49;
    assert_true(qx_mvt_one_factor_of(R, b));
    assert_near(b[0] * b[2], -0.49, 1e-14);
    assert_true(b[1] == 0.0);
    assert_false(qx_mvt_one_factor_of(qx_mat_part(R, 0, 0, 3, 2), b));
    assert_false(qx_mvt_one_factor_of(qx_mat_part(R, 0, 0, 0, 0), b));
}

static void ends_are_ends(void **state)
{
    double p = 0.5;
    double error = 1.0;
    const qx_mat R = all_pairs(*state, 3);
    assert_ok(*state, qx_mvt_p(*state, R, 5, 0.0, &p, &error));
    assert_true(p == 1.0 && error == 0.0);
    assert_ok(*state, qx_mvt_p(*state, R, 5, (double)INFINITY, &p, NULL));
    assert_true(p == 0.0);
    assert_ok(*state, qx_mvt_one_factor_p(*state, 2, &(double[]){0, 0}[0], 5, -1, &p));
    assert_true(p == 1.0);
}

static void what_is_wrong_is_refused(void **state)
{
    qx_ctx *cx = *state;
    const double nan = (double)NAN;
    double p = 0.25;
    const double b[2] = {0.5, 1.5};
    const qx_mat R = equicorrelated(cx, 3, 0.5);
    assert_fails(cx, qx_mvt_p(cx, R, 0.5, 1, &p, NULL), QX_E_ARG, "degrees of freedom");
    assert_fails(cx, qx_mvt_p(cx, R, nan, 1, &p, NULL), QX_E_ARG, "degrees of freedom");
    assert_fails(cx, qx_mvt_p(cx, R, 5, nan, &p, NULL), QX_E_ARG, "not a number");
    assert_fails(cx,
                 qx_mvt_p(cx, qx_mat_part(R, 0, 0, 2, 3), 5, 1, &p, NULL),
                 QX_E_SHAPE,
                 "2 by 3");
    assert_fails(cx, qx_mvt_q(cx, R, 5, 0.0, &p), QX_E_ARG, "level");
    assert_fails(cx, qx_mvt_q(cx, R, 5, 1.0, &p), QX_E_ARG, "level");
    assert_fails(cx, qx_mvt_one_factor_p(cx, 2, b, 5, 1, &p), QX_E_ARG, "factor 2");
    assert_fails(cx, qx_mvt_one_factor_p(cx, 0, b, 5, 1, &p), QX_E_SHAPE, "without");
    /* 1 - 2 and 2 - 3 alike, 1 - 3 opposed: no three comparisons can do that. */
    QX_AT(R, 0, 1) = QX_AT(R, 1, 0) = 0.9;
    QX_AT(R, 1, 2) = QX_AT(R, 2, 1) = 0.9;
    QX_AT(R, 0, 2) = QX_AT(R, 2, 0) = -0.9;
    assert_fails(cx, qx_mvt_p(cx, R, 5, 1, &p, NULL), QX_E_NOT_PD, "contradict");
    QX_AT(R, 0, 2) = 0.3;
    assert_fails(cx, qx_mvt_p(cx, R, 5, 1, &p, NULL), QX_E_ARG, "correlations");
    QX_AT(R, 0, 2) = QX_AT(R, 2, 0) = 0.9;
    QX_AT(R, 1, 1) = 0.8;
    assert_fails(cx, qx_mvt_p(cx, R, 5, 1, &p, NULL), QX_E_ARG, "entry 2, 2");
    QX_AT(R, 1, 1) = nan;
    assert_fails(cx, qx_mvt_p(cx, R, 5, 1, &p, NULL), QX_E_ARG, "entry 2, 2");
    assert_true(p == 0.25);
}

static qx_status work(qx_ctx *cx, void *given)
{
    double at[] = {1, 0.5, -0.5, 0.5, 1, 0.5, -0.5, 0.5, 1};
    double p = 0.0;
    (void)given;
    return qx_mvt_p(cx, qx_mat_of(at, 3, 3), 8, 2, &p, NULL);
}

static void no_memory_is_told(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(work, NULL) >= 6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(dunnett_1964_critical_values),
        CTX_TEST(two_comparisons_by_another_integral),
        CTX_TEST(independent_normals_multiply),
        CTX_TEST(one_comparison_is_a_t),
        CTX_TEST(twins_count_once),
        CTX_TEST(the_two_forms_agree),
        CTX_TEST(all_pairs_are_the_studentised_range),
        CTX_TEST(the_same_question_has_the_same_answer),
        CTX_TEST(what_has_one_factor_is_seen),
        CTX_TEST(ends_are_ends),
        CTX_TEST(what_is_wrong_is_refused),
        cmocka_unit_test(no_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
