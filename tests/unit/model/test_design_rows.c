/* A compact design against the same with all its rows. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/design_rows.h"
#include "numeric/rng.h"

#include "small_model.h"
#include "support.h"

#define ROWS 40000

/* 5 x 6 treatments of which two have no data, a covariate with few values: 36 columns. */
static small_model *large_model(qx_ctx *cx)
{
    small_model *m = small_new(cx, ROWS);
    qx_rng rng = qx_rng_seeded(31);
    const size_t a = small_factor(cx, m, "a", 5, 1);
    const size_t b = small_factor(cx, m, "b", 6, 1);
    small_covariate(cx, m, "year");
    small_term(m, "a", 1, a, 0);
    small_term(m, "b", 1, b, 0);
    small_term(m, "a:b", 2, a, b);
    for (size_t i = 0; i < ROWS; i++) {
        m->code[a][i] = (uint32_t)(5.0 * qx_rng_uniform(&rng));
        m->code[b][i] = (uint32_t)(6.0 * qx_rng_uniform(&rng));
        if (m->code[a][i] == 4 && m->code[b][i] > 3) {
            m->code[b][i] = 0;
        }
        m->x[i] = 2020.0 + floor(4.0 * qx_rng_uniform(&rng));
        m->y[i] = (double)m->code[a][i] + m->x[i] + qx_rng_normal(&rng);
    }
    return m;
}

static double *column(qx_arena *arena)
{
    double *x = qx_arena_alloc(arena, ROWS, sizeof *x);
    assert_non_null(x);
    return x;
}

static void near_all(size_t n, const double a[], const double b[], double slack)
{
    for (size_t i = 0; i < n; i++) {
        assert_true(fabs(a[i] - b[i]) <= slack * (1.0 + fabs(b[i])));
    }
}

typedef struct both {
    qx_arena *arena;
    small_model *m;
    qx_design whole, compact;
} both;

static both make_both(qx_ctx *cx)
{
    both d = {.arena = qx_arena_new(), .m = large_model(cx)};
    const qx_lmm_spec *s = &d.m->spec;
    assert_non_null(d.arena);
    assert_ok(cx,
              qx_design_make(cx, d.arena, s->frame, s->term_count, s->term, &d.whole));
    assert_ok(cx,
              qx_design_make_compact(
                  cx, d.arena, s->frame, s->term_count, s->term, &d.compact));
    assert_null(d.whole.row_of);
    assert_non_null(d.compact.row_of);
    return d;
}

static void same_columns_are_kept(void **state)
{
    both d = make_both(*state);
    assert_int_equal(d.compact.rows.rows, 28 * 4);
    assert_int_equal(d.compact.p, d.whole.p);
    assert_int_equal(d.compact.full, d.whole.full);
    for (size_t j = 0; j < d.whole.p; j++) {
        assert_int_equal(d.compact.kept[j], d.whole.kept[j]);
        assert_string_equal(d.compact.name[j], d.whole.name[j]);
        for (size_t i = 0; i < ROWS; i += 7) {
            assert_true(qx_design_entry(&d.compact, i, j) == QX_AT(d.whole.X, i, j));
        }
    }
    qx_arena_free(d.arena);
}

static void least_squares_agree(void **state)
{
    qx_ctx *cx = *state;
    both d = make_both(cx);
    double full[2][40], effects[2][40];
    double *r[] = {column(d.arena), column(d.arena)};
    double *h[] = {column(d.arena), column(d.arena)};
    double *fit[] = {column(d.arena), column(d.arena)};
    const qx_design *form[] = {&d.whole, &d.compact};
    assert_true(d.whole.full <= 40);
    for (size_t k = 0; k < 2; k++) {
        double beta[40];
        assert_ok(cx, qx_design_split(cx, form[k], d.m->y, full[k], effects[k], r[k]));
        assert_ok(cx, qx_design_leverage(cx, form[k], h[k]));
        for (size_t j = 0; j < form[k]->p; j++) {
            beta[j] = full[k][form[k]->kept[j]];
        }
        assert_ok(cx, qx_design_times(cx, form[k], beta, fit[k]));
    }
    near_all(ROWS, r[1], r[0], 1e-9);
    near_all(ROWS, h[1], h[0], 1e-12);
    near_all(ROWS, fit[1], fit[0], 1e-9);
    for (size_t j = 0; j < d.whole.full; j++) {
        assert_true(fabs(full[1][j] - full[0][j]) < 1e-7);
    }
    for (size_t j = 0; j < d.whole.p; j++) {
        assert_near(fabs(effects[1][j]), fabs(effects[0][j]), 1e-7);
    }
    qx_arena_free(d.arena);
}

/* Columns of Q are fixed up to their sign. */
static void bases_and_projections_agree(void **state)
{
    qx_ctx *cx = *state;
    both d = make_both(cx);
    double *x = column(d.arena), *z = column(d.arena);
    double *room[] = {qx_arena_alloc(d.arena, qx_design_room(&d.whole), sizeof *x),
                      qx_arena_alloc(d.arena, qx_design_room(&d.compact), sizeof *x)};
    for (size_t j = 0; j < d.whole.p; j++) {
        assert_ok(cx, qx_design_basis(cx, &d.whole, j, x));
        assert_ok(cx, qx_design_basis(cx, &d.compact, j, z));
        assert_near(fabs(qx_dot(ROWS, x, z)), 1.0, 1e-10);
    }
    memcpy(x, d.m->y, ROWS * sizeof *x);
    memcpy(z, d.m->y, ROWS * sizeof *z);
    qx_design_project(&d.whole, x, room[0]);
    qx_design_project(&d.compact, z, room[1]);
    assert_near(qx_dot(ROWS, x, x), qx_dot(ROWS, z, z), 1e-11);
    qx_arena_free(d.arena);
}

/* Without any fixed term there is one row. */
static void small_designs_stay_whole(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 3, 1.0, 1.0, 1.0);
    qx_arena *arena = qx_arena_new();
    qx_design d;
    qx_alike a;
    qx_mat rows;
    assert_non_null(arena);
    assert_ok(cx,
              qx_design_make_compact(
                  cx, arena, &m->frame, m->spec.term_count, m->spec.term, &d));
    assert_null(d.row_of);
    assert_ok(cx, qx_design_rows(cx, arena, &d, &a, &rows));
    assert_int_equal(a.count, 6);
    for (size_t i = 0; i < m->n; i++) {
        for (size_t j = 0; j < d.p; j++) {
            assert_true(QX_AT(rows, a.of[i], j) == QX_AT(d.X, i, j));
        }
    }
    qx_arena_free(arena);
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(same_columns_are_kept),
        TEST(least_squares_agree),
        TEST(bases_and_projections_agree),
        TEST(small_designs_stay_whole),
    };
    return cmocka_run_group_tests_name("model/design_rows", tests, NULL, NULL);
}
