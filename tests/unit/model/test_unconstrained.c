/* Where a component is at zero: the F tests of the analysis of variance (written out here
 * as sums of squares, after Fisher), never the degrees of freedom of smaller units; and a
 * profile at negative ratios against n x n matrices. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/lmm_inner.h"
#include "model/spectral.h"
#include "numeric/chol.h"
#include "numeric/dist.h"
#include "numeric/rng.h"

#include "small_model.h"
#include "support.h"

#define SEEDS 40

static qx_lmm *fitted(qx_ctx *cx, small_model *m, bool unconstrained)
{
    qx_lmm *fit;
    m->spec.unconstrained = unconstrained;
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    return fit;
}

static qx_joint_test marginal(qx_ctx *cx, const qx_lmm *fit, size_t term)
{
    qx_mat rows;
    qx_joint_test test;
    assert_ok(cx, qx_design_marginal(cx, fit->arena, &fit->design, term, &rows));
    assert_ok(cx, qx_lmm_test(cx, fit, rows, &test));
    return test;
}

/* Sum over levels of n_l (mean_l - mean)^2. */
static double between(const small_model *m, size_t factor)
{
    double sum[64] = {0.0}, count[64] = {0.0};
    double all = 0.0, squares = 0.0;
    for (size_t i = 0; i < m->n; i++) {
        sum[m->code[factor][i]] += m->y[i];
        count[m->code[factor][i]] += 1.0;
        all += m->y[i];
    }
    for (size_t l = 0; l < 64; l++) {
        squares += count[l] > 0.0 ? sum[l] * sum[l] / count[l] : 0.0;
    }
    return squares - all * all / (double)m->n;
}

static double total(const small_model *m)
{
    double sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < m->n; i++) {
        sum += m->y[i];
        squares += m->y[i] * m->y[i];
    }
    return squares - sum * sum / (double)m->n;
}

/* 4 treatments on 5 trees each, 3 limbs a tree; trees do not vary. */
static small_model *limbs(qx_ctx *cx, uint64_t seed)
{
    small_model *m = small_new(cx, 60);
    qx_rng rng = qx_rng_seeded(seed);
    const size_t a = small_factor(cx, m, "a", 4, 15);
    const size_t tree = small_factor(cx, m, "tree", 20, 3);
    small_term(m, "a", 1, a, 0);
    small_random(m, "tree", tree);
    for (size_t i = 0; i < m->n; i++) {
        m->y[i] = qx_rng_normal(&rng);
    }
    return m;
}

/* Trees are tested against trees: F and its 16 df, whatever the limbs do. */
static void limbs_never_become_replicates(void **state)
{
    qx_ctx *cx = *state;
    size_t seen = 0;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        small_model *m = limbs(cx, seed);
        const double treatment = between(m, 0) / 3.0;
        const double tree = (between(m, 1) - between(m, 0)) / 16.0;
        const double limb = (total(m) - between(m, 1)) / 40.0;
        qx_lmm *fit = fitted(cx, m, true);
        const qx_joint_test test = marginal(cx, fit, 0);
        assert_near(test.f, treatment / tree, 1e-9);
        assert_near(test.den_df, 16.0, 1e-8);
        assert_near(test.p, qx_f_p(treatment / tree, 3.0, 16.0, QX_UPPER), 1e-8);
        assert_near(fit->component[0].unconstrained, (tree - limb) / 3.0, 1e-8);
        assert_near(fit->component[1].unconstrained, limb, 1e-9);
        assert_int_equal(fit->unconstrained, tree < limb);
        if (tree < limb) {
            seen++;
            assert_true(fit->component[0].at_zero);
            assert_true(fit->component[0].variance == 0.0);
            assert_string_equal(test.method, "Kenward-Roger, unconstrained variances");
            /* A mean has the standard error of its five trees, with their df. */
            const double first[] = {1.0, 0.0, 0.0, 0.0};
            qx_estimate e;
            assert_ok(cx, qx_lmm_contrast(cx, fit, first, 1.0, &e));
            assert_near(e.se, sqrt(tree / 15.0), 1e-9);
            assert_near(e.df, 16.0, 1e-8);
        }
        qx_lmm_free(fit);
    }
    assert_true(seen > SEEDS / 4 && seen < SEEDS);
}

/* The same with 160 trees, beyond what a plan keeps strata for: F with 156 df. */
static void many_trees_are_their_own_replicates(void **state)
{
    qx_ctx *cx = *state;
    size_t seen = 0;
    for (uint64_t seed = 1; seed <= 6; seed++) {
        small_model *m = small_new(cx, 480);
        qx_rng rng = qx_rng_seeded(seed);
        const size_t a = small_factor(cx, m, "a", 4, 120);
        const size_t tree = small_factor(cx, m, "tree", 160, 3);
        double sum[160] = {0.0}, by_tree = 0.0, all = 0.0;
        small_term(m, "a", 1, a, 0);
        small_random(m, "tree", tree);
        for (size_t i = 0; i < m->n; i++) {
            m->y[i] = qx_rng_normal(&rng);
            sum[m->code[tree][i]] += m->y[i];
            all += m->y[i];
        }
        for (size_t t = 0; t < 160; t++) {
            by_tree += sum[t] * sum[t] / 3.0;
        }
        by_tree -= all * all / 480.0;
        const double mean_square = (by_tree - between(m, a)) / 156.0;
        qx_lmm *fit = fitted(cx, m, true);
        const qx_joint_test test = marginal(cx, fit, 0);
        assert_near(test.f, between(m, a) / 3.0 / mean_square, 1e-7);
        assert_near(test.den_df, 156.0, 1e-6);
        seen += fit->unconstrained ? 1 : 0;
        qx_lmm_free(fit);
    }
    assert_true(seen > 0);
}

/* Complete blocks that do not vary: blocks are taken out all the same. */
static void blocks_are_taken_out(void **state)
{
    qx_ctx *cx = *state;
    size_t seen = 0;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        small_model *m = small_new(cx, 24);
        qx_rng rng = qx_rng_seeded(seed);
        const size_t block = small_factor(cx, m, "block", 6, 4);
        const size_t a = small_factor(cx, m, "a", 4, 1);
        small_term(m, "a", 1, a, 0);
        small_random(m, "block", block);
        for (size_t i = 0; i < m->n; i++) {
            m->y[i] = qx_rng_normal(&rng);
        }
        const double rest = (total(m) - between(m, block) - between(m, a)) / 15.0;
        qx_lmm *fit = fitted(cx, m, true);
        const qx_joint_test test = marginal(cx, fit, 0);
        assert_near(test.f, between(m, a) / 3.0 / rest, 1e-8);
        assert_near(test.den_df, 15.0, 1e-7);
        seen += fit->unconstrained ? 1 : 0;
        qx_lmm_free(fit);
    }
    assert_true(seen > SEEDS / 4);
}

/* Both strata of a split plot keep their own denominators. */
static void a_split_plot_keeps_its_strata(void **state)
{
    qx_ctx *cx = *state;
    size_t seen = 0;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        small_model *m = small_split_plot(cx, seed, 0.0, 0.0, 1.0);
        const double plot =
            (between(m, 3) - between(m, 0) - between(m, 1)) / 6.0; /* block:plot */
        qx_lmm *fit = fitted(cx, m, true);
        const qx_joint_test test = marginal(cx, fit, 0);
        assert_near(test.f, between(m, 1) / 2.0 / plot, 1e-8);
        assert_near(test.den_df, 6.0, 1e-7);
        assert_near(marginal(cx, fit, 1).den_df, 9.0, 1e-7);
        seen += fit->unconstrained ? 1 : 0;
        qx_lmm_free(fit);
    }
    assert_true(seen > SEEDS / 4);
}

/* Asked for by name, Kenward-Roger is what it was; and inside the boundary both agree. */
static void away_from_zero_nothing_changes(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 3, 3.0, 2.0, 1.0);
    qx_lmm *a = fitted(cx, m, false);
    qx_lmm *b = fitted(cx, m, true);
    assert_false(b->component[0].at_zero || b->component[1].at_zero);
    assert_false(b->unconstrained);
    assert_string_equal(marginal(cx, b, 0).method, "Kenward-Roger");
    assert_true(marginal(cx, a, 0).p == marginal(cx, b, 0).p);
    assert_true(b->component[1].unconstrained == b->component[1].variance);
    qx_lmm_free(a);
    qx_lmm_free(b);
    m = limbs(cx, 1);
    for (uint64_t seed = 2; between(m, 1) / 19.0 > total(m) / 59.0; seed++) {
        m = limbs(cx, seed);
    }
    a = fitted(cx, m, false);
    assert_true(a->component[0].at_zero && !a->unconstrained);
    assert_true(a->component[0].unconstrained < 0.0); /* told all the same */
    assert_string_equal(marginal(cx, a, 0).method, "Kenward-Roger");
    qx_lmm_free(a);
}

/* Limbs are lost: no closed form, but the df stay near those of trees, and standard errors
 * are numbers. */
static void an_unbalanced_layout_keeps_its_units(void **state)
{
    qx_ctx *cx = *state;
    size_t seen = 0;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        small_model *m = limbs(cx, seed);
        size_t n = 0;
        for (size_t i = 0; i < m->n; i++) {
            if (i % 7 == 3 || i % 11 == 5) {
                continue;
            }
            m->y[n] = m->y[i];
            for (size_t f = 0; f < m->frame.factor_count; f++) {
                m->code[f][n] = m->code[f][i];
            }
            n++;
        }
        m->n = m->frame.n = n;
        qx_lmm *fit = fitted(cx, m, true);
        if (fit->unconstrained) {
            const qx_joint_test test = marginal(cx, fit, 0);
            seen++;
            assert_true(fit->component[0].unconstrained < 0.0);
            assert_true(test.f > 0.0 && test.den_df > 4.0 && test.den_df < 16.0 + 1e-9);
        }
        qx_lmm_free(fit);
    }
    assert_true(seen > SEEDS / 4);
}

/* -2 log restricted likelihood pieces at V = I + sum gamma Z Z', by n x n matrices. */
static void by_whole_matrices(qx_ctx *cx,
                              const small_model *m,
                              const qx_lmm *fit,
                              const double gamma[],
                              double *log_a,
                              double *ypy)
{
    const size_t n = m->n;
    const size_t p = fit->p;
    qx_mat V, X, XV;
    double *y;
    qx_arena *scratch = qx_ctx_scratch(cx);
    assert_ok(cx, qx_mat_new(cx, scratch, n, n, &V));
    assert_ok(cx, qx_mat_new(cx, scratch, n, p, &X));
    assert_ok(cx, qx_mat_new(cx, scratch, p, p, &XV));
    for (size_t i = 0; i < n; i++) {
        QX_AT(V, i, i) = 1.0;
        for (size_t j = 0; j < n; j++) {
            for (size_t k = 0; k < m->spec.random_count; k++) {
                const uint32_t *code = m->code[m->random[k].factor];
                QX_AT(V, i, j) += code[i] == code[j] ? gamma[k] : 0.0;
            }
        }
    }
    y = qx_arena_alloc(scratch, n, sizeof *y);
    assert_non_null(y);
    memcpy(y, m->y, n * sizeof *y);
    qx_mat_copy(X, fit->design.X);
    double log_r = 0.0;
    for (size_t j = 0; j < p; j++) {
        log_r += log(fabs(QX_AT(fit->inner->r_transposed, j, j)));
    }
    assert_ok(cx, qx_chol_factor(cx, V));
    assert_ok(cx, qx_chol_solve_lower(cx, 'n', V, X));
    assert_ok(cx, qx_chol_solve_lower(cx, 'n', V, qx_mat_of(y, n, 1)));
    assert_ok(cx, qx_mat_crossprod(cx, X, XV));
    assert_ok(cx, qx_chol_factor(cx, XV));
    double xy[16] = {0.0};
    assert_true(p <= 16);
    qx_mat_vector('t', 1.0, X, y, 0.0, xy);
    assert_ok(cx, qx_chol_solve_lower(cx, 'n', XV, qx_mat_of(xy, p, 1)));
    *log_a = qx_chol_logdet(V) + qx_chol_logdet(XV) - 2.0 * log_r;
    *ypy = qx_dot(n, y, y) - qx_dot(p, xy, xy);
}

static void check_points(qx_ctx *cx, small_model *m, bool commute)
{
    static const double gammas[][2] = {
        {0.3, 0.7}, {-0.05, 0.4}, {0.2, -0.15}, {-0.03, 0.0}};
    qx_lmm *fit = fitted(cx, m, false);
    struct qx_spectral *s;
    qx_profile f = fit->inner->profile;
    qx_profile_point a;
    assert_ok(cx, qx_spectral_make(cx, fit->arena, &f, &s));
    assert_int_equal(s->commute, commute);
    f.spectral = s;
    assert_ok(cx, qx_spectral_respond(cx, fit->arena, &f));
    assert_ok(cx, qx_profile_room(cx, fit->arena, &f, &a));
    const double square = fit->inner->scale * fit->inner->scale;
    for (size_t k = 0; k < QX_COUNT(gammas); k++) {
        double log_a, ypy;
        bool definite;
        by_whole_matrices(cx, m, fit, gammas[k], &log_a, &ypy);
        assert_ok(cx, qx_spectral_point(cx, &f, gammas[k], &a, &definite));
        assert_true(definite);
        assert_true(fabs(a.log_a - log_a) < 1e-10 * (1.0 + fabs(log_a)));
        assert_near(a.ypy * square, ypy, 1e-10);
    }
    /* Below -1 over a unit's size V is not definite, and that is said. */
    static const double outside[] = {0.0, -2.0};
    bool definite;
    assert_ok(cx, qx_spectral_point(cx, &f, outside, &a, &definite));
    assert_false(definite);
    qx_lmm_free(fit);
}

static void a_point_is_that_of_whole_matrices(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 5, 1.0, 1.0, 1.0);
    check_points(cx, m, true);
    m = small_split_plot(cx, 6, 1.0, 1.0, 1.0);
    m->n = m->frame.n = 21; /* rows lost at the end: nothing commutes */
    check_points(cx, m, false);
}

/* The sums of strata and those of one matrix are the same. */
static void strata_and_one_matrix_agree(void **state)
{
    qx_ctx *cx = *state;
    static const double gamma[] = {0.4, 0.9};
    small_model *m = small_split_plot(cx, 7, 1.0, 1.0, 1.0);
    qx_lmm *fit = fitted(cx, m, false);
    struct qx_spectral *s;
    qx_profile f = fit->inner->profile;
    qx_profile_point a, b;
    assert_ok(cx, qx_spectral_make(cx, fit->arena, &f, &s));
    f.spectral = s;
    assert_ok(cx, qx_spectral_respond(cx, fit->arena, &f));
    assert_ok(cx, qx_profile_room(cx, fit->arena, &f, &a));
    assert_ok(cx, qx_profile_room(cx, fit->arena, &f, &b));
    for (int by_strata = 0; by_strata < 2; by_strata++) {
        s->commute = by_strata == 1;
        bool definite;
        assert_ok(cx, qx_spectral_point(cx, &f, gamma, &a, &definite));
        assert_true(definite);
        assert_ok(cx, qx_profile_evaluate(cx, &f, gamma, &b));
        assert_near(a.ypy, b.ypy, 1e-10);
        assert_near(a.log_a, b.log_a, 1e-10);
        for (size_t k = 0; k < 2; k++) {
            assert_near(a.trace[k], b.trace[k], 1e-10);
            assert_near(a.square[k], b.square[k], 1e-9);
            for (size_t l = 0; l < 2; l++) {
                assert_near(QX_AT(a.norm, k, l), QX_AT(b.norm, k, l), 1e-10);
                assert_near(QX_AT(a.bilinear, k, l), QX_AT(b.bilinear, k, l), 1e-9);
            }
        }
    }
    qx_lmm_free(fit);
}

static qx_status fit_spec(qx_ctx *cx, void *given)
{
    qx_lmm *fit;
    QX_TRY(qx_lmm_fit(cx, given, &fit));
    qx_lmm_free(fit);
    return QX_OK;
}

static void without_memory_it_fails(void **state)
{
    small_model *m = limbs(*state, 1);
    for (uint64_t seed = 2; between(m, 1) / 19.0 > total(m) / 59.0; seed++) {
        m = limbs(*state, seed);
    }
    m->spec.unconstrained = true;
    assert_true(fail_each_allocation(fit_spec, &m->spec) > 30);
}

#define TEST(name)                                                                       \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(limbs_never_become_replicates),
        TEST(many_trees_are_their_own_replicates),
        TEST(blocks_are_taken_out),
        TEST(a_split_plot_keeps_its_strata),
        TEST(away_from_zero_nothing_changes),
        TEST(an_unbalanced_layout_keeps_its_units),
        TEST(a_point_is_that_of_whole_matrices),
        TEST(strata_and_one_matrix_agree),
        TEST(without_memory_it_fails),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
