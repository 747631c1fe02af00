/* QR from left to right: the certified Longley fit, layouts with aliased columns, and the
 * laws of a projection. */
#include "test.h"

#include "numeric/qr.h"
#include "numeric/rng.h"

#define LONGLEY_ROWS 16
#define LONGLEY_COLS 7

/* Source: NIST StRD, linear regression, Longley (level of difficulty higher); data Longley
 * 1967, J Am Stat Assoc 62:819-841. Typed from memory, and held against R's `longley`. */
static const double longley_y[LONGLEY_ROWS] = {60323,
                                               61122,
                                               60171,
                                               61187,
                                               63221,
                                               63639,
                                               64989,
                                               63761,
                                               66019,
                                               67857,
                                               68169,
                                               66513,
                                               68655,
                                               69564,
                                               69331,
                                               70551};
static const double longley_x[LONGLEY_ROWS][LONGLEY_COLS] = {
    {1, 83.0, 234289, 2356, 1590, 107608, 1947},
    {1, 88.5, 259426, 2325, 1456, 108632, 1948},
    {1, 88.2, 258054, 3682, 1616, 109773, 1949},
    {1, 89.5, 284599, 3351, 1650, 110929, 1950},
    {1, 96.2, 328975, 2099, 3099, 112075, 1951},
    {1, 98.1, 346999, 1932, 3594, 113270, 1952},
    {1, 99.0, 365385, 1870, 3547, 115094, 1953},
    {1, 100.0, 363112, 3578, 3350, 116219, 1954},
    {1, 101.2, 397469, 2904, 3048, 117388, 1955},
    {1, 104.6, 419180, 2822, 2857, 118734, 1956},
    {1, 108.4, 442769, 2936, 2798, 120445, 1957},
    {1, 110.8, 444546, 4681, 2637, 121950, 1958},
    {1, 112.6, 482704, 3813, 2552, 123366, 1959},
    {1, 114.2, 502601, 3931, 2514, 125368, 1960},
    {1, 115.7, 518173, 4806, 2572, 127852, 1961},
    {1, 116.9, 554894, 4007, 2827, 130081, 1962}};

static qx_mat longley(qx_ctx *cx)
{
    qx_mat X;
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), LONGLEY_ROWS, LONGLEY_COLS, &X));
    for (size_t i = 0; i < LONGLEY_ROWS; i++) {
        for (size_t j = 0; j < LONGLEY_COLS; j++) {
            QX_AT(X, i, j) = longley_x[i][j];
        }
    }
    return X;
}

static void longley_1967_certified_fit(void **state)
{
    qx_ctx *cx = *state;
    qx_qr qr;
    double beta[LONGLEY_COLS];
    double effects[LONGLEY_ROWS];
    assert_ok(cx, qx_qr_factor(cx, qx_ctx_scratch(cx), longley(cx), &qr));
    assert_int_equal(qr.rank, LONGLEY_COLS);
    assert_ok(cx, qx_qr_solve(cx, &qr, longley_y, beta, effects));
    /* 10 and 11 digits: the condition of X is some 5e9, of which scaling its columns takes
     * back the larger part only. */
    assert_digits(beta[0], "-3482258.63459582", 10);
    assert_digits(beta[1], "15.0618722713733", 10);
    assert_digits(beta[2], "-0.0358191792925910", 10);
    assert_digits(beta[3], "-2.02022980381683", 10);
    assert_digits(beta[4], "-1.03322686717359", 10);
    assert_digits(beta[5], "-0.0511041056535807", 10);
    assert_digits(beta[6], "1829.15146461355", 10);
    double residual = 0.0;
    for (size_t i = LONGLEY_COLS; i < LONGLEY_ROWS; i++) {
        residual += effects[i] * effects[i];
    }
    assert_digits(residual, "836424.055505915", 11);
    qx_mat inverse;
    assert_ok(cx,
              qx_mat_new(cx, qx_ctx_scratch(cx), LONGLEY_COLS, LONGLEY_COLS, &inverse));
    assert_ok(cx, qx_qr_inverse_gram(cx, &qr, inverse));
    assert_digits(sqrt(residual / 9.0 * QX_AT(inverse, 0, 0)), "890420.383607373", 10);
    assert_digits(sqrt(residual / 9.0 * QX_AT(inverse, 6, 6)), "455.478499142212", 10);
}

/* A mean and three groups: the third group's column is what is left of the mean. */
static const double one_way[] = {1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0,
                                 0, 0, 1, 1, 0, 0, 0, 0, 0, 0, 1, 1};

static void factor_one_way(qx_ctx *cx, qx_qr *qr)
{
    qx_mat X;
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), 6, 4, &X));
    memcpy(X.at, one_way, sizeof one_way);
    assert_ok(cx, qx_qr_factor(cx, qx_ctx_scratch(cx), X, qr));
}

static void the_last_of_the_groups_is_aliased(void **state)
{
    qx_ctx *cx = *state;
    qx_qr qr;
    factor_one_way(cx, &qr);
    assert_int_equal(qr.rank, 3);
    assert_false(qr.aliased[0] || qr.aliased[1] || qr.aliased[2]);
    assert_true(qr.aliased[3]);
    assert_int_equal(qr.kept[2], 2);
    /* It is the mean less the first two. */
    assert_within(QX_AT(qr.B, 0, 3), 1.0, 1e-15);
    assert_within(QX_AT(qr.B, 1, 3), -1.0, 1e-15);
    assert_within(QX_AT(qr.B, 2, 3), -1.0, 1e-15);
    /* Group means 1.5, 3.5 and 6. */
    const double y[] = {1, 2, 3, 4, 5, 7};
    double beta[4];
    assert_ok(cx, qx_qr_solve(cx, &qr, y, beta, NULL));
    assert_within(beta[0], 6.0, 1e-14);
    assert_within(beta[1], -4.5, 1e-14);
    assert_within(beta[2], -2.5, 1e-14);
    assert_true(beta[3] == 0.0);
    double h[6];
    assert_ok(cx, qx_qr_leverage(cx, &qr, h));
    for (size_t i = 0; i < 6; i++) {
        assert_within(h[i], 0.5, 1e-15);
    }
}

static void only_contrasts_of_groups_are_estimable(void **state)
{
    qx_ctx *cx = *state;
    qx_qr qr;
    factor_one_way(cx, &qr);
    const double difference[] = {0, 1, -1, 0};
    const double with_aliased[] = {0, 1, 0, -1};
    const double group_mean[] = {1, 0, 0, 1};
    const double effect[] = {0, 0, 0, 1};
    const double other_effect[] = {0, 1, 0, 0};
    const double mean_alone[] = {1, 0, 0, 0};
    const double nothing[] = {0, 0, 0, 0};
    assert_true(qx_qr_estimable(&qr, difference));
    assert_true(qx_qr_estimable(&qr, with_aliased));
    assert_true(qx_qr_estimable(&qr, group_mean));
    assert_true(qx_qr_estimable(&qr, nothing));
    assert_false(qx_qr_estimable(&qr, effect));
    assert_false(qx_qr_estimable(&qr, other_effect));
    assert_false(qx_qr_estimable(&qr, mean_alone));
}

static void columns_of_nothing_and_twins_are_aliased(void **state)
{
    qx_ctx *cx = *state;
    double at[] = {0, 0, 0, 0, 1, 2, 3, 4, 2, 4, 6, 8, 1, 2, 3, 5};
    qx_qr qr;
    assert_ok(cx, qx_qr_factor(cx, qx_ctx_scratch(cx), qx_mat_of(at, 4, 4), &qr));
    assert_int_equal(qr.rank, 2);
    assert_true(qr.aliased[0] && !qr.aliased[1] && qr.aliased[2] && !qr.aliased[3]);
    assert_int_equal(qr.kept[0], 1);
    assert_int_equal(qr.kept[1], 3);
    assert_true(at[4] == 1.0 && at[15] == 5.0); /* X itself is left alone */
}

static void a_wide_matrix_has_the_rank_of_its_rows(void **state)
{
    qx_ctx *cx = *state;
    double at[] = {1, 0, 1, 1, 3, 4};
    qx_qr qr;
    assert_ok(cx, qx_qr_factor(cx, qx_ctx_scratch(cx), qx_mat_of(at, 2, 3), &qr));
    assert_int_equal(qr.rank, 2);
    assert_true(qr.aliased[2]);
}

static void nothing_has_rank_nothing(void **state)
{
    qx_ctx *cx = *state;
    double at[1] = {0};
    qx_qr qr;
    assert_ok(cx, qx_qr_factor(cx, qx_ctx_scratch(cx), qx_mat_of(at, 0, 0), &qr));
    assert_int_equal(qr.rank, 0);
    assert_ok(cx, qx_qr_solve(cx, &qr, at, at, at));
}

static qx_mat random_matrix(qx_ctx *cx, size_t rows, size_t cols)
{
    qx_mat X;
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), rows, cols, &X));
    qx_rng rng = qx_rng_seeded(3);
    for (size_t i = 0; i < rows * cols; i++) {
        X.at[i] = qx_rng_normal(&rng);
    }
    return X;
}

static void q_times_r_is_x(void **state)
{
    qx_ctx *cx = *state;
    const qx_mat X = random_matrix(cx, 9, 5);
    qx_qr qr;
    assert_ok(cx, qx_qr_factor(cx, qx_ctx_scratch(cx), X, &qr));
    for (size_t j = 0; j < 5; j++) {
        double y[9] = {0};
        memcpy(y, &QX_AT(qr.R, 0, j), 5 * sizeof *y);
        qx_qr_apply(&qr, 'n', y);
        for (size_t i = 0; i < 9; i++) {
            assert_within(y[i], QX_AT(X, i, j), 1e-14);
        }
        qx_qr_apply(&qr, 't', y);
        for (size_t i = 0; i < 9; i++) {
            assert_within(y[i], i < 5 ? QX_AT(qr.R, i, j) : 0.0, 1e-14);
        }
    }
}

/* X'X times its inverse is the unit; leverages sum to the rank; residuals are orthogonal
 * to the columns. */
static void the_laws_of_a_projection(void **state)
{
    qx_ctx *cx = *state;
    const qx_mat X = random_matrix(cx, 9, 5);
    qx_qr qr;
    qx_mat gram;
    qx_mat inverse;
    qx_mat unit;
    qx_arena *scratch = qx_ctx_scratch(cx);
    assert_ok(cx, qx_qr_factor(cx, scratch, X, &qr));
    assert_ok(cx, qx_mat_new(cx, scratch, 5, 5, &gram));
    assert_ok(cx, qx_mat_new(cx, scratch, 5, 5, &inverse));
    assert_ok(cx, qx_mat_new(cx, scratch, 5, 5, &unit));
    assert_ok(cx, qx_mat_crossprod(cx, X, gram));
    assert_ok(cx, qx_qr_inverse_gram(cx, &qr, inverse));
    assert_ok(cx, qx_mat_multiply(cx, 'n', 'n', 1.0, gram, inverse, 0.0, unit));
    for (size_t i = 0; i < 25; i++) {
        assert_within(unit.at[i], i % 6 == 0 ? 1.0 : 0.0, 1e-13);
    }
    double h[9];
    double sum = 0.0;
    assert_ok(cx, qx_qr_leverage(cx, &qr, h));
    for (size_t i = 0; i < 9; i++) {
        assert_true(h[i] > 0.0 && h[i] < 1.0);
        sum += h[i];
    }
    assert_near(sum, 5.0, 1e-14);
    const double y[] = {3, 1, 4, 1, 5, 9, 2, 6, 5};
    double residual[9];
    double beta[5];
    memcpy(residual, y, sizeof y);
    assert_ok(cx, qx_qr_solve(cx, &qr, y, beta, NULL));
    qx_mat_vector('n', -1.0, X, beta, 1.0, residual);
    for (size_t j = 0; j < 5; j++) {
        assert_within(qx_dot(9, &QX_AT(X, 0, j), residual), 0.0, 1e-13);
    }
}

/* Columns of very large and very small numbers: only their direction matters. */
static void scales_do_not_alias(void **state)
{
    qx_ctx *cx = *state;
    double at[] = {1e150, 2e150, 3e150, 1e-150, 1e-150, -1e-150};
    qx_qr qr;
    assert_ok(cx, qx_qr_factor(cx, qx_ctx_scratch(cx), qx_mat_of(at, 3, 2), &qr));
    assert_int_equal(qr.rank, 2);
    const double y[] = {2e150, 3e150, 2e150};
    double beta[2];
    assert_ok(cx, qx_qr_solve(cx, &qr, y, beta, NULL));
    assert_near(beta[0], 1.0, 1e-14);
    assert_near(beta[1], 1e300, 1e-14);
}

static void what_is_not_finite_is_refused(void **state)
{
    qx_ctx *cx = *state;
    double at[] = {1, 2, (double)NAN, 4};
    qx_qr qr;
    assert_fails(cx,
                 qx_qr_factor(cx, qx_ctx_scratch(cx), qx_mat_of(at, 2, 2), &qr),
                 QX_E_NUMERIC,
                 "row 1, column 2");
    qx_mat out;
    factor_one_way(cx, &qr);
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), 4, 4, &out));
    assert_fails(cx, qx_qr_inverse_gram(cx, &qr, out), QX_E_SHAPE, "4 by 4");
}

static qx_status work(qx_ctx *cx, void *given)
{
    qx_qr qr;
    double beta[2];
    double h[3];
    double square[4];
    double at[] = {1, 1, 1, 1, 2, 4};
    (void)given;
    QX_TRY(qx_qr_factor(cx, qx_ctx_scratch(cx), qx_mat_of(at, 3, 2), &qr));
    QX_TRY(qx_qr_solve(cx, &qr, at, beta, h));
    QX_TRY(qx_qr_leverage(cx, &qr, h));
    return qx_qr_inverse_gram(cx, &qr, qx_mat_of(square, 2, 2));
}

static void no_memory_is_told(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(work, NULL) >= 8);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(longley_1967_certified_fit),
        CTX_TEST(the_last_of_the_groups_is_aliased),
        CTX_TEST(only_contrasts_of_groups_are_estimable),
        CTX_TEST(columns_of_nothing_and_twins_are_aliased),
        CTX_TEST(a_wide_matrix_has_the_rank_of_its_rows),
        CTX_TEST(nothing_has_rank_nothing),
        CTX_TEST(q_times_r_is_x),
        CTX_TEST(the_laws_of_a_projection),
        CTX_TEST(scales_do_not_alias),
        CTX_TEST(what_is_not_finite_is_refused),
        cmocka_unit_test(no_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
