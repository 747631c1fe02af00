/* Sparse matrices and their factors, against the dense ones of numeric/chol.h. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "numeric/chol.h"
#include "numeric/rng.h"
#include "numeric/spchol.h"

#include "support.h"

#define ENTRIES_MOST 4000

/* A random lower triangle with an empty row and column but for the diagonal, and the same
 * matrix dense. A = I + the sum of squares of sparse rows: positive definite. */
static void random_matrix(qx_ctx *cx,
                          qx_arena *arena,
                          uint64_t seed,
                          size_t n,
                          qx_sparse *sparse,
                          qx_mat *dense)
{
    uint32_t row[ENTRIES_MOST], col[ENTRIES_MOST];
    double value[ENTRIES_MOST];
    size_t count = 0;
    qx_rng rng = qx_rng_seeded(seed);
    assert_ok(cx, qx_mat_new(cx, arena, n, n, dense));
    for (size_t i = 0; i < n; i++) {
        row[count] = col[count] = (uint32_t)i;
        value[count++] = QX_AT(*dense, i, i) = 1.0;
    }
    for (size_t k = 0; k < 2 * n; k++) {
        size_t at[3];
        double x[3];
        for (size_t a = 0; a < 3; a++) {
            at[a] = 1 + (size_t)(qx_rng_uniform(&rng) * (double)(n - 1));
            x[a] = qx_rng_normal(&rng);
        }
        for (size_t a = 0; a < 3; a++) {
            for (size_t b = 0; b < 3; b++) {
                QX_AT(*dense, at[a], at[b]) += x[a] * x[b];
                if (at[a] >= at[b]) {
                    row[count] = (uint32_t)at[a];
                    col[count] = (uint32_t)at[b];
                    value[count++] = x[a] * x[b];
                }
            }
        }
    }
    assert_ok(cx,
              qx_sparse_make(
                  cx, arena, n, n, &(qx_triplets){count, row, col, value}, NULL, sparse));
}

static void triplets_become_columns(void **state)
{
    qx_ctx *cx = *state;
    const uint32_t row[] = {2, 0, 2, 1, 2}, col[] = {0, 0, 0, 3, 3};
    const double value[] = {1.0, 2.0, 4.0, 8.0, 16.0};
    uint32_t place[5];
    qx_arena *arena = qx_arena_new();
    qx_sparse s;
    assert_non_null(arena);
    assert_ok(
        cx,
        qx_sparse_make(cx, arena, 3, 4, &(qx_triplets){5, row, col, value}, place, &s));
    const size_t start[] = {0, 2, 2, 2, 4}, rows[] = {0, 2, 1, 2};
    const double values[] = {2.0, 5.0, 8.0, 16.0};
    assert_memory_equal(s.start, start, sizeof start);
    assert_memory_equal(s.row, rows, sizeof rows);
    assert_memory_equal(s.value, values, sizeof values);
    for (size_t k = 0; k < 5; k++) {
        assert_int_equal(s.row[place[k]], row[k]);
    }
    assert_fails(
        cx,
        qx_sparse_make(cx, arena, 2, 4, &(qx_triplets){5, row, col, value}, NULL, &s),
        QX_E_SHAPE,
        "outside");
    qx_arena_free(arena);
}

static void factor_agrees_with_the_dense_one(void **state)
{
    qx_ctx *cx = *state;
    const size_t sizes[] = {2, 7, 40, 150};
    for (size_t k = 0; k < QX_COUNT(sizes); k++) {
        const size_t n = sizes[k];
        qx_arena *arena = qx_arena_new();
        qx_sparse s;
        qx_mat dense, inverse, b, x, product;
        qx_spchol *c, *twin;
        assert_non_null(arena);
        random_matrix(cx, arena, 30 + k, n, &s, &dense);
        assert_ok(cx, qx_mat_new(cx, arena, n, n, &inverse));
        assert_ok(cx, qx_mat_new(cx, arena, n, 3, &b));
        assert_ok(cx, qx_mat_new(cx, arena, n, 3, &x));
        assert_ok(cx, qx_mat_new(cx, arena, n, 3, &product));
        qx_rng rng = qx_rng_seeded(5);
        for (size_t i = 0; i < n * 3; i++) {
            b.at[i] = x.at[i] = qx_rng_normal(&rng);
        }
        double *value = qx_arena_alloc(arena, s.start[n], sizeof *value);
        assert_non_null(value);
        assert_ok(cx, qx_spchol_new(cx, arena, &s, &c));
        assert_true(isnan(qx_spchol_logdet(c)));
        assert_fails(cx, qx_spchol_solve(cx, c, x), QX_E_ARG, "nothing is factored");
        assert_ok(cx, qx_spchol_again(cx, arena, c, &twin));
        assert_ok(cx, qx_spchol_factor(cx, twin, s.value));
        assert_ok(cx, qx_spchol_solve(cx, twin, x));
        qx_sparse_symmetric_multiply(&s, s.value, 1.0, x, product);
        assert_ok(cx, qx_spchol_inverse(cx, twin, value));
        assert_ok(cx, qx_chol_factor(cx, dense));
        assert_near(qx_spchol_logdet(twin), qx_chol_logdet(dense), 1e-12);
        assert_ok(cx, qx_chol_inverse(cx, dense, inverse));
        for (size_t i = 0; i < n * 3; i++) {
            assert_true(fabs(product.at[i] - b.at[i]) < 1e-10);
        }
        for (size_t j = 0; j < n; j++) {
            for (size_t e = s.start[j]; e < s.start[j + 1]; e++) {
                assert_true(fabs(value[e] - QX_AT(inverse, s.row[e], j)) < 1e-12);
            }
        }
        assert_int_equal(qx_spchol_small_pivots(twin, 1e-12), 0);
        qx_arena_free(arena);
    }
}

static void what_cannot_be_factored_is_told(void **state)
{
    qx_ctx *cx = *state;
    const uint32_t row[] = {0, 1, 1, 2}, col[] = {0, 0, 1, 2};
    const double good[] = {4.0, 1.0, 3.0, 1.0}, bad[] = {1.0, 2.0, 1.0, 1.0};
    const double worse[] = {1.0, NAN, 1.0, 1.0};
    qx_arena *arena = qx_arena_new();
    qx_sparse s, gap;
    qx_spchol *c;
    assert_non_null(arena);
    assert_ok(
        cx, qx_sparse_make(cx, arena, 3, 3, &(qx_triplets){4, row, col, NULL}, NULL, &s));
    assert_ok(cx, qx_spchol_new(cx, arena, &s, &c));
    assert_fails(cx, qx_spchol_factor(cx, c, bad), QX_E_NOT_PD, "row");
    assert_true(isnan(qx_spchol_logdet(c)));
    assert_fails(cx, qx_spchol_factor(cx, c, worse), QX_E_NUMERIC, "finite");
    assert_ok(cx, qx_spchol_factor(cx, c, good));
    assert_near(qx_spchol_logdet(c), log(11.0), 1e-14);
    assert_ok(
        cx,
        qx_sparse_make(cx, arena, 3, 3, &(qx_triplets){3, row, col, NULL}, NULL, &gap));
    assert_fails(cx, qx_spchol_new(cx, arena, &gap, &c), QX_E_SHAPE, "diagonal");
    qx_arena_free(arena);
}

/* Three columns that add up to nothing, with a little added to the diagonal. */
static void dependent_columns_are_counted(void **state)
{
    qx_ctx *cx = *state;
    const uint32_t row[] = {0, 1, 2, 1, 2, 2, 3}, col[] = {0, 0, 0, 1, 1, 2, 3};
    const double e = 1e-10;
    const double value[] = {2.0 + e, -1.0, -1.0, 2.0 + e, -1.0, 2.0 + e, 5.0};
    qx_sparse s;
    qx_spchol *c;
    qx_arena *arena = qx_arena_new();
    assert_non_null(arena);
    assert_ok(
        cx, qx_sparse_make(cx, arena, 4, 4, &(qx_triplets){7, row, col, NULL}, NULL, &s));
    assert_ok(cx, qx_spchol_new(cx, arena, &s, &c));
    assert_ok(cx, qx_spchol_factor(cx, c, value));
    assert_int_equal(qx_spchol_small_pivots(c, 1e-7), 1);
    qx_arena_free(arena);
}

static qx_status factor_and_invert(qx_ctx *cx, void *given)
{
    const qx_sparse *s = given;
    double *value;
    qx_spchol *c;
    QX_NEW(cx, value, s->start[s->cols]);
    QX_TRY(qx_spchol_new(cx, qx_ctx_scratch(cx), s, &c));
    QX_TRY(qx_spchol_factor(cx, c, s->value));
    return qx_spchol_inverse(cx, c, value);
}

static void failed_allocations_leave_nothing(void **state)
{
    qx_ctx *cx = *state;
    qx_sparse s;
    qx_mat dense;
    qx_arena *arena = qx_arena_new();
    assert_non_null(arena);
    random_matrix(cx, arena, 9, 60, &s, &dense);
    assert_true(fail_each_allocation(factor_and_invert, &s) > 5);
    qx_arena_free(arena);
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(triplets_become_columns),
        TEST(factor_agrees_with_the_dense_one),
        TEST(what_cannot_be_factored_is_told),
        TEST(dependent_columns_are_counted),
        TEST(failed_allocations_leave_nothing),
    };
    return cmocka_run_group_tests_name("numeric/spchol", tests, NULL, NULL);
}
