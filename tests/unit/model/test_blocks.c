/* Sets of columns that never meet: the same numbers as one dense matrix, and large layouts
 * against their closed form. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/blocks.h"
#include "model/lmm_inner.h"
#include "model/strata.h"
#include "numeric/rng.h"

#include "small_model.h"
#include "support.h"

/* Q and r of a fit, for profiles made by hand. */
static void
thin(qx_ctx *cx, const small_model *m, const qx_lmm *fit, qx_mat *Q, double **r)
{
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), fit->n, fit->p, Q));
    *r = qx_arena_alloc(qx_ctx_scratch(cx), fit->n, sizeof **r);
    assert_non_null(*r);
    for (size_t j = 0; j < fit->p; j++) {
        QX_AT(*Q, j, j) = 1.0;
        qx_qr_apply(&fit->design.qr, 'n', &QX_AT(*Q, 0, j));
    }
    for (size_t i = 0; i < fit->n; i++) {
        (*r)[i] = m->y[i];
    }
    qx_qr_apply(&fit->design.qr, 't', *r);
    for (size_t j = 0; j < fit->p; j++) {
        (*r)[j] = 0.0;
    }
    qx_qr_apply(&fit->design.qr, 'n', *r);
}

static void near_all(size_t count, const double a[], const double b[], double slack)
{
    for (size_t i = 0; i < count; i++) {
        assert_true(fabs(a[i] - b[i]) <= slack * (1.0 + fabs(b[i])));
    }
}

static void sets_and_one_matrix_agree(void **state)
{
    qx_ctx *cx = *state;
    const double gammas[][2] = {{0.0, 0.0}, {1.0, 0.5}, {0.0, 2.0}, {30.0, 4.0}};
    small_model *m = small_split_plot(cx, 71, 2.0, 1.0, 1.0);
    const uint32_t *code[] = {m->code[0], m->code[3]};
    const size_t levels[] = {4, 12};
    qx_arena *arena = qx_arena_new();
    qx_profile one, apart;
    qx_profile_point a, b;
    qx_lmm *fit;
    qx_mat Q;
    double *r;
    assert_non_null(arena);
    m->n = m->frame.n = 21;
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    thin(cx, m, fit, &Q, &r);
    assert_ok(cx, qx_profile_make(cx, arena, 2, levels, code, Q, r, &one));
    assert_ok(cx, qx_profile_make_blocks(cx, arena, 2, levels, code, Q, r, &apart));
    assert_null(one.blocks);
    assert_non_null(apart.blocks);
    assert_int_equal(apart.blocks->count, 4 + 1); /* one plot was lost with its rows */
    assert_ok(cx, qx_profile_room(cx, arena, &one, &a));
    assert_ok(cx, qx_profile_room(cx, arena, &apart, &b));
    for (size_t k = 0; k < QX_COUNT(gammas); k++) {
        double u[16], v[16];
        assert_ok(cx, qx_profile_evaluate(cx, &one, gammas[k], &a));
        assert_ok(cx, qx_profile_evaluate(cx, &apart, gammas[k], &b));
        assert_near(b.ypy, a.ypy, 1e-11);
        near_all(1, &b.log_a, &a.log_a, 1e-12);
        near_all(2, b.trace, a.trace, 1e-11);
        near_all(2, b.square, a.square, 1e-11);
        near_all(4, b.norm.at, a.norm.at, 1e-11);
        near_all(4, b.bilinear.at, a.bilinear.at, 1e-11);
        near_all(16, b.w, a.w, 1e-11);
        assert_ok(cx, qx_profile_random(cx, &one, &a, u));
        assert_ok(cx, qx_profile_random(cx, &apart, &b, v));
        near_all(16, v, u, 1e-11);
    }
    qx_lmm_free(fit);
    qx_arena_free(arena);
}

/* Crossed units hang together: one set, so the dense way is taken. */
static void crossed_units_are_one_set(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_new(cx, 120);
    const size_t row = small_factor(cx, m, "row", 60, 1);
    const size_t column = small_factor(cx, m, "column", 50, 1);
    qx_rng rng = qx_rng_seeded(72);
    qx_lmm *fit;
    small_random(m, "row", row);
    small_random(m, "column", column);
    for (size_t i = 0; i < m->n; i++) {
        m->code[row][i] = (uint32_t)(i / 2);
        m->code[column][i] = (uint32_t)((i * 7 + i / 50) % 50);
        m->y[i] = qx_rng_normal(&rng);
    }
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_null(fit->inner->profile.blocks);
    qx_lmm_free(fit);
}

/* 40 blocks of 4 plots of 3: 200 random columns in 40 sets. Components and F are those of
 * the mean squares of the strata, df those of the strata, by every method. */
static void large_split_plot_has_its_closed_form(void **state)
{
    qx_ctx *cx = *state;
    const qx_df_method methods[] = {QX_KENWARD_ROGER, QX_SATTERTHWAITE, QX_CONTAINMENT};
    small_model *m = small_new(cx, 480);
    qx_rng rng = qx_rng_seeded(73);
    double block[40], plot[160];
    const size_t b = small_factor(cx, m, "block", 40, 12);
    const size_t a = small_factor(cx, m, "a", 4, 3);
    const size_t s = small_factor(cx, m, "b", 3, 1);
    const size_t p = small_factor(cx, m, "block:plot", 160, 3);
    small_term(m, "a", 1, a, 0);
    small_term(m, "b", 1, s, 0);
    small_term(m, "a:b", 2, a, s);
    small_random(m, "block", b);
    small_random(m, "block:plot", p);
    for (size_t k = 0; k < 160; k++) {
        block[k / 4] = k % 4 == 0 ? 2.0 * qx_rng_normal(&rng) : block[k / 4];
        plot[k] = qx_rng_normal(&rng);
    }
    for (size_t i = 0; i < m->n; i++) {
        m->y[i] = block[m->code[b][i]] + plot[m->code[p][i]] + qx_rng_normal(&rng);
    }
    for (size_t k = 0; k < QX_COUNT(methods); k++) {
        qx_lmm *fit;
        qx_strata strata;
        m->spec.df = methods[k];
        assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
        assert_non_null(fit->inner->profile.blocks);
        assert_ok(
            cx, qx_strata_make(cx, qx_ctx_scratch(cx), &m->spec, &fit->design, &strata));
        const double ms[] = {strata.left[0].mean_square,
                             strata.left[1].mean_square,
                             strata.left[2].mean_square};
        assert_near(fit->component[0].variance, (ms[0] - ms[1]) / 12.0, 1e-9);
        assert_near(fit->component[1].variance, (ms[1] - ms[2]) / 3.0, 1e-9);
        assert_near(fit->component[2].variance, ms[2], 1e-9);
        for (size_t t = 0; t < 3; t++) {
            qx_mat L;
            qx_joint_test test;
            const size_t in = strata.stratum_of[t];
            assert_ok(cx,
                      qx_design_marginal(cx, qx_ctx_scratch(cx), &fit->design, t, &L));
            assert_ok(cx, qx_lmm_test(cx, fit, L, &test));
            assert_near(test.f, strata.sum_of_squares[t] / strata.df[t] / ms[in], 1e-9);
            assert_near(test.den_df, strata.left[in].df, 1e-8);
        }
        qx_lmm_free(fit);
    }
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(sets_and_one_matrix_agree),
        TEST(crossed_units_are_one_set),
        TEST(large_split_plot_has_its_closed_form),
    };
    return cmocka_run_group_tests_name("model/blocks", tests, NULL, NULL);
}
