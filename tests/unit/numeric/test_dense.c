/* Views and products against triple loops and hand-made numbers. */
#include "test.h"

#include "numeric/dense.h"
#include "numeric/rng.h"

static qx_mat random_matrix(qx_ctx *cx, size_t rows, size_t cols, uint64_t seed)
{
    qx_mat a;
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), rows, cols, &a));
    qx_rng rng = qx_rng_seeded(seed);
    for (size_t j = 0; j < cols; j++) {
        for (size_t i = 0; i < rows; i++) {
            QX_AT(a, i, j) = qx_rng_normal(&rng);
        }
    }
    return a;
}

static double element(qx_mat a, char op, size_t i, size_t j)
{
    return op == 'n' ? QX_AT(a, i, j) : QX_AT(a, j, i);
}

static void a_new_matrix_is_zero(void **state)
{
    qx_mat a;
    assert_ok(*state, qx_mat_new(*state, qx_ctx_scratch(*state), 3, 2, &a));
    assert_int_equal(a.rows, 3);
    assert_int_equal(a.cols, 2);
    assert_int_equal(a.ld, 3);
    for (size_t i = 0; i < 6; i++) {
        assert_true(a.at[i] == 0.0);
    }
}

static void a_part_shares_its_numbers(void **state)
{
    double at[] = {1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12};
    const qx_mat a = qx_mat_of(at, 4, 3);
    const qx_mat part = qx_mat_part(a, 1, 1, 2, 2);
    (void)state;
    assert_true(QX_AT(part, 0, 0) == 6.0 && QX_AT(part, 1, 1) == 11.0);
    qx_mat_zero(part);
    assert_true(at[5] == 0.0 && at[6] == 0.0 && at[9] == 0.0 && at[10] == 0.0);
    assert_true(at[4] == 5.0 && at[7] == 8.0 && at[11] == 12.0);
}

static void copies_go_between_strides(void **state)
{
    qx_ctx *cx = *state;
    const qx_mat a = random_matrix(cx, 5, 4, 1);
    qx_mat b;
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), 3, 2, &b));
    qx_mat_copy(b, qx_mat_part(a, 2, 1, 3, 2));
    for (size_t j = 0; j < 2; j++) {
        for (size_t i = 0; i < 3; i++) {
            assert_true(QX_AT(b, i, j) == QX_AT(a, i + 2, j + 1));
        }
    }
    qx_mat_copy(qx_mat_part(a, 0, 0, 0, 2), qx_mat_part(b, 0, 0, 0, 2));
}

static void check_product(qx_ctx *cx, char ta, char tb)
{
    const size_t m = 4;
    const size_t k = 3;
    const size_t n = 5;
    const qx_mat A = random_matrix(cx, ta == 'n' ? m : k, ta == 'n' ? k : m, 2);
    const qx_mat B = random_matrix(cx, tb == 'n' ? k : n, tb == 'n' ? n : k, 3);
    const qx_mat C = random_matrix(cx, m, n, 4);
    qx_mat before;
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), m, n, &before));
    qx_mat_copy(before, C);
    assert_ok(cx, qx_mat_multiply(cx, ta, tb, 2.0, A, B, -0.5, C));
    for (size_t i = 0; i < m; i++) {
        for (size_t j = 0; j < n; j++) {
            double sum = -0.5 * QX_AT(before, i, j);
            for (size_t l = 0; l < k; l++) {
                sum += 2.0 * element(A, ta, i, l) * element(B, tb, l, j);
            }
            assert_within(QX_AT(C, i, j), sum, 1e-14);
        }
    }
}

static void products_are_those_of_three_loops(void **state)
{
    check_product(*state, 'n', 'n');
    check_product(*state, 'n', 't');
    check_product(*state, 't', 'n');
    check_product(*state, 't', 't');
}

static void an_empty_inner_size_leaves_beta_c(void **state)
{
    qx_ctx *cx = *state;
    double c[] = {1, 2, 3, 4};
    double nothing[] = {0};
    assert_ok(cx,
              qx_mat_multiply(cx,
                              'n',
                              'n',
                              1.0,
                              qx_mat_of(nothing, 2, 0),
                              qx_mat_of(nothing, 0, 2),
                              0.5,
                              qx_mat_of(c, 2, 2)));
    assert_true(c[0] == 0.5 && c[3] == 2.0);
    c[0] = (double)NAN;
    assert_ok(cx, qx_mat_crossprod(cx, qx_mat_of(nothing, 0, 2), qx_mat_of(c, 2, 2)));
    assert_true(c[0] == 0.0 && c[3] == 0.0);
}

static void wrong_shapes_are_refused(void **state)
{
    qx_ctx *cx = *state;
    double at[16] = {0};
    const qx_mat a = qx_mat_of(at, 2, 3);
    const qx_mat square = qx_mat_of(at, 2, 2);
    assert_fails(cx,
                 qx_mat_multiply(cx, 'n', 'n', 1.0, a, a, 0.0, square),
                 QX_E_SHAPE,
                 "2 by 3 and 2 by 3");
    assert_fails(cx,
                 qx_mat_multiply(cx, 't', 'n', 1.0, a, a, 0.0, square),
                 QX_E_SHAPE,
                 "does not fit 2 by 2");
    assert_fails(
        cx, qx_mat_multiply(cx, 'x', 'n', 1.0, a, a, 0.0, square), QX_E_ARG, "'x'");
    assert_fails(
        cx, qx_mat_multiply(cx, 'n', 'T', 1.0, a, a, 0.0, square), QX_E_ARG, "'T'");
    assert_fails(cx, qx_mat_crossprod(cx, a, square), QX_E_SHAPE, "3 columns");
    qx_mat narrow = qx_mat_of(at, 3, 3);
    narrow.ld = 2;
    assert_fails(cx,
                 qx_mat_multiply(cx, 'n', 'n', 1.0, narrow, narrow, 0.0, narrow),
                 QX_E_SHAPE,
                 "stride");
    qx_mat huge = qx_mat_of(at, 1, 1);
    huge.cols = (size_t)INT32_MAX + 1;
    assert_fails(cx, qx_mat_crossprod(cx, huge, huge), QX_E_SHAPE, "too large");
    qx_mat out;
    assert_fails(cx,
                 qx_mat_new(cx, qx_ctx_scratch(cx), (size_t)INT32_MAX + 1, 1, &out),
                 QX_E_SHAPE,
                 "too large");
}

static void the_cross_product_fills_both_triangles(void **state)
{
    qx_ctx *cx = *state;
    const qx_mat a = random_matrix(cx, 6, 3, 5);
    const qx_mat c = random_matrix(cx, 3, 3, 6);
    assert_ok(cx, qx_mat_crossprod(cx, a, c));
    for (size_t i = 0; i < 3; i++) {
        for (size_t j = 0; j < 3; j++) {
            double sum = 0.0;
            for (size_t l = 0; l < 6; l++) {
                sum += QX_AT(a, l, i) * QX_AT(a, l, j);
            }
            assert_within(QX_AT(c, i, j), sum, 1e-14);
        }
    }
}

static void vectors_and_forms(void **state)
{
    double at[] = {2, 1, 1, 3};
    const qx_mat a = qx_mat_of(at, 2, 2);
    const double x[] = {1, -2};
    double y[] = {10, 20};
    (void)state;
    qx_mat_vector('n', 1.0, a, x, 0.0, y);
    assert_true(y[0] == 0.0 && y[1] == -5.0);
    qx_mat_vector('t', 2.0, a, x, 1.0, y);
    assert_true(y[0] == 0.0 && y[1] == -15.0);
    assert_true(qx_quadratic(a, x) == 10.0);
    assert_true(qx_mat_inner(a, a) == 15.0);
    double nothing[] = {0};
    qx_mat_vector('n', 1.0, qx_mat_of(nothing, 2, 0), x, 0.5, y);
    assert_true(y[1] == -7.5);
}

static void a_dot_product_takes_every_length(void **state)
{
    double x[11];
    double y[11];
    double want = 0.0;
    (void)state;
    for (size_t n = 0; n <= 11; n++) {
        assert_true(qx_dot(n, x, y) == want);
        if (n < 11) {
            x[n] = (double)n + 1.0;
            y[n] = 2.0 * (double)n - 5.0;
            want += x[n] * y[n];
        }
    }
}

static qx_status make_one(qx_ctx *cx, void *given)
{
    qx_mat a;
    (void)given;
    return qx_mat_new(cx, qx_ctx_scratch(cx), 10, 10, &a);
}

static void no_memory_is_told(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(make_one, NULL) >= 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(a_new_matrix_is_zero),
        CTX_TEST(a_part_shares_its_numbers),
        CTX_TEST(copies_go_between_strides),
        CTX_TEST(products_are_those_of_three_loops),
        CTX_TEST(an_empty_inner_size_leaves_beta_c),
        CTX_TEST(wrong_shapes_are_refused),
        CTX_TEST(the_cross_product_fills_both_triangles),
        CTX_TEST(vectors_and_forms),
        CTX_TEST(a_dot_product_takes_every_length),
        cmocka_unit_test(no_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
