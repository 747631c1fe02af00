/* The dense and the sparse path give the same fit and the same inference; large data by
 * values of lme4. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/lmm_inner.h"
#include "numeric/dist.h"
#include "numeric/rng.h"

#include "small_model.h"
#include "support.h"

static void near_all(size_t n, const double a[], const double b[], double slack)
{
    for (size_t i = 0; i < n; i++) {
        const bool both_nan = isnan(a[i]) && isnan(b[i]);
        if (!both_nan && !(fabs(a[i] - b[i]) <= slack * (1.0 + fabs(b[i])))) {
            print_error("number %zu: %.17g, expected %.17g\n", i, a[i], b[i]);
        }
        assert_true(both_nan || fabs(a[i] - b[i]) <= slack * (1.0 + fabs(b[i])));
    }
}

static void same_components(const qx_lmm *a, const qx_lmm *b)
{
    for (size_t k = 0; k < a->component_count; k++) {
        const qx_component *x = &a->component[k], *y = &b->component[k];
        const double left[] = {x->variance, x->lrt, x->p, x->lower, x->upper};
        const double right[] = {y->variance, y->lrt, y->p, y->lower, y->upper};
        assert_int_equal(x->at_zero, y->at_zero);
        near_all(3, left, right, 1e-7);
        near_all(2, left + 3, right + 3, 1e-5);
    }
}

static void same_tests(qx_ctx *cx, const qx_lmm *a, const qx_lmm *b)
{
    for (size_t t = 0; t < a->design.term_count; t++) {
        qx_mat L;
        qx_joint_test x, y;
        assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &a->design, t, &L));
        assert_ok(cx, qx_lmm_test(cx, a, L, &x));
        assert_ok(cx, qx_lmm_test(cx, b, L, &y));
        const double left[] = {x.f, x.den_df, x.p}, right[] = {y.f, y.den_df, y.p};
        near_all(3, left, right, 1e-7);
    }
}

/* Both paths by all methods. Gives the sparse fit by the last of them. */
static void check(qx_ctx *cx, small_model *m)
{
    const qx_df_method methods[] = {QX_KENWARD_ROGER, QX_SATTERTHWAITE, QX_CONTAINMENT};
    for (size_t k = 0; k < QX_COUNT(methods); k++) {
        qx_lmm *dense, *sparse;
        m->spec.df = methods[k];
        m->spec.path = QX_PATH_DENSE;
        assert_ok(cx, qx_lmm_fit(cx, &m->spec, &dense));
        m->spec.path = QX_PATH_SPARSE;
        assert_ok(cx, qx_lmm_fit(cx, &m->spec, &sparse));
        assert_null(dense->inner->profile.reduced);
        assert_true(sparse->inner->profile.m == 0 ||
                    sparse->inner->profile.reduced != NULL);
        assert_near(sparse->reml_criterion, dense->reml_criterion, 1e-12);
        near_all(m->n, sparse->fitted, dense->fitted, 1e-8);
        near_all(m->n, sparse->residual, dense->residual, 1e-7);
        near_all(dense->p * dense->p, sparse->phi.at, dense->phi.at, 1e-7);
        near_all(
            dense->p * dense->p, sparse->phi_adjusted.at, dense->phi_adjusted.at, 1e-7);
        assert_ok(cx, qx_lmm_profile_components(cx, dense, 0.95));
        assert_ok(cx, qx_lmm_profile_components(cx, sparse, 0.95));
        same_components(sparse, dense);
        same_tests(cx, sparse, dense);
        qx_lmm_free(dense);
        qx_lmm_free(sparse);
    }
}

static void split_plots(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 41, 2.0, 1.0, 1.0);
    check(cx, m);
    m->n = m->frame.n = 21; /* plots lost */
    check(cx, m);
}

/* A component at zero, with what follows from it. */
static void zero_components(void **state)
{
    size_t zero = 0;
    for (uint64_t seed = 50; seed < 56; seed++) {
        qx_ctx *cx = *state;
        small_model *m = small_split_plot(cx, seed, 0.0, 0.0, 1.0);
        qx_lmm *fit;
        m->spec.unconstrained = true;
        check(cx, m);
        assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
        zero += fit->component[0].at_zero || fit->component[1].at_zero;
        qx_lmm_free(fit);
    }
    assert_true(zero > 2);
}

/* Rows that cross columns, a batch for each cell, a covariate; some cells lost. */
static small_model *crossed(qx_ctx *cx, uint64_t seed, size_t n)
{
    small_model *m = small_new(cx, n);
    qx_rng rng = qx_rng_seeded(seed);
    double effect[60];
    const size_t row = small_factor(cx, m, "row", 12, 1);
    const size_t column = small_factor(cx, m, "column", 10, 1);
    const size_t a = small_factor(cx, m, "a", 4, 1);
    const size_t batch = small_factor(cx, m, "batch", 120, 1);
    small_covariate(cx, m, "year");
    small_term(m, "a", 1, a, 0);
    small_random(m, "row", row);
    small_random(m, "column", column);
    small_random(m, "batch", batch);
    for (size_t k = 0; k < QX_COUNT(effect); k++) {
        effect[k] = qx_rng_normal(&rng);
    }
    for (size_t i = 0; i < n; i++) {
        const uint32_t r = (uint32_t)(12.0 * qx_rng_uniform(&rng));
        const uint32_t c = (uint32_t)(10.0 * qx_rng_uniform(&rng));
        m->code[row][i] = r;
        m->code[column][i] = c;
        m->code[a][i] = (r + 3 * c) % 4;
        m->code[batch][i] = r + 12 * c;
        m->x[i] = 2020.0 + 3.0 * qx_rng_uniform(&rng);
        m->y[i] = 2.0 * effect[r] + effect[20 + c] + effect[(r * 7 + c) % 60] +
                  0.3 * m->x[i] + qx_rng_normal(&rng);
    }
    return m;
}

static void crossed_units(void **state)
{
    check(*state, crossed(*state, 61, 300));
    check(*state, crossed(*state, 62, 140));
}

/* One plot for each treatment: its differences have no replicate. Two units that go always
 * together: one of them has no estimate. */
static void units_that_cannot_be_told_apart(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 71, 1.0, 1.0, 1.0);
    small_model *twins = small_split_plot(cx, 72, 1.0, 1.0, 1.0);
    for (size_t i = 0; i < m->n; i++) {
        m->code[3][i] = m->code[1][i]; /* plots are the treatment */
        twins->code[3][i] = twins->code[0][i];
    }
    check(cx, m);
    check(cx, twins);
}

/* Where there are too many units that cross for exact information the search goes by the
 * average one, and comes to the same end. */
static void average_information_finds_the_optimum(void **state)
{
    qx_ctx *cx = *state;
    const size_t n = 6000;
    small_model *m = small_new(cx, n);
    qx_rng rng = qx_rng_seeded(81);
    const size_t row = small_factor(cx, m, "row", 1500, 1);
    const size_t column = small_factor(cx, m, "column", 1300, 1);
    double effect[1500];
    qx_lmm *fit, *moved;
    small_random(m, "row", row);
    small_random(m, "column", column);
    for (size_t k = 0; k < QX_COUNT(effect); k++) {
        effect[k] = qx_rng_normal(&rng);
    }
    for (size_t i = 0; i < n; i++) {
        m->code[row][i] = (uint32_t)(1500.0 * qx_rng_uniform(&rng));
        m->code[column][i] = (uint32_t)(1300.0 * qx_rng_uniform(&rng));
        m->y[i] = effect[m->code[row][i]] + 0.5 * effect[m->code[column][i]] +
                  qx_rng_normal(&rng);
    }
    m->spec.df = QX_SATTERTHWAITE;
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_true(fit->converged);
    assert_non_null(fit->inner->profile.reduced);
    /* The criterion rises on both sides of each ratio. */
    moved = fit;
    for (size_t k = 0; k < 4; k++) {
        double gamma[] = {fit->inner->gamma[0], fit->inner->gamma[1]};
        const double best = qx_profile_criterion(&fit->inner->profile, &fit->inner->at);
        qx_profile_point at;
        gamma[k / 2] *= k % 2 == 0 ? 1.01 : 0.99;
        assert_ok(cx, qx_profile_room(cx, moved->arena, &fit->inner->profile, &at));
        assert_ok(cx, qx_profile_value(cx, &fit->inner->profile, gamma, &at));
        assert_true(qx_profile_criterion(&fit->inner->profile, &at) > best);
    }
    qx_lmm_free(fit);
}

/* Numbers of Park & Miller's generator, multiplier 48271. */
static double normal(uint64_t *x)
{
    *x = 48271 * *x % 2147483647;
    return qx_normal_q((double)*x / 2147483647.0, QX_LOWER);
}

/* 200 sites x 50 treatments x 5 trees x 2 branches, as in bench/large.c. */
static small_model *sites(qx_ctx *cx, size_t factor[4])
{
    small_model *m = small_new(cx, 100000);
    uint64_t x = 20260101;
    double *effect[4];
    const size_t levels[] = {200, 50, 10000, 50000};
    const double sd[] = {3.0, 2.0, 1.0, 1.5};
    const char *const name[] = {"site", "treatment", "cell", "tree"};
    for (size_t k = 0; k < 4; k++) {
        factor[k] = small_factor(cx, m, name[k], levels[k], 1);
        effect[k] = qx_arena_alloc(qx_ctx_scratch(cx), levels[k], sizeof **effect);
        assert_non_null(effect[k]);
        for (size_t i = 0; i < levels[k]; i++) {
            effect[k][i] = sd[k] * normal(&x);
        }
    }
    for (size_t i = 0; i < m->n; i++) {
        const uint32_t code[] = {(uint32_t)(i / 500),
                                 (uint32_t)(i / 10 % 50),
                                 (uint32_t)(i / 10),
                                 (uint32_t)(i / 2)};
        m->y[i] = 100.0;
        for (size_t k = 0; k < 4; k++) {
            m->code[factor[k]][i] = code[k];
            m->y[i] += effect[k][code[k]];
        }
        m->y[i] += 4.0 * normal(&x);
    }
    return m;
}

/* Source: lme4 1.1-31 (Bates, Maechler, Bolker & Walker 2015, J Stat Softw 67(1)), R 4.2.2,
 * lmer(y ~ (1|site) + (1|treatment) + (1|tree)) and lmer(y ~ treatment + (1|site) +
 * (1|cell) + (1|tree)), REMLcrit, on the same data (bench/large.R). lmer stops a little
 * above the optimum: 9 digits. */
static void large_data_as_lme4(void **state)
{
    qx_ctx *cx = *state;
    size_t f[4];
    small_model *m = sites(cx, f);
    qx_lmm *fit;
    small_random(m, "site", f[0]);
    small_random(m, "treatment", f[1]);
    small_random(m, "tree", f[3]);
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_int_equal(fit->inner->profile.reduced != NULL, 1);
    assert_digits(fit->reml_criterion, "579333.2338", 9);
    qx_lmm_free(fit);
    m->random[1] = (qx_random_term){"cell", f[2]};
    small_term(m, "treatment", 1, f[1], 0);
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_digits(fit->reml_criterion, "578422.6438", 9);
    qx_lmm_free(fit);
}

static qx_status fit_sparse(qx_ctx *cx, void *given)
{
    const small_model *m = given;
    qx_lmm *fit;
    QX_TRY(qx_lmm_fit(cx, &m->spec, &fit));
    qx_lmm_free(fit);
    return QX_OK;
}

static void failed_allocations_leave_nothing(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = crossed(cx, 91, 140);
    m->spec.path = QX_PATH_SPARSE;
    assert_true(fail_each_allocation(fit_sparse, m) > 50);
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(split_plots),
        TEST(zero_components),
        TEST(crossed_units),
        TEST(units_that_cannot_be_told_apart),
        TEST(average_information_finds_the_optimum),
        TEST(large_data_as_lme4),
        TEST(failed_allocations_leave_nothing),
    };
    return cmocka_run_group_tests_name("model/paths", tests, NULL, NULL);
}
