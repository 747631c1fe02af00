/* The profiled criterion against its definition with dense matrices, and its derivatives
 * against differences. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/lmm_inner.h"
#include "numeric/chol.h"
#include "numeric/deriv.h"

#include "small_model.h"
#include "support.h"

typedef struct probe {
    qx_ctx *cx;
    const qx_profile *profile;
    qx_profile_point room;
} probe;

/* A split plot with three rows lost, so that nothing is balanced. */
static qx_lmm *fit_of(qx_ctx *cx, small_model *m)
{
    qx_lmm *fit;
    m->frame.n = m->n = 21;
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    return fit;
}

static double criterion(void *data, size_t m, const double gamma[])
{
    probe *p = data;
    assert_int_equal(m, p->profile->m);
    assert_ok(p->cx, qx_profile_value(p->cx, p->profile, gamma, &p->room));
    return qx_profile_criterion(p->profile, &p->room);
}

/* (n - p) log y'Py + log|V| + log|X'V^-1 X| - log|X'X| with V = I + sum gamma Z Z'. */
static double
dense_criterion(qx_ctx *cx, const small_model *m, const qx_lmm *fit, const double gamma[])
{
    const size_t n = fit->n;
    const size_t p = fit->p;
    qx_arena *arena = qx_ctx_scratch(cx);
    qx_mat V, X, y, gram, plain, beta;
    assert_ok(cx, qx_mat_new(cx, arena, n, n, &V));
    assert_ok(cx, qx_mat_new(cx, arena, n, p, &X));
    assert_ok(cx, qx_mat_new(cx, arena, n, 1, &y));
    assert_ok(cx, qx_mat_new(cx, arena, p, p, &gram));
    assert_ok(cx, qx_mat_new(cx, arena, p, p, &plain));
    assert_ok(cx, qx_mat_new(cx, arena, p, 1, &beta));
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            QX_AT(V, i, j) = i == j ? 1.0 : 0.0;
            for (size_t k = 0; k < m->spec.random_count; k++) {
                const uint32_t *code = m->code[m->random[k].factor];
                QX_AT(V, i, j) += code[i] == code[j] ? gamma[k] : 0.0;
            }
        }
        y.at[i] = m->y[i] / fit->inner->scale;
    }
    qx_mat_copy(X, fit->design.X);
    assert_ok(cx, qx_mat_crossprod(cx, X, plain));
    assert_ok(cx, qx_chol_factor(cx, V));
    assert_ok(cx, qx_chol_solve_lower(cx, 'n', V, X));
    assert_ok(cx, qx_chol_solve_lower(cx, 'n', V, y));
    assert_ok(cx, qx_mat_crossprod(cx, X, gram));
    assert_ok(cx, qx_chol_factor(cx, gram));
    assert_ok(cx, qx_chol_factor(cx, plain));
    assert_ok(cx, qx_mat_multiply(cx, 't', 'n', 1.0, X, y, 0.0, beta));
    assert_ok(cx, qx_chol_solve(cx, gram, beta));
    assert_ok(cx, qx_mat_multiply(cx, 'n', 'n', -1.0, X, beta, 1.0, y));
    return (double)(n - p) * log(qx_dot(n, y.at, y.at)) + qx_chol_logdet(V) +
           qx_chol_logdet(gram) - qx_chol_logdet(plain);
}

static void criterion_is_that_of_dense_matrices(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 11, 2.0, 1.0, 1.0);
    qx_lmm *fit = fit_of(cx, m);
    const double gammas[][2] = {{0.0, 0.0}, {1.0, 1.0}, {0.0, 3.0}, {250.0, 0.01}};
    probe p = {.cx = cx, .profile = &fit->inner->profile};
    assert_ok(cx, qx_profile_room(cx, qx_ctx_scratch(cx), p.profile, &p.room));
    for (size_t k = 0; k < QX_COUNT(gammas); k++) {
        assert_near(
            criterion(&p, 2, gammas[k]), dense_criterion(cx, m, fit, gammas[k]), 1e-11);
    }
    qx_lmm_free(fit);
}

static void derivatives_are_those_of_differences(void **state)
{
    qx_ctx *cx = *state;
    qx_lmm *fit = fit_of(cx, small_split_plot(cx, 12, 2.0, 1.0, 1.0));
    const double gammas[][2] = {{0.5, 0.7}, {2.0, 0.3}, {20.0, 5.0}};
    probe p = {.cx = cx, .profile = &fit->inner->profile};
    qx_arena *arena = qx_ctx_scratch(cx);
    qx_mat h, e, numeric;
    assert_ok(cx, qx_profile_room(cx, arena, p.profile, &p.room));
    assert_ok(cx, qx_mat_new(cx, arena, 2, 2, &h));
    assert_ok(cx, qx_mat_new(cx, arena, 2, 2, &e));
    assert_ok(cx, qx_mat_new(cx, arena, 2, 2, &numeric));
    for (size_t k = 0; k < QX_COUNT(gammas); k++) {
        double g[2], g_numeric[2];
        assert_ok(cx, qx_gradient(cx, 2, criterion, &p, gammas[k], g_numeric));
        assert_ok(cx, qx_hessian(cx, 2, criterion, &p, gammas[k], numeric));
        assert_ok(cx, qx_profile_evaluate(cx, p.profile, gammas[k], &p.room));
        qx_profile_derivatives(p.profile, &p.room, g, h, e);
        for (size_t i = 0; i < 2; i++) {
            assert_near(g[i], g_numeric[i], 1e-7);
            for (size_t j = 0; j < 2; j++) {
                assert_near(QX_AT(h, i, j), QX_AT(numeric, i, j), 1e-5);
            }
        }
    }
    qx_lmm_free(fit);
}

/* At the optimum the gradient is nil for positive ratios and not negative at zero. */
static void optimum_meets_its_conditions(void **state)
{
    qx_ctx *cx = *state;
    for (uint64_t seed = 1; seed <= 40; seed++) {
        qx_lmm *fit = fit_of(cx, small_split_plot(cx, seed, 0.5, 0.5, 1.0));
        const struct qx_lmm_inner *in = fit->inner;
        double g[2];
        qx_mat h, e;
        assert_true(fit->converged);
        assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), 2, 2, &h));
        assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), 2, 2, &e));
        qx_profile_derivatives(&in->profile, &in->at, g, h, e);
        for (size_t i = 0; i < 2; i++) {
            if (in->gamma[i] > 0.0) {
                assert_true(fabs(g[i] * in->gamma[i]) < 1e-9);
            } else {
                assert_true(g[i] >= 0.0);
            }
        }
        qx_lmm_free(fit);
    }
}

/* y'Py and the rest do not change when both blocks of columns are written twice over: the
 * ratios of two terms with the same units only count as a sum. */
static void ratios_of_equal_terms_add(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 13, 2.0, 1.0, 1.0);
    qx_lmm *fit = fit_of(cx, m);
    qx_profile twice;
    const uint32_t *code[] = {m->code[3], m->code[3]};
    const size_t levels[] = {12, 12};
    qx_mat Q;
    double *r;
    probe one = {.cx = cx, .profile = &fit->inner->profile};
    probe two = {.cx = cx, .profile = &twice};
    qx_arena *arena = qx_ctx_scratch(cx);
    assert_ok(cx, qx_mat_new(cx, arena, fit->n, fit->p, &Q));
    for (size_t j = 0; j < fit->p; j++) {
        QX_AT(Q, j, j) = 1.0;
        qx_qr_apply(&fit->design.qr, 'n', &QX_AT(Q, 0, j));
    }
    r = qx_arena_alloc(arena, fit->n, sizeof *r);
    for (size_t i = 0; i < fit->n; i++) {
        r[i] = m->y[i] / fit->inner->scale;
    }
    qx_qr_apply(&fit->design.qr, 't', r);
    for (size_t j = 0; j < fit->p; j++) {
        r[j] = 0.0;
    }
    qx_qr_apply(&fit->design.qr, 'n', r);
    assert_ok(cx, qx_profile_make(cx, arena, 2, levels, code, Q, r, &twice));
    assert_ok(cx, qx_profile_room(cx, arena, one.profile, &one.room));
    assert_ok(cx, qx_profile_room(cx, arena, two.profile, &two.room));
    assert_near(criterion(&one, 2, (double[]){0.0, 0.9}),
                criterion(&two, 2, (double[]){0.6, 0.3}),
                1e-12);
    qx_lmm_free(fit);
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(criterion_is_that_of_dense_matrices),
        TEST(derivatives_are_those_of_differences),
        TEST(optimum_meets_its_conditions),
        TEST(ratios_of_equal_terms_add),
    };
    return cmocka_run_group_tests_name("model/profile", tests, NULL, NULL);
}
