/* Cholesky factors: the definition, a factor made by hand, and every refusal. */
#include "test.h"

#include "numeric/chol.h"

/* L = [2 0 0; 1 3 0; -1 0.5 1.5], A = LL', both by hand. */
static const double factor_by_hand[] = {2, 1, -1, 0, 3, 0.5, 0, 0, 1.5};
static const double matrix_by_hand[] = {4, 2, -2, 2, 10, 0.5, -2, 0.5, 3.5};

static void the_factor_is_the_one_made_by_hand(void **state)
{
    double at[9];
    memcpy(at, matrix_by_hand, sizeof at);
    at[3] = at[6] = at[7] = (double)NAN; /* the upper triangle is not read */
    assert_ok(*state, qx_chol_factor(*state, qx_mat_of(at, 3, 3)));
    for (size_t i = 0; i < 9; i++) {
        assert_within(at[i], factor_by_hand[i], 1e-15);
    }
    assert_near(qx_chol_logdet(qx_mat_of(at, 3, 3)), log(81.0), 1e-15);
}

static void solving_gives_back_what_was_multiplied(void **state)
{
    qx_ctx *cx = *state;
    double L[9];
    memcpy(L, factor_by_hand, sizeof L);
    const double x[] = {1, -2, 3, 0.5, 4, -1};
    for (size_t c = 0; c < 2; c++) {
        double b[3] = {0, 0, 0};
        for (size_t i = 0; i < 3; i++) {
            for (size_t j = 0; j < 3; j++) {
                b[i] += matrix_by_hand[i + 3 * j] * x[3 * c + j];
            }
        }
        assert_ok(cx, qx_chol_solve(cx, qx_mat_of(L, 3, 3), qx_mat_of(b, 3, 1)));
        for (size_t i = 0; i < 3; i++) {
            assert_within(b[i], x[3 * c + i], 1e-14);
        }
    }
}

static void the_triangle_alone_is_solved_both_ways(void **state)
{
    qx_ctx *cx = *state;
    double L[9];
    memcpy(L, factor_by_hand, sizeof L);
    /* L (1, 2, 3)' = (2, 7, 4.5)'; L' (1, 2, 3)' = (1, 7.5, 4.5)'. */
    double b[] = {2, 7, 4.5};
    double c[] = {1, 7.5, 4.5};
    assert_ok(cx, qx_chol_solve_lower(cx, 'n', qx_mat_of(L, 3, 3), qx_mat_of(b, 3, 1)));
    assert_ok(cx, qx_chol_solve_lower(cx, 't', qx_mat_of(L, 3, 3), qx_mat_of(c, 3, 1)));
    for (size_t i = 0; i < 3; i++) {
        assert_within(b[i], (double)i + 1.0, 1e-15);
        assert_within(c[i], (double)i + 1.0, 1e-15);
    }
}

static void the_inverse_times_the_matrix_is_the_unit(void **state)
{
    qx_ctx *cx = *state;
    double L[9];
    double inverse[9];
    double A[9];
    double unit[9];
    memcpy(L, factor_by_hand, sizeof L);
    memcpy(A, matrix_by_hand, sizeof A);
    assert_ok(cx, qx_chol_inverse(cx, qx_mat_of(L, 3, 3), qx_mat_of(inverse, 3, 3)));
    assert_ok(cx,
              qx_mat_multiply(cx,
                              'n',
                              'n',
                              1.0,
                              qx_mat_of(inverse, 3, 3),
                              qx_mat_of(A, 3, 3),
                              0.0,
                              qx_mat_of(unit, 3, 3)));
    for (size_t i = 0; i < 9; i++) {
        assert_within(unit[i], i % 4 == 0 ? 1.0 : 0.0, 1e-14);
        assert_true(inverse[i] == inverse[(i % 3) * 3 + i / 3]);
    }
}

static void what_is_not_definite_is_refused(void **state)
{
    qx_ctx *cx = *state;
    double indefinite[] = {1, 2, 2, 1};
    double singular[] = {1, 1, 1, 1};
    double unknown[] = {1, 0, 0, (double)NAN};
    double endless[] = {(double)INFINITY, 0, 0, 1};
    assert_fails(
        cx, qx_chol_factor(cx, qx_mat_of(indefinite, 2, 2)), QX_E_NOT_PD, "row 2");
    assert_fails(cx, qx_chol_factor(cx, qx_mat_of(singular, 2, 2)), QX_E_NOT_PD, "row 2");
    assert_fails(cx, qx_chol_factor(cx, qx_mat_of(unknown, 2, 2)), QX_E_NOT_PD, "row 2");
    assert_fails(cx, qx_chol_factor(cx, qx_mat_of(endless, 2, 2)), QX_E_NOT_PD, "row 1");
    double hole[] = {1, 0, 0, 0};
    double out[4];
    assert_fails(cx,
                 qx_chol_inverse(cx, qx_mat_of(hole, 2, 2), qx_mat_of(out, 2, 2)),
                 QX_E_NOT_PD,
                 "row 2");
}

static void wrong_shapes_are_refused(void **state)
{
    qx_ctx *cx = *state;
    double at[12] = {1, 0, 0, 1};
    const qx_mat two = qx_mat_of(at, 2, 2);
    const qx_mat three = qx_mat_of(at, 3, 2);
    assert_fails(cx, qx_chol_factor(cx, three), QX_E_SHAPE, "3 by 2");
    assert_fails(cx, qx_chol_solve(cx, two, three), QX_E_SHAPE, "3 rows");
    assert_fails(cx, qx_chol_solve(cx, three, two), QX_E_SHAPE, "3 by 2");
    assert_fails(cx, qx_chol_solve_lower(cx, 'T', two, two), QX_E_ARG, "'T'");
    assert_fails(cx, qx_chol_inverse(cx, two, three), QX_E_SHAPE, "does not fit 3 by 2");
}

static void nothing_is_fine(void **state)
{
    qx_ctx *cx = *state;
    double at[4] = {0};
    const qx_mat none = qx_mat_of(at, 0, 0);
    assert_ok(cx, qx_chol_factor(cx, none));
    assert_ok(cx, qx_chol_inverse(cx, none, none));
    assert_ok(cx, qx_chol_solve(cx, none, qx_mat_of(at, 0, 2)));
    assert_true(qx_chol_logdet(none) == 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(the_factor_is_the_one_made_by_hand),
        CTX_TEST(solving_gives_back_what_was_multiplied),
        CTX_TEST(the_triangle_alone_is_solved_both_ways),
        CTX_TEST(the_inverse_times_the_matrix_is_the_unit),
        CTX_TEST(what_is_not_definite_is_refused),
        CTX_TEST(wrong_shapes_are_refused),
        CTX_TEST(nothing_is_fine),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
