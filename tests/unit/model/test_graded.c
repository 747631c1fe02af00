/* Units of very different size: blocks whose variation is up to 1e8 times that of the plots.
 *
 * What is right: in complete blocks, the classical analysis of variance (Fisher 1935, The
 * Design of Experiments, ch. 4), here in long double. In any layout the inference inside huge
 * units is that of a model in which they are fixed, but for one part in their ratio: least
 * squares on another way through the program. Digits owed: the response itself, of size 1,
 * has 16; beside units 10^k times larger 16 - k are left to what varies inside, less one for
 * some tens of operations and one for F, a square. Up to a ratio of 300 the ordinary forms
 * serve, which lose 2k digits: 11 are left. All data are invented. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/design_rows.h"
#include "model/graded.h"
#include "model/known.h"
#include "model/lmm_inner.h"
#include "model/plan.h"
#include "numeric/rng.h"

#include "small_model.h"
#include "support.h"

/* --- complete blocks --- */

enum { BLOCKS = 6, TREATED = 4 };

typedef struct classical {
    long double f, error, block, difference, mean;
} classical;

/* b blocks times t treatments in the order of the rows. */
static classical analysis_of_variance(const double y[])
{
    long double grand = 0.0L, block[BLOCKS] = {0.0L}, treated[TREATED] = {0.0L};
    long double between = 0.0L, treatment = 0.0L, error = 0.0L;
    for (size_t i = 0; i < BLOCKS * TREATED; i++) {
        grand += y[i] / (BLOCKS * TREATED);
        block[i / TREATED] += (long double)y[i] / TREATED;
        treated[i % TREATED] += (long double)y[i] / BLOCKS;
    }
    for (size_t i = 0; i < BLOCKS * TREATED; i++) {
        const long double b = block[i / TREATED] - grand;
        const long double t = treated[i % TREATED] - grand;
        const long double e = y[i] - block[i / TREATED] - t;
        between += b * b;
        treatment += t * t;
        error += e * e;
    }
    error /= (BLOCKS - 1) * (TREATED - 1);
    return (classical){.f = treatment / (TREATED - 1) / error,
                       .error = error,
                       .block = (between / (BLOCKS - 1) - error) / TREATED,
                       .difference = treated[1] - treated[0],
                       .mean = treated[0]};
}

static small_model *complete_blocks(qx_ctx *cx, double ratio)
{
    small_model *m = small_new(cx, BLOCKS * TREATED);
    qx_rng rng = qx_rng_seeded(8);
    const size_t b = small_factor(cx, m, "block", BLOCKS, TREATED);
    const size_t t = small_factor(cx, m, "treatment", TREATED, 1);
    double block = 0.0;
    small_term(m, "treatment", 1, t, 0);
    small_random(m, "block", b);
    for (size_t i = 0; i < m->n; i++) {
        block = i % TREATED == 0 ? ratio * qx_rng_normal(&rng) : block;
        m->y[i] = block + 0.7 * (double)(i % TREATED) + qx_rng_normal(&rng);
    }
    return m;
}

static qx_lmm *fitted(qx_ctx *cx, const small_model *m)
{
    qx_lmm *fit;
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_int_equal(fit->exhausted, QX_VARIES);
    assert_true(fit->converged);
    return fit;
}

static qx_joint_test test_of(qx_ctx *cx, const qx_lmm *fit, size_t term)
{
    qx_mat L;
    qx_joint_test test;
    assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &fit->design, term, &L));
    assert_ok(cx, qx_lmm_test(cx, fit, L, &test));
    return test;
}

static void near(double got, long double want, double slack)
{
    if (!(fabsl(got - want) <= slack * fabsl(want))) {
        print_error("%.17g, expected %.17Lg to %g\n", got, want, slack);
    }
    assert_true(fabsl(got - want) <= slack * fabsl(want));
}

static void is_classical(qx_ctx *cx, small_model *m, double ratio)
{
    const double slack = 3e-15 * ratio + 2e-11;
    const classical want = analysis_of_variance(m->y);
    qx_lmm *fit = fitted(cx, m);
    const qx_joint_test test = test_of(cx, fit, 0);
    double row[TREATED] = {0.0, 1.0, 0.0, 0.0};
    qx_estimate e;
    assert_ok(cx, qx_lmm_contrast(cx, fit, row, 0.0, &e));
    near(e.estimate, want.difference, slack);
    near(e.se, sqrtl(2.0L * want.error / BLOCKS), slack);
    near(e.df, (BLOCKS - 1) * (TREATED - 1), 1e-9);
    near(test.f, want.f, 2.0 * slack);
    near(test.den_df, (BLOCKS - 1) * (TREATED - 1), 1e-9);
    near(fit->component[0].variance, want.block, 1e-9);
    near(fit->component[1].variance, want.error, slack);
    row[0] = 1.0;
    row[1] = 0.0;
    assert_ok(cx, qx_lmm_contrast(cx, fit, row, 1.0, &e));
    near(e.estimate, want.mean, 1e-10);
    near(e.se, sqrtl((want.block + want.error) / BLOCKS), 1e-9);
    assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.95));
    for (size_t k = 0; k < 2; k++) {
        assert_true(fit->component[k].lower < fit->component[k].variance);
        assert_true(fit->component[k].upper > fit->component[k].variance);
    }
    qx_lmm_free(fit);
}

static void huge_blocks_are_classical(void **state)
{
    for (double ratio = 1.0; ratio < 2e9; ratio *= 10.0) {
        is_classical(*state, complete_blocks(*state, ratio), ratio);
    }
}

static void the_sparse_path_as_well(void **state)
{
    for (double ratio = 1.0; ratio < 2e9; ratio *= 10.0) {
        small_model *m = complete_blocks(*state, ratio);
        m->spec.path = QX_PATH_SPARSE;
        is_classical(*state, m, ratio);
    }
}

/* --- against units that are fixed --- */

/* A split plot that lost rows, with a covariate; factor `huge` (block or plot) varies much
 * more than the rest. */
static small_model *lost_rows(qx_ctx *cx, bool plots, double ratio)
{
    small_model *m =
        small_split_plot(cx, 11, plots ? 1.0 : ratio, plots ? ratio : 1.0, 1.0);
    qx_rng rng = qx_rng_seeded(12);
    small_covariate(cx, m, "x");
    for (size_t i = 0; i < m->n; i++) {
        m->x[i] = qx_rng_normal(&rng) + m->code[0][i];
        m->y[i] += 0.5 * m->x[i];
    }
    m->n = m->frame.n = 21;
    return m;
}

/* The same with blocks fixed, the first term. */
static void fix_blocks(small_model *m)
{
    memmove(m->term + 1, m->term, m->spec.term_count++ * sizeof *m->term);
    m->term[0] = (qx_term){.name = "block", .factor_count = 1, .number = QX_NO_COLUMN};
    m->random[0] = m->random[1];
    m->spec.random_count = 1;
}

static void huge_blocks_are_as_fixed(void **state)
{
    qx_ctx *cx = *state;
    for (double ratio = 1e4; ratio < 2e8; ratio *= 100.0) {
        small_model *m = lost_rows(cx, false, ratio);
        qx_lmm *random = fitted(cx, m);
        assert_non_null(random->inner->profile.graded);
        fix_blocks(m);
        qx_lmm *fixed = fitted(cx, m);
        const double slack = 10.0 / ratio + 1e-14 * ratio;
        for (size_t t = 0; t < 4; t++) {
            const qx_joint_test a = test_of(cx, random, t);
            const qx_joint_test b = test_of(cx, fixed, t + 1);
            near(a.f, b.f, slack);
            near(a.den_df, b.den_df, slack);
            near(a.p, b.p, slack);
        }
        near(random->component[1].variance, fixed->component[0].variance, slack);
        near(random->component[2].variance, fixed->component[1].variance, slack);
        qx_lmm_free(random);
        qx_lmm_free(fixed);
    }
}

/* Huge plots inside blocks that do not differ beyond them: a component at zero or not, the
 * inference inside plots (term b, a:b) is that of ratio 1e4, whatever the plots do. */
static void huge_plots(void **state)
{
    qx_ctx *cx = *state;
    double before[2] = {NAN, NAN};
    for (double ratio = 1e5; ratio < 2e8; ratio *= 100.0) {
        small_model *m = lost_rows(cx, true, ratio);
        m->spec.unconstrained = true;
        qx_lmm *fit = fitted(cx, m);
        const double now[] = {test_of(cx, fit, 1).p, test_of(cx, fit, 2).p};
        for (size_t t = 0; t < 2 && !isnan(before[t]); t++) {
            near(now[t], before[t], 1e-4);
        }
        memcpy(before, now, sizeof before);
        if (fit->component[0].at_zero) {
            assert_true(fit->component[0].unconstrained < 0.0);
            assert_true(fit->unconstrained);
        }
        qx_lmm_free(fit);
    }
}

/* --- against the other forms --- */

static void same(size_t n, const double a[], const double b[], double slack)
{
    for (size_t i = 0; i < n; i++) {
        if (!(fabs(a[i] - b[i]) <= slack * (1.0 + fabs(b[i])))) {
            print_error("number %zu: %.17g, expected %.17g\n", i, a[i], b[i]);
        }
        assert_true(fabs(a[i] - b[i]) <= slack * (1.0 + fabs(b[i])));
    }
}

/* The same point by both forms, T and all, at ratios where nothing is lost. */
static void one_point_in_both_forms(void **state)
{
    qx_ctx *cx = *state;
    const double gamma[] = {1.7, 0.3};
    small_model *m = lost_rows(cx, false, 2.0);
    qx_lmm *fit = fitted(cx, m);
    const struct qx_lmm_plan *plan = fit->inner->plan;
    const qx_profile *plain = &fit->inner->profile;
    qx_profile graded;
    qx_profile_point a, b;
    double *r, full[16];
    assert_null(plain->graded);
    r = qx_arena_alloc(qx_ctx_scratch(cx), m->n, sizeof *r);
    assert_non_null(r);
    for (size_t i = 0; i < m->n; i++) {
        r[i] = m->y[i] / fit->inner->scale;
    }
    assert_ok(cx, qx_design_split(cx, &fit->design, r, full, NULL, r));
    const qx_graded_of of = {.profile = plain,
                             .code = plan->code,
                             .design = &fit->design,
                             .log_x = fit->inner->log_r,
                             .r = r};
    assert_ok(cx, qx_graded_make(cx, fit->arena, &of, &graded));
    assert_ok(cx, qx_profile_room(cx, qx_ctx_scratch(cx), plain, &a));
    assert_ok(cx, qx_profile_room(cx, qx_ctx_scratch(cx), &graded, &b));
    assert_ok(cx, qx_profile_evaluate(cx, plain, gamma, &a));
    assert_ok(cx, qx_profile_evaluate(cx, &graded, gamma, &b));
    assert_near(b.ypy, a.ypy, 1e-12);
    assert_near(b.log_a, a.log_a, 1e-12);
    same(2, b.trace, a.trace, 1e-12);
    same(2, b.square, a.square, 1e-12);
    same(4, b.norm.at, a.norm.at, 1e-12);
    same(4, b.bilinear.at, a.bilinear.at, 1e-12);
    same(plain->q, b.w, a.w, 1e-12);
    qx_lmm_free(fit);
}

/* Known variances: standard errors of a plan. */
static void known_variances(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = complete_blocks(cx, 1.0);
    qx_lmm_plan *plan;
    qx_lmm *fit;
    assert_ok(cx, qx_lmm_plan_new(cx, &m->spec, &plan));
    for (double block = 1.0; block < 1e17; block *= 1e4) {
        const double variance[] = {block, 1.0};
        const double row[TREATED] = {0.0, 1.0, 0.0, 0.0};
        assert_ok(cx, qx_lmm_known(cx, plan, variance, &fit));
        near(sqrt(qx_lmm_covariance(fit, row, row)), sqrtl(2.0L / BLOCKS), 1e-10);
        qx_lmm_free(fit);
    }
    qx_lmm_plan_free(plan);
}

/* --- nothing inside --- */

/* Blocks and treatments explain all: that is said, and nothing tested; also where numbers
 * are not exact in two's powers. */
static void nothing_inside_the_blocks(void **state)
{
    qx_ctx *cx = *state;
    for (int path = 0; path < 2; path++) {
        small_model *m = complete_blocks(cx, 1.0);
        m->spec.path = path == 0 ? QX_PATH_DENSE : QX_PATH_SPARSE;
        for (size_t i = 0; i < m->n; i++) {
            m->y[i] = 0.1 * m->code[1][i] + 0.7 * (m->code[0][i] * 5 % 7);
        }
        qx_lmm *fit;
        const double row[TREATED] = {0.0, 1.0, 0.0, 0.0};
        qx_estimate e;
        assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
        assert_int_equal(fit->exhausted, QX_NIL_WITHIN_UNITS);
        assert_true(fit->converged);
        assert_ok(cx, qx_lmm_contrast(cx, fit, row, 0.0, &e));
        assert_near(e.estimate, 0.1, 1e-12);
        assert_true(isnan(e.se));
        assert_true(isnan(test_of(cx, fit, 0).p));
        assert_true(fit->component[1].variance == 0.0);
        assert_true(isnan(fit->component[0].variance));
        for (size_t i = 0; i < m->n; i++) {
            assert_true(fit->residual[i] == 0.0);
        }
        qx_lmm_free(fit);
    }
}

/* Blocks exactly as alike as chance makes them: a variance of nil, not of 1e-17. */
static void a_variance_of_rounding_is_nil(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = complete_blocks(cx, 1.0);
    for (size_t i = 0; i < m->n; i++) {
        m->y[i] = i == 5 ? 1.0 : 0.0;
    }
    m->spec.unconstrained = true;
    qx_lmm *fit = fitted(cx, m);
    assert_true(fit->component[0].variance == 0.0);
    assert_true(fit->component[0].at_zero);
    assert_true(fit->component[0].unconstrained == 0.0);
    qx_lmm_free(fit);
}

static qx_status fit_once(qx_ctx *cx, void *data)
{
    const small_model *m = data;
    qx_lmm *fit;
    QX_TRY(qx_lmm_fit(cx, &m->spec, &fit));
    qx_lmm_free(fit);
    return QX_OK;
}

static void failed_allocations_leave_nothing(void **state)
{
    small_model *m = complete_blocks(*state, 1e6);
    assert_true(fail_each_allocation(fit_once, m) > 50);
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(huge_blocks_are_classical),
        TEST(the_sparse_path_as_well),
        TEST(huge_blocks_are_as_fixed),
        TEST(huge_plots),
        TEST(one_point_in_both_forms),
        TEST(known_variances),
        TEST(nothing_inside_the_blocks),
        TEST(a_variance_of_rounding_is_nil),
        TEST(failed_allocations_leave_nothing),
    };
    return cmocka_run_group_tests_name("model/graded", tests, NULL, NULL);
}
