/* Odd units and leaving a unit out, against generalised least squares written out densely,
 * with the rows of the unit really left out; the stratum's df of balanced layouts; and rate
 * of alarms on data without an odd unit. No outside numbers: each is checked against its
 * definition (model/unit_residual.h) by another way. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/unit_residual.h"
#include "numeric/chol.h"
#include "numeric/dist.h"

#include "small_model.h"
#include "support.h"

static qx_mat new_mat(qx_ctx *cx, size_t rows, size_t cols)
{
    qx_mat m;
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), rows, cols, &m));
    return m;
}

/* W of some rows, from the components of the fit. */
static qx_mat
weights(qx_ctx *cx, const small_model *m, const qx_lmm *fit, size_t n, const size_t row[])
{
    qx_mat w = new_mat(cx, n, n);
    const double sigma2 = fit->component[fit->random_count].variance;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            QX_AT(w, i, j) = i == j ? 1.0 : 0.0;
            for (size_t k = 0; k < fit->random_count; k++) {
                const uint32_t *code = m->frame.factor[m->random[k].factor].code;
                QX_AT(w, i, j) += code[row[i]] == code[row[j]]
                                      ? fit->component[k].variance / sigma2
                                      : 0.0;
            }
        }
    }
    return w;
}

/* beta of some rows with W held; information (p x p) is X'W^-1X of them. */
static void solve(qx_ctx *cx,
                  const small_model *m,
                  const qx_lmm *fit,
                  size_t n,
                  const size_t row[],
                  double beta[],
                  qx_mat information)
{
    qx_mat w = weights(cx, m, fit, n, row), x = new_mat(cx, n, fit->p);
    qx_mat wx = new_mat(cx, n, fit->p), factor = new_mat(cx, fit->p, fit->p);
    qx_mat right = new_mat(cx, fit->p, 1);
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < fit->p; j++) {
            QX_AT(x, i, j) = QX_AT(wx, i, j) = QX_AT(fit->design.X, row[i], j);
        }
    }
    assert_ok(cx, qx_chol_factor(cx, w));
    assert_ok(cx, qx_chol_solve(cx, w, wx));
    assert_ok(cx, qx_mat_multiply(cx, 't', 'n', 1.0, x, wx, 0.0, information));
    for (size_t j = 0; j < fit->p; j++) {
        for (size_t i = 0; i < n; i++) {
            QX_AT(right, j, 0) += QX_AT(wx, i, j) * m->y[row[i]];
        }
    }
    qx_mat_copy(factor, information);
    assert_ok(cx, qx_chol_factor(cx, factor));
    assert_ok(cx, qx_chol_solve(cx, factor, right));
    for (size_t j = 0; j < fit->p; j++) {
        beta[j] = QX_AT(right, j, 0);
    }
}

static void
unit_left_out_by_hand(qx_ctx *cx, const small_model *m, const qx_lmm *fit, size_t factor)
{
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(cx));
    const qx_factor *f = &m->frame.factor[factor];
    const double sigma2 = fit->component[fit->random_count].variance;
    qx_unit_residuals r;
    double all[16], without[16];
    size_t row[64];
    qx_mat information = new_mat(cx, fit->p, fit->p), part = new_mat(cx, fit->p, fit->p);
    assert_ok(cx, qx_unit_residuals_make(cx, arena, fit, factor, &r));
    assert_int_equal(r.count, f->level_count);
    for (size_t i = 0; i < m->n; i++) {
        row[i] = i;
    }
    solve(cx, m, fit, m->n, row, all, information);
    for (size_t k = 0; k < r.count; k++) {
        size_t n = 0;
        double move[16];
        for (size_t i = 0; i < m->n; i++) {
            row[n] = i;
            n += f->code[i] == k ? 0 : 1;
        }
        solve(cx, m, fit, n, row, without, part);
        for (size_t j = 0; j < fit->p; j++) {
            move[j] = without[j] - all[j];
        }
        assert_near(
            r.cook[k], qx_quadratic(information, move) / ((double)fit->p * sigma2), 1e-8);
        assert_true(r.leverage[k] > 0.0 && r.leverage[k] < 1.0);
    }
}

static void units_left_out(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 3, 2.0, 1.5, 1.0);
    qx_lmm *fit;
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    for (size_t k = 0; k < m->spec.random_count; k++) {
        unit_left_out_by_hand(cx, m, fit, m->random[k].factor);
    }
    qx_lmm_free(fit);
}

/* Balanced: the df are those of the stratum, and the likelihood equation makes the mean of
 * the squares of r, weighted by v (all equal here), one. */
static void df_of_the_stratum(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 3, 2.0, 1.5, 1.0);
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(cx));
    qx_unit_residuals r;
    qx_lmm *fit;
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_true(fit->component[0].variance > 0.0);
    assert_ok(cx, qx_unit_residuals_make(cx, arena, fit, m->random[0].factor, &r));
    assert_near(r.df, 3.0, 1e-8); /* four blocks */
    double sum = 0.0;
    for (size_t k = 0; k < r.count; k++) {
        sum += r.standardised[k] * r.standardised[k];
        assert_near(r.studentised[k],
                    r.standardised[k] *
                        sqrt(2.0 / (3.0 - r.standardised[k] * r.standardised[k])),
                    1e-8);
    }
    assert_near(sum / 4.0, 1.0, 1e-10);
    qx_lmm_free(fit);
}

/* One plot raised by much is found, and it is the right one. */
static void an_odd_unit_is_found(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 11, 1.0, 1.0, 0.5);
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(cx));
    const size_t plot = m->random[1].factor;
    qx_unit_residuals r;
    qx_lmm *fit;
    for (size_t i = 0; i < m->n; i++) {
        m->y[i] += m->frame.factor[plot].code[i] == 7 ? 40.0 : 0.0;
    }
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_ok(cx, qx_unit_residuals_make(cx, arena, fit, plot, &r));
    for (size_t k = 0; k < r.count; k++) {
        assert_true(k == 7 || fabs(r.studentised[k]) < fabs(r.studentised[7]));
    }
    assert_true((double)r.count * qx_t_two_sided(r.studentised[7], r.df - 1.0) < 0.001);
    qx_lmm_free(fit);
}

/* Without an odd unit the Bonferroni p is below 0.05 in about one of twenty trials or
 * fewer. 400 trials; more than 40 would be above five standard errors. */
static void alarms_are_rare(void **state)
{
    qx_ctx *cx = *state;
    int alarms = 0, asked = 0;
    for (uint64_t seed = 100; seed < 500; seed++) {
        qx_ctx *own = qx_ctx_new();
        assert_non_null(own);
        small_model *m = small_split_plot(own, seed, 1.0, 1.5, 1.0);
        qx_arena *arena = qx_arena_inside(qx_ctx_scratch(own));
        qx_unit_residuals r;
        qx_lmm *fit;
        assert_ok(own, qx_lmm_fit(own, &m->spec, &fit));
        assert_ok(own, qx_unit_residuals_make(own, arena, fit, m->random[1].factor, &r));
        double least = 1.0;
        for (size_t k = 0; k < r.count; k++) {
            if (isfinite(r.studentised[k])) {
                least =
                    fmin(least,
                         (double)r.count * qx_t_two_sided(r.studentised[k], r.df - 1.0));
            }
        }
        asked++;
        alarms += least < 0.05 ? 1 : 0;
        qx_lmm_free(fit);
        qx_ctx_free(own);
    }
    (void)cx;
    assert_int_equal(asked, 400);
    assert_true(alarms < 40);
}

/* A unit that alone carries a level cannot be left out: said by NAN, not by a number. */
static void a_unit_that_carries_a_level(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_new(cx, 16);
    const size_t tree = small_factor(cx, m, "tree", 8, 2);
    const size_t pinch = small_factor(cx, m, "pinch", 2, 1);
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(cx));
    qx_unit_residuals r;
    qx_lmm *fit;
    for (size_t i = 0; i < 16; i++) {
        m->code[pinch][i] = i < 2 ? 1 : 0; /* tree 1 alone is pinched */
        m->y[i] = cos((double)(3 * i * i)) + (double)(i / 2);
    }
    small_term(m, "pinch", 1, pinch, 0);
    small_random(m, "tree", tree);
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_ok(cx, qx_unit_residuals_make(cx, arena, fit, tree, &r));
    assert_true(isnan(r.cook[0]) && isnan(r.studentised[0]));
    assert_true(isfinite(r.cook[1]) && isfinite(r.studentised[1]));
    assert_true(qx_ctx_status(cx) == QX_OK);
    assert_fails(
        cx, qx_unit_residuals_make(cx, arena, fit, 99, &r), QX_E_ARG, "no factor");
    qx_lmm_free(fit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            units_left_out, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            df_of_the_stratum, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            an_odd_unit_is_found, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            alarms_are_rare, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            a_unit_that_carries_a_level, support_ctx_new, support_ctx_free),
    };
    return cmocka_run_group_tests_name("model/unit_residual", tests, NULL, NULL);
}
