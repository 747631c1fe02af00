/* The engine: gradient, sets, both ways of integrating, and what is found at the top. Invented
 * data from a seeded generator. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/family.h"
#include "model/laplace.h"
#include "numeric/deriv.h"
#include "numeric/dist.h"
#include "support.h"

#define MOST 240

/* Rows with a covariate, up to three units, and a binomial, negative binomial or three-class
 * response. */
typedef struct trial {
    size_t n;
    uint32_t code[3][MOST];
    double x[2 * MOST], k[MOST], size[MOST], constant[MOST];
    qx_laplace_random random[4];
    qx_laplace_problem problem;
    qx_family_rows rows;
} trial;

static void fill(trial *t, size_t n)
{
    qx_rng rng = qx_rng_seeded(7);
    t->n = n;
    for (size_t i = 0; i < n; i++) {
        t->x[i] = 1.0;
        t->x[n + i] = qx_rng_normal(&rng);
        t->size[i] = 6.0;
        t->k[i] = (double)qx_rng_below(&rng, 7);
        t->constant[i] = 0.0;
        t->code[0][i] = (uint32_t)(i / 24);
        t->code[1][i] = (uint32_t)(i / 4);
        t->code[2][i] = (uint32_t)(i % 5);
    }
    t->rows = (qx_family_rows){
        .link = QX_LINK_LOGIT, .k = t->k, .size = t->size, .constant = t->constant};
    t->problem = (qx_laplace_problem){.n = n,
                                      .p = 2,
                                      .d = 1,
                                      .X = qx_mat_of(t->x, n, 2),
                                      .random = t->random,
                                      .likelihood = qx_family_binomial.rows};
}

static void add_unit(trial *t, size_t which, size_t levels, size_t predictor)
{
    t->random[t->problem.random_count++] =
        (qx_laplace_random){t->code[which], levels, predictor};
}

/* Multinomial with three classes by the size of k: two predictors. */
static void classes(const void *data,
                    size_t count,
                    const size_t row[],
                    const double eta[],
                    const double psi[],
                    qx_rows_order order,
                    const qx_row_terms *out)
{
    const qx_family_rows *rows = data;
    (void)psi;
    for (size_t j = 0; j < count; j++) {
        const double a = exp(eta[2 * j]), b = exp(eta[2 * j + 1]), sum = 1 + a + b;
        const double p[2] = {a / sum, b / sum};
        const size_t class = (size_t)rows->k[row[j]] / 3;
        out->l[j] = (class > 0 ? eta[2 * j + class - 1] : 0) - log(sum);
        for (size_t r = 0; order > QX_ROWS_VALUE && r < 2; r++) {
            out->g[2 * j + r] = (class == r + 1) - p[r];
            for (size_t c = 0; c < 2; c++) {
                out->h[4 * j + r + 2 * c] = p[r] * p[c] - (r == c ? p[r] : 0);
                for (size_t e = 0; order == QX_ROWS_ALL && e < 2; e++) {
                    out->t[8 * j + r + 2 * c + 4 * e] =
                        (r == c && c == e ? -p[r] : 0) + (r == c ? p[r] * p[e] : 0) +
                        (r == e ? p[r] * p[c] : 0) + (c == e ? p[r] * p[c] : 0) -
                        2 * p[r] * p[c] * p[e];
                }
            }
        }
    }
}

typedef struct asked {
    qx_ctx *cx;
    const qx_laplace_plan *plan;
    const trial *t;
} asked;

static double value_at(void *data, size_t m, const double x[])
{
    const asked *a = data;
    double value;
    (void)m;
    assert_ok(a->cx,
              qx_laplace_evaluate(a->cx, a->plan, &a->t->rows, x, NULL, &value, NULL));
    return value;
}

static void hold_gradient(qx_ctx *cx, qx_arena *arena, const trial *t, const double x[])
{
    const size_t length = qx_laplace_length(&t->problem);
    asked a = {.cx = cx, .t = t};
    double got[16], want[16], value;
    assert_ok(cx, qx_laplace_plan_make(cx, arena, &t->problem, &a.plan));
    assert_ok(cx, qx_laplace_evaluate(cx, a.plan, &t->rows, x, NULL, &value, got));
    assert_ok(cx, qx_gradient(cx, length, value_at, &a, x, want));
    for (size_t j = 0; j < length; j++) {
        assert_true(fabs(got[j] - want[j]) < 1e-6 * (1 + fabs(want[j])));
    }
}

static trial *new_trial(qx_arena *arena, size_t n)
{
    trial *t = qx_arena_alloc(arena, 1, sizeof *t);
    assert_non_null(t);
    fill(t, n);
    return t;
}

static void gradient_of_nested_units(void **state)
{
    qx_arena *arena = qx_arena_new();
    trial *t = new_trial(arena, 96);
    const double x[] = {0.2, -0.4, 0.7, 0.5};
    add_unit(t, 0, 4, 0);
    add_unit(t, 1, 24, 0);
    hold_gradient(*state, arena, t, x);
    t->problem.penalise = true;
    hold_gradient(*state, arena, t, x);
    qx_arena_free(arena);
}

static void gradient_of_crossed_units(void **state)
{
    qx_arena *arena = qx_arena_new();
    trial *t = new_trial(arena, 96);
    const double x[] = {0.2, -0.4, 0.7, 0.5, -0.3, 0.4};
    add_unit(t, 0, 4, 0);
    add_unit(t, 1, 24, 0);
    add_unit(t, 2, 5, 0);
    t->problem.likelihood = qx_family_betabin.rows;
    t->problem.s = t->problem.even = 1;
    hold_gradient(*state, arena, t, x);
    qx_arena_free(arena);
}

static void gradient_by_quadrature(void **state)
{
    qx_arena *arena = qx_arena_new();
    trial *t = new_trial(arena, 96);
    const double x[] = {0.2, -0.4, 0.9, 0.4};
    add_unit(t, 1, 24, 0);
    t->problem.likelihood = qx_family_negbin.rows;
    t->problem.s = t->problem.even = 1;
    t->rows.link = QX_LINK_LOG;
    t->problem.quadrature = 7;
    hold_gradient(*state, arena, t, x);
    qx_arena_free(arena);
}

static void gradient_of_two_predictors(void **state)
{
    qx_arena *arena = qx_arena_new();
    trial *t = new_trial(arena, 96);
    const double x[] = {0.2, -0.4, 0.3, 0.1, 0.7, 0.5, 0.6};
    t->problem.d = 2;
    t->problem.likelihood = classes;
    add_unit(t, 1, 24, 0);
    add_unit(t, 1, 24, 1);
    add_unit(t, 2, 5, 0);
    hold_gradient(*state, arena, t, x);
    t->problem.penalise = true;
    hold_gradient(*state, arena, t, x);
    qx_arena_free(arena);
}

/* The integral over one unit's effect by the trapezoidal rule, 4000 steps. */
static double by_trapezoid(const trial *t, const double x[])
{
    double sum = 0.0;
    for (size_t unit = 0; unit < t->n / 4; unit++) {
        double integral = 0.0;
        for (int s = -2000; s <= 2000; s++) {
            const double u = s * 0.005;
            double l = 0.0;
            for (size_t i = 4 * unit; i < 4 * unit + 4; i++) {
                const double eta = x[0] + x[1] * t->x[t->n + i] + x[2] * u;
                const double p = qx_link_mean(QX_LINK_LOGIT, eta);
                l += t->k[i] * log(p) + (t->size[i] - t->k[i]) * log1p(-p);
            }
            integral += exp(l) * qx_normal_density(u) * 0.005;
        }
        sum += log(integral);
    }
    return sum;
}

/* More points come to the true integral; Laplace alone is a little off. */
static void quadrature_comes_to_the_integral(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    trial *t = new_trial(arena, 96);
    const double x[] = {0.2, -0.4, 0.9};
    const double want = by_trapezoid(t, x);
    double gap = INFINITY;
    add_unit(t, 1, 24, 0);
    for (size_t points = 1; points <= 41; points += 10) {
        const qx_laplace_plan *plan;
        double value;
        t->problem.quadrature = points;
        assert_ok(cx, qx_laplace_plan_make(cx, arena, &t->problem, &plan));
        assert_ok(cx, qx_laplace_evaluate(cx, plan, &t->rows, x, NULL, &value, NULL));
        assert_true(points == 1 || fabs(value - want) <= gap);
        gap = fmax(fabs(value - want), 1e-9);
        assert_true(points > 1 || gap > 1e-4);
    }
    assert_true(gap <= 1e-9);
    qx_arena_free(arena);
}

/* At the top the gradient is nil, and the Hessian is that of the value. */
static void the_top_is_flat(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    trial *t = new_trial(arena, 96);
    const double start[] = {0, 0, 0.4, 0.4};
    asked a = {.cx = cx, .t = t};
    qx_laplace_fit fit;
    double numbers[16];
    const qx_mat want = qx_mat_of(numbers, 4, 4);
    add_unit(t, 0, 4, 0);
    add_unit(t, 1, 24, 0);
    /* Blocks that differ, or their variance would be nil. */
    for (size_t i = 0; i < t->n; i++) {
        t->k[i] = fmin(6.0, t->k[i] * (1 + t->code[0][i]) / 2);
        t->k[i] = floor(t->k[i]);
    }
    assert_ok(cx, qx_laplace_plan_make(cx, arena, &t->problem, &a.plan));
    assert_ok(cx, qx_laplace_maximise(cx, arena, a.plan, &t->rows, start, NULL, &fit));
    assert_true(fit.converged);
    assert_false(fit.at_zero[0]);
    assert_ok(cx, qx_hessian(cx, 4, value_at, &a, fit.x, want));
    for (size_t j = 0; j < 4; j++) {
        assert_true(fabs(fit.gradient[j]) < 1e-6);
        for (size_t i = 0; i < 4; i++) {
            const double scale = sqrt(fabs(QX_AT(want, i, i) * QX_AT(want, j, j)));
            assert_true(fabs(QX_AT(fit.hessian, i, j) + QX_AT(want, i, j)) <
                        1e-4 * scale);
        }
    }
    qx_arena_free(arena);
}

/* Units that are all alike: their variance is nil, and that is told. */
static void alike_units_have_no_variance(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    trial *t = new_trial(arena, 96);
    const double start[] = {0, 0, 0.4};
    const qx_laplace_plan *plan;
    qx_laplace_fit fit;
    qx_laplace_profile profile;
    add_unit(t, 1, 24, 0);
    for (size_t i = 0; i < t->n; i++) {
        t->x[t->n + i] = (double)(i % 2);
        t->k[i] = (double)(1 + i % 4);
    }
    assert_ok(cx, qx_laplace_plan_make(cx, arena, &t->problem, &plan));
    assert_ok(cx, qx_laplace_maximise(cx, arena, plan, &t->rows, start, NULL, &fit));
    assert_true(fit.converged && fit.at_zero[0] && fit.x[2] == 0.0);
    assert_ok(cx, qx_laplace_profile_sd(cx, plan, &t->rows, &fit, 0, 0.95, &profile));
    assert_true(profile.lower == 0.0 && profile.upper > 0.0 && profile.upper < 2.0);
    assert_true(profile.lrt == 0.0 && profile.p == 1.0);
    qx_arena_free(arena);
}

/* The ends of the profile interval are where twice the log-likelihood has fallen by the
 * quantile of chi-squared: checked with the other parameters found anew. */
static void profile_ends_where_it_should(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    trial *t = new_trial(arena, 96);
    const double start[] = {0, 0, 0.4};
    const bool fixed[] = {false, false, true};
    const qx_laplace_options options = {.fixed = fixed};
    const qx_laplace_plan *plan;
    qx_laplace_fit fit, held;
    qx_laplace_profile profile;
    add_unit(t, 0, 4, 0);
    for (size_t i = 0; i < t->n; i++) {
        t->k[i] = fmin(6.0, floor(t->k[i] * (1 + t->code[0][i]) / 2));
    }
    assert_ok(cx, qx_laplace_plan_make(cx, arena, &t->problem, &plan));
    assert_ok(cx, qx_laplace_maximise(cx, arena, plan, &t->rows, start, NULL, &fit));
    assert_ok(cx, qx_laplace_profile_sd(cx, plan, &t->rows, &fit, 0, 0.95, &profile));
    assert_true(profile.lower > 0.0 && profile.lower < fit.x[2]);
    for (int end = 0; end < 2; end++) {
        const double sd = end == 0 ? profile.lower : profile.upper;
        const double from[] = {0, 0, sd};
        assert_ok(cx,
                  qx_laplace_maximise(cx, arena, plan, &t->rows, from, &options, &held));
        assert_near(2 * (fit.value - held.value), qx_chisq_q(0.05, 1, QX_UPPER), 1e-6);
    }
    qx_arena_free(arena);
}

static void problems_that_cannot_be_are_refused(void **state)
{
    qx_ctx *cx = *state;
    qx_arena *arena = qx_arena_new();
    trial *t = new_trial(arena, 96);
    const qx_laplace_plan *plan;
    add_unit(t, 0, 4, 0);
    add_unit(t, 1, 24, 0);
    t->problem.quadrature = 5;
    assert_fails(cx,
                 qx_laplace_plan_make(cx, arena, &t->problem, &plan),
                 QX_E_ARG,
                 "quadrature serves one random term");
    t->problem.quadrature = 1;
    t->random[1].level_count = 20;
    assert_fails(cx,
                 qx_laplace_plan_make(cx, arena, &t->problem, &plan),
                 QX_E_ARG,
                 "in no unit of random term 1");
    t->random[1].predictor = 1;
    assert_fails(cx,
                 qx_laplace_plan_make(cx, arena, &t->problem, &plan),
                 QX_E_ARG,
                 "acts on no predictor");
    t->problem.p = 3;
    assert_fails(cx,
                 qx_laplace_plan_make(cx, arena, &t->problem, &plan),
                 QX_E_SHAPE,
                 "X does not");
    qx_arena_free(arena);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(gradient_of_nested_units),
        WITH_CTX(gradient_of_crossed_units),
        WITH_CTX(gradient_by_quadrature),
        WITH_CTX(gradient_of_two_predictors),
        WITH_CTX(quadrature_comes_to_the_integral),
        WITH_CTX(the_top_is_flat),
        WITH_CTX(alike_units_have_no_variance),
        WITH_CTX(profile_ends_where_it_should),
        WITH_CTX(problems_that_cannot_be_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
