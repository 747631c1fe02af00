#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/class_average.h"
#include "model/class_draw.h"
#include "model/class_model.h"
#include "numeric/deriv.h"
#include "support.h"

/* Invented cells: 10 of them, two columns, four classes, three trees. */
#define CELLS 10

static const double X[CELLS * 2] = {1.0,  -1.2, 1.0,  -0.4, 1.0,  0.3,  1.0,
                                    1.1,  -1.0, -0.9, -1.0, 0.2,  -1.0, 0.8,
                                    -1.0, 1.3,  0.2,  0.1,  -0.3, 0.6};
static const double NUMBER[CELLS * 4] = {3, 1, 0, 2, 0, 2, 1, 1, 4, 0, 1, 0, 1, 1,
                                         1, 1, 0, 3, 2, 0, 2, 0, 2, 2, 5, 1, 0, 1,
                                         0, 0, 3, 1, 1, 2, 3, 0, 2, 2, 0, 1};
static const uint32_t TREE[CELLS] = {0, 0, 1, 1, 2, 2, 0, 1, 2, 0};

typedef struct setting {
    qx_ctx *cx;
    qx_class_model model;
    qx_laplace_random random[3];
    double total[CELLS];
} setting;

static void
make_setting(qx_ctx *cx, setting *s, bool parallel, bool mixed, bool penalised)
{
    memset(s, 0, sizeof *s);
    for (size_t c = 0; c < CELLS; c++) {
        for (size_t k = 0; k < 4; k++) {
            s->total[c] += NUMBER[c * 4 + k];
        }
    }
    for (size_t e = 0; e < 3; e++) {
        s->random[e] = (qx_laplace_random){TREE, 3, parallel ? 0 : e};
    }
    s->cx = cx;
    s->model = (qx_class_model){
        .rows = parallel ? &qx_rows_cumulative : &qx_rows_baseline,
        .parallel = parallel,
        .penalised = penalised,
        .K = 4,
        .q = 2,
        .cells = CELLS,
        .x = X,
        .number = NUMBER,
        .total = s->total,
        .random_count = mixed ? 1 : 0,
        .random = s->random,
    };
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(cx));
    assert_non_null(arena);
    assert_ok(cx, qx_class_model_finish(cx, arena, &s->model));
}

static double objective(void *data, size_t m, const double z[])
{
    const setting *s = data;
    double value = NAN;
    (void)m;
    assert_ok(s->cx, qx_class_objective(s->cx, &s->model, z, &value, NULL));
    return value;
}

/* A place off the optimum where thresholds rise. */
static void somewhere(const setting *s, double z[])
{
    static const double thresholds[3] = {-0.9, 0.2, 1.4};
    for (size_t j = 0; j < s->model.P + s->model.D; j++) {
        z[j] = 0.3 * sin(1.7 * (double)j + 0.4);
        if (s->model.parallel && j < 3) {
            z[j] = thresholds[j];
        }
        if (j >= s->model.P) {
            z[j] = 0.5 + 0.2 * (double)(j - s->model.P);
        }
    }
}

/* Exact gradients against extrapolated differences, every kind, with and without trees and
 * penalty. */
static void gradients_against_differences(void **state)
{
    for (int kind = 0; kind < 8; kind++) {
        setting s;
        double z[16], got[16], want[16], value;
        make_setting(*state, &s, kind & 1, kind & 2, kind & 4);
        const size_t m = s.model.P + s.model.D;
        somewhere(&s, z);
        assert_ok(*state, qx_class_objective(*state, &s.model, z, &value, got));
        assert_near(value, objective(&s, m, z), 1e-14);
        assert_ok(*state, qx_gradient(*state, m, objective, &s, z, want));
        for (size_t j = 0; j < m; j++) {
            assert_true(fabs(got[j] - want[j]) < 1e-7);
        }
    }
}

/* Minus the Hessian of the fixed likelihood; for the baseline kind the expected one is the
 * same. */
static void information_against_differences(void **state)
{
    for (int parallel = 0; parallel < 2; parallel++) {
        setting s;
        double z[16], square[256], observed[256], expected[256];
        make_setting(*state, &s, parallel == 1, false, false);
        const size_t P = s.model.P;
        somewhere(&s, z);
        const qx_mat H = qx_mat_of(square, P, P), I = qx_mat_of(observed, P, P);
        const qx_mat E = qx_mat_of(expected, P, P);
        assert_ok(*state, qx_hessian(*state, P, objective, &s, z, H));
        assert_ok(*state, qx_class_information(*state, &s.model, z, false, I));
        assert_ok(*state, qx_class_information(*state, &s.model, z, true, E));
        for (size_t i = 0; i < P * P; i++) {
            assert_true(fabs(observed[i] + square[i]) < 1e-5);
            assert_true(parallel == 1 || fabs(observed[i] - expected[i]) < 1e-12);
        }
    }
}

/* The expected information is the mean of the observed one over all answers: cells of one
 * thing, each class weighted by its probability. */
static void expected_is_the_mean_of_observed(void **state)
{
    const double eta[3] = {-0.7, 0.4, 2.1};
    double p[4], g[3], w[9], j[9], mean[9] = {0.0};
    (void)state;
    qx_rows_cumulative.probability(3, eta, p);
    for (size_t k = 0; k < 4; k++) {
        double number[4] = {0.0};
        number[k] = 1.0;
        qx_rows_cumulative.slope(3, number, eta, g, w);
        assert_near(exp(qx_rows_cumulative.value(3, number, eta)), p[k], 1e-12);
        for (size_t i = 0; i < 9; i++) {
            mean[i] += p[k] * w[i];
        }
    }
    qx_rows_cumulative.information(3, 1.0, eta, j);
    for (size_t i = 0; i < 9; i++) {
        assert_true(fabs(j[i] - mean[i]) < 1e-14);
    }
}

/* Far in the tails nothing is lost: probabilities keep their relative digits. */
static void tails_keep_their_digits(void **state)
{
    const double high[2] = {-700.0, -690.0}, low[2] = {690.0, 700.0};
    const double number[3] = {0.0, 1.0, 0.0};
    (void)state;
    /* P = Q(b) - Q(a) = e^-690 (1 - e^-10) up to e^-690 of it */
    assert_near(
        qx_rows_cumulative.value(2, number, high), -690.0 + log1p(-exp(-10.0)), 1e-13);
    assert_near(
        qx_rows_cumulative.value(2, number, low), -690.0 + log1p(-exp(-10.0)), 1e-13);
    const double crossed[2] = {1.0, 0.5};
    assert_true(isinf(qx_rows_cumulative.value(2, number, crossed)));
}

/* ---- averages -------------------------------------------------------------------------- */

typedef struct average_case {
    size_t d, k;
} average_case;

static double averaged(void *data, size_t m, const double x[])
{
    const average_case *a = data;
    double p[4], by_eta[12], by_tau[12];
    (void)m;
    qx_average_baseline(a->d, x, x + a->d, p, by_eta, by_tau);
    return p[a->k];
}

/* The one-dimensional form against the product rule over three normals, its derivatives
 * against differences. */
static void baseline_averages(void **state)
{
    const double eta[3] = {0.4, -1.1, 0.9}, tau[3] = {0.8, 1.5, 0.3};
    double p[4], by_eta[12], by_tau[12], want[4] = {0.0};
    qx_average_baseline(3, eta, tau, p, by_eta, by_tau);
    for (int a = -36; a <= 36; a++) {
        for (int b = -36; b <= 36; b++) {
            for (int c = -36; c <= 36; c++) {
                const double z[3] = {0.25 * a, 0.25 * b, 0.25 * c};
                double e[3], sum = 1.0, w = 1.0;
                for (size_t j = 0; j < 3; j++) {
                    e[j] = exp(eta[j] + tau[j] * z[j]);
                    sum += e[j];
                    w *= 0.25 * exp(-0.5 * z[j] * z[j]) / sqrt(2.0 * acos(-1.0));
                }
                want[0] += w / sum;
                for (size_t j = 0; j < 3; j++) {
                    want[j + 1] += w * e[j] / sum;
                }
            }
        }
    }
    for (size_t k = 0; k < 4; k++) {
        average_case data = {3, k};
        const double x[6] = {eta[0], eta[1], eta[2], tau[0], tau[1], tau[2]};
        double g[6];
        assert_true(fabs(p[k] - want[k]) < 1e-10);
        assert_ok(*state, qx_gradient(*state, 6, averaged, &data, x, g));
        for (size_t j = 0; j < 3; j++) {
            assert_true(fabs(by_eta[k + j * 4] - g[j]) < 1e-9);
            assert_true(fabs(by_tau[k + j * 4] - g[j + 3]) < 1e-9);
        }
    }
}

/* Two classes: the same average by both forms, also with wide deviations. */
static void both_forms_agree(void **state)
{
    (void)state;
    for (double tau = 0.0; tau < 9.0; tau += 1.7) {
        const double eta = 0.8, minus = -0.8;
        double p[2], q[2], by_eta[2], by_tau[2];
        qx_average_baseline(1, &eta, &tau, p, by_eta, by_tau);
        qx_average_cumulative(1, &minus, tau, q, by_eta, by_tau);
        assert_near(p[0], q[0], 1e-12);
        assert_near(p[1], q[1], 1e-12);
    }
}

/* ---- draws ----------------------------------------------------------------------------- */

static void draws_follow_their_probabilities(void **state)
{
    static const double p[3] = {0.2, 0.5, 0.3};
    double seen[3] = {0.0};
    qx_rng rng = qx_rng_seeded(11);
    (void)state;
    for (size_t i = 0; i < 20000; i++) {
        seen[qx_class_draw(&rng, 3, p)] += 1.0;
    }
    for (size_t k = 0; k < 3; k++) {
        assert_true(fabs(seen[k] / 20000.0 - p[k]) < 4.0 * sqrt(0.25 / 20000.0));
    }
}

/* Thresholds and log odds made from shares give these shares back on average. */
static void shares_come_back(void **state)
{
    static const double share[4] = {0.1, 0.25, 0.6, 0.05}, sd[3] = {1.0, 0.0, 2.5};
    double threshold[3], odds[3], p[4], by_eta[12], by_tau[12];
    assert_ok(*state, qx_class_thresholds(*state, 4, share, 1.3, threshold));
    qx_average_cumulative(3, threshold, 1.3, p, by_eta, by_tau);
    for (size_t k = 0; k < 4; k++) {
        assert_near(p[k], share[k], 1e-10);
    }
    assert_ok(*state, qx_class_thresholds(*state, 4, share, 0.0, threshold));
    assert_near(threshold[0], log(0.1 / 0.9), 1e-12);
    qx_class_ordinal(4, threshold, 0.0, p);
    assert_near(p[2], 0.6, 1e-12);
    assert_ok(*state, qx_class_log_odds(*state, 4, share, sd, odds));
    qx_average_baseline(3, odds, sd, p, by_eta, by_tau);
    for (size_t k = 0; k < 4; k++) {
        assert_near(p[k], share[k], 1e-10);
    }
    qx_class_nominal(4, (const double[]){0.0, 0.0, 0.0}, p);
    assert_near(p[3], 0.25, 1e-15);
}

static void refuses_wrong_shares(void **state)
{
    static const double none[2] = {0.0, 1.0}, much[2] = {0.9, 0.9}, sd[1] = {-1.0};
    static const double good[2] = {0.4, 0.6};
    double out[1];
    assert_fails(
        *state, qx_class_thresholds(*state, 2, none, 1.0, out), QX_E_ARG, "above 0");
    assert_fails(
        *state, qx_class_thresholds(*state, 2, much, 1.0, out), QX_E_ARG, "add up");
    assert_fails(
        *state, qx_class_thresholds(*state, 2, good, -1.0, out), QX_E_ARG, "deviation");
    assert_fails(
        *state, qx_class_log_odds(*state, 2, good, sd, out), QX_E_ARG, "deviation");
    assert_fails(
        *state, qx_class_log_odds(*state, 1, good, sd, out), QX_E_ARG, "classes");
}

#define CASE(name)                                                                       \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        CASE(gradients_against_differences),
        CASE(information_against_differences),
        CASE(expected_is_the_mean_of_observed),
        CASE(tails_keep_their_digits),
        CASE(baseline_averages),
        CASE(both_forms_agree),
        CASE(draws_follow_their_probabilities),
        CASE(shares_come_back),
        CASE(refuses_wrong_shares),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
