/* Eigenvalues: closed forms and the definition. */
#include "test.h"

#include "numeric/eigen.h"

#define ROWS ((size_t)7)

/* Second differences: eigenvalues 2 - 2 cos(i pi / (n + 1)), by hand. */
static void second_differences(double at[ROWS * ROWS])
{
    for (size_t i = 0; i < ROWS * ROWS; i++) {
        const size_t row = i % ROWS;
        const size_t col = i / ROWS;
        at[i] = row == col ? 2.0 : row + 1 == col || col + 1 == row ? -1.0 : 0.0;
    }
}

static void second_differences_have_their_closed_form(void **state)
{
    qx_ctx *cx = *state;
    double at[ROWS * ROWS];
    double A[ROWS * ROWS];
    double u[ROWS * ROWS];
    double values[ROWS];
    second_differences(at);
    second_differences(A);
    const qx_mat U = qx_mat_of(u, ROWS, ROWS);
    assert_ok(cx, qx_eigen_symmetric(cx, qx_mat_of(at, ROWS, ROWS), values, U));
    const double pi = 4.0 * atan(1.0);
    for (size_t i = 0; i < ROWS; i++) {
        const double angle = ((double)i + 1.0) * pi / (ROWS + 1.0);
        assert_within(values[i], 2.0 - 2.0 * cos(angle), 1e-14);
        /* A u = value u, and columns of length one. */
        double image[ROWS];
        qx_mat_vector('n', 1.0, qx_mat_of(A, ROWS, ROWS), &QX_AT(U, 0, i), 0.0, image);
        for (size_t r = 0; r < ROWS; r++) {
            assert_within(image[r], values[i] * QX_AT(U, r, i), 1e-14);
        }
        assert_within(qx_dot(ROWS, &QX_AT(U, 0, i), &QX_AT(U, 0, i)), 1.0, 1e-14);
    }
}

static void only_the_lower_triangle_counts(void **state)
{
    qx_ctx *cx = *state;
    double at[] = {2, 1, 99, 2};
    double u[4];
    double values[2];
    assert_ok(cx,
              qx_eigen_symmetric(cx, qx_mat_of(at, 2, 2), values, qx_mat_of(u, 2, 2)));
    assert_within(values[0], 1.0, 1e-15);
    assert_within(values[1], 3.0, 1e-15);
}

static void what_is_wrong_is_refused(void **state)
{
    qx_ctx *cx = *state;
    double at[6] = {1, 0, (double)NAN, 1};
    double u[6];
    double values[3];
    assert_fails(cx,
                 qx_eigen_symmetric(cx, qx_mat_of(at, 2, 3), values, qx_mat_of(u, 2, 2)),
                 QX_E_SHAPE,
                 "2 x 3");
    assert_fails(cx,
                 qx_eigen_symmetric(cx, qx_mat_of(at, 2, 2), values, qx_mat_of(u, 3, 2)),
                 QX_E_SHAPE,
                 "3 x 2");
    at[1] = (double)NAN;
    assert_fails(cx,
                 qx_eigen_symmetric(cx, qx_mat_of(at, 2, 2), values, qx_mat_of(u, 2, 2)),
                 QX_E_NUMERIC,
                 "not finite");
    assert_ok(cx,
              qx_eigen_symmetric(cx, qx_mat_of(at, 0, 0), values, qx_mat_of(u, 0, 0)));
}

static qx_status work(qx_ctx *cx, void *given)
{
    double at[ROWS * ROWS];
    double u[ROWS * ROWS];
    double values[ROWS];
    (void)given;
    second_differences(at);
    return qx_eigen_symmetric(
        cx, qx_mat_of(at, ROWS, ROWS), values, qx_mat_of(u, ROWS, ROWS));
}

static void no_memory_is_told(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(work, NULL) >= 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        CTX_TEST(second_differences_have_their_closed_form),
        CTX_TEST(only_the_lower_triangle_counts),
        CTX_TEST(what_is_wrong_is_refused),
        cmocka_unit_test(no_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
