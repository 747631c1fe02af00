#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "classes_case.h"
#include "model/classes_bootstrap.h"
#include "model/multinomial.h"
#include "model/ordinal.h"
#include "numeric/bobyqa.h"
#include "numeric/deriv.h"
#include "support.h"

static const char *const DEGREE[] = {"Low", "Medium", "High"};

/* tests/reference/multinomial-housing. */
static qx_classes_spec housing(qx_ctx *cx, const reference_case *c)
{
    qx_classes_spec spec = classes_case_spec(
        cx, c, &(model_spelling){"housing", "count", "influence type contact", "", NULL});
    spec.frame = classes_case_relevel(cx, spec.frame, "influence", 3, DEGREE);
    spec.class_count = 3;
    spec.class_name = DEGREE;
    spec.code = classes_case_codes(cx, c, "satisfaction", 3, DEGREE);
    spec.times = reference_numbers(c, "count");
    return spec;
}

static void housing_as_published(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "multinomial-housing");
    const qx_classes_spec spec = housing(cx, c);
    qx_classes *fit;
    assert_ok(cx, qx_multinomial_fit(cx, &spec, &fit));
    assert_true(fit->converged);
    assert_true(fit->total == 1681.0);
    reference_assert(c, "fit.log_likelihood", fit->log_likelihood);
    classes_case_assert_coefs(c, "", fit);
    qx_classes_free(fit);
}

/* ---- with random units: brute force ---------------------------------------------------- */

#define TREES 5
#define ROWS  20
#define NODES 241

typedef struct brute {
    uint32_t code[ROWS], tree[ROWS], group[ROWS];
    double node[NODES], weight[NODES]; /* of the standard normal */
} brute;

static double row_probability(const brute *b, size_t i, const double eta[2])
{
    const double sum = 1.0 + exp(eta[0]) + exp(eta[1]);
    return (b->code[i] == 0 ? 1.0 : exp(eta[b->code[i] - 1])) / sum;
}

/* log L by the product rule over both effects of each tree: x = two intercepts, two
 * effects of the group, two deviations (engine independent, plain loops). */
static double brute_log_likelihood(const brute *b, double times, const double x[])
{
    double sum = 0.0;
    for (size_t t = 0; t < TREES; t++) {
        double integral = 0.0;
        for (size_t u = 0; u < NODES; u++) {
            for (size_t v = 0; v < NODES; v++) {
                double product = b->weight[u] * b->weight[v];
                for (size_t i = 0; i < ROWS; i++) {
                    const double g = b->group[i];
                    const double eta[2] = {x[0] + g * x[2] + x[4] * b->node[u],
                                           x[1] + g * x[3] + x[5] * b->node[v]};
                    product *=
                        b->tree[i] == t ? pow(row_probability(b, i, eta), times) : 1.0;
                }
                integral += product;
            }
        }
        sum += log(integral);
    }
    return sum;
}

static void brute_nodes(brute *b)
{
    for (size_t k = 0; k < NODES; k++) {
        b->node[k] = ((double)k - 120.0) * 0.0625;
        b->weight[k] =
            0.0625 * exp(-0.5 * b->node[k] * b->node[k]) / sqrt(2.0 * acos(-1.0));
    }
}

static void brute_data(brute *b)
{
    static const uint32_t seen[ROWS] = {0, 1, 2, 0, 1, 0, 1, 2, 2, 1,
                                        0, 2, 0, 2, 1, 1, 1, 2, 0, 0};
    for (size_t i = 0; i < ROWS; i++) {
        b->code[i] = seen[i];
        b->tree[i] = (uint32_t)(i / 4);
        b->group[i] = i % 4 >= 2;
    }
    brute_nodes(b);
}

static void fit_brute(qx_ctx *cx, const brute *b, double times, qx_classes **fit)
{
    static const char *const level[] = {"no", "yes"};
    static const char *const name[] = {"upper", "lateral", "lower"};
    static const qx_term term = {
        .name = "spray", .factor_count = 1, .factor = {0}, .number = QX_NO_COLUMN};
    static const qx_random_term tree = {"tree", 1};
    qx_factor *factor = qx_arena_alloc(qx_ctx_scratch(cx), 2, sizeof *factor);
    qx_frame *frame = qx_arena_alloc(qx_ctx_scratch(cx), 1, sizeof *frame);
    double *weight = qx_arena_alloc(qx_ctx_scratch(cx), ROWS, sizeof *weight);
    assert_non_null(weight);
    for (size_t i = 0; i < ROWS; i++) {
        weight[i] = times;
    }
    assert_non_null(factor);
    assert_non_null(frame);
    factor[0] =
        (qx_factor){.name = "spray", .level_count = 2, .level = level, .code = b->group};
    factor[1] = (qx_factor){.name = "tree", .level_count = TREES, .code = b->tree};
    *frame = (qx_frame){.n = ROWS, .factor_count = 2, .factor = factor};
    assert_ok(cx,
              qx_multinomial_fit(cx,
                                 &(qx_classes_spec){.frame = frame,
                                                    .class_count = 3,
                                                    .class_name = name,
                                                    .code = b->code,
                                                    .times = weight,
                                                    .term_count = 1,
                                                    .term = &term,
                                                    .random_count = 1,
                                                    .random = &tree},
                                 fit));
}

/* What one tree's effects (standard normal) give: minus the log of the integrand. */
typedef struct one_tree {
    const brute *b;
    size_t tree;
    double times;
    const double *x;
} one_tree;

static double minus_log_integrand(void *data, size_t m, const double u[])
{
    const one_tree *t = data;
    double sum = 0.5 * (u[0] * u[0] + u[1] * u[1]);
    (void)m;
    for (size_t i = 0; i < ROWS; i++) {
        const double g = t->b->group[i];
        const double eta[2] = {t->x[0] + g * t->x[2] + t->x[4] * u[0],
                               t->x[1] + g * t->x[3] + t->x[5] * u[1]};
        sum -= t->b->tree[i] == t->tree ? t->times * log(row_probability(t->b, i, eta))
                                        : 0.0;
    }
    return sum;
}

/* Laplace's approximation by differences alone: mode by BOBYQA, Hessian by Richardson. */
static double
laplace_by_differences(qx_ctx *cx, const brute *b, double times, const double x[6])
{
    double sum = 0.0;
    for (size_t t = 0; t < TREES; t++) {
        const double low[2] = {-10.0, -10.0}, high[2] = {10.0, 10.0};
        double u[2] = {0.0, 0.0}, value, square[4];
        one_tree data = {b, t, times, x};
        const qx_mat H = qx_mat_of(square, 2, 2);
        assert_ok(
            cx,
            qx_bobyqa(
                cx, 2, minus_log_integrand, &data, low, high, 1e-10, u, &value, NULL));
        assert_ok(cx, qx_hessian(cx, 2, minus_log_integrand, &data, u, H));
        sum -= value + 0.5 * log(square[0] * square[3] - square[1] * square[2]);
    }
    return sum;
}

static void parameters_of(const qx_classes *fit, double x[6])
{
    const double at[6] = {fit->coef[0],
                          fit->coef[2],
                          fit->coef[1],
                          fit->coef[3],
                          sqrt(fit->component[0].variance),
                          sqrt(fit->component[1].variance)};
    memcpy(x, at, sizeof at);
}

/* The fit's log-likelihood is Laplace's, and no other parameters have a higher one. */
static void highest_laplace_by_differences(void **state)
{
    qx_ctx *cx = *state;
    brute b;
    qx_classes *fit;
    double x[6];
    brute_data(&b);
    fit_brute(cx, &b, 3.0, &fit);
    assert_true(fit->converged);
    parameters_of(fit, x);
    assert_near(fit->log_likelihood, laplace_by_differences(cx, &b, 3.0, x), 1e-6);
    for (size_t j = 0; j < 6; j++) {
        for (int sign = -1; sign <= 1; sign += 2) {
            double moved[6];
            memcpy(moved, x, sizeof moved);
            moved[j] += 0.05 * sign;
            assert_true(laplace_by_differences(cx, &b, 3.0, moved) < fit->log_likelihood);
        }
    }
    assert_string_equal(fit->component[0].name, "lateral:tree");
    assert_string_equal(fit->component[1].name, "lower:tree");
    qx_classes_free(fit);
}

/* With twenty and a hundred and twenty times the data in each tree the exact integral (product rule, plain
 * loops) comes ever nearer: the error of Laplace's method falls with the size of a tree. */
static void near_the_exact_integral(void **state)
{
    qx_ctx *cx = *state;
    double error[2];
    static const double times[2] = {20.0, 120.0};
    brute b;
    brute_data(&b);
    for (size_t k = 0; k < 2; k++) {
        qx_classes *fit;
        double x[6];
        fit_brute(cx, &b, times[k], &fit);
        parameters_of(fit, x);
        error[k] = fabs(fit->log_likelihood - brute_log_likelihood(&b, times[k], x));
        qx_classes_free(fit);
    }
    assert_true(error[0] < 0.1);
    assert_true(error[1] < 0.5 * error[0]);
}

/* Averages over both effects against the product rule. */
static void averages_by_brute_force(void **state)
{
    qx_ctx *cx = *state;
    brute b;
    qx_classes *fit;
    brute_data(&b);
    fit_brute(cx, &b, 2.0, &fit);
    const double row[2] = {1.0, 1.0}, copy[2] = {1.0, 1.0};
    double rows[2] = {row[0], copy[1]}, p[3], q[3] = {0.0};
    assert_ok(cx,
              qx_classes_means(cx, fit, qx_mat_of(rows, 1, 2), false, p, (qx_mat){0}));
    for (size_t u = 0; u < NODES; u++) {
        for (size_t v = 0; v < NODES; v++) {
            const double eta[2] = {fit->coef[0] + fit->coef[1] +
                                       sqrt(fit->component[0].variance) * b.node[u],
                                   fit->coef[2] + fit->coef[3] +
                                       sqrt(fit->component[1].variance) * b.node[v]};
            const double sum = 1.0 + exp(eta[0]) + exp(eta[1]);
            const double w = b.weight[u] * b.weight[v] / sum;
            q[0] += w;
            q[1] += w * exp(eta[0]);
            q[2] += w * exp(eta[1]);
        }
    }
    for (size_t k = 0; k < 3; k++) {
        assert_near(p[k], q[k], 1e-10);
    }
    qx_classes_free(fit);
}

/* ---- questions ------------------------------------------------------------------------- */

/* Likelihood ratios of terms: nnet 7.3.18 in R 4.2.2, deviances of the models with and
 * without each (their last digits from its own stopping at 1e-15). */
static void terms_of_housing(void **state)
{
    static const struct {
        const char *term, *chisq;
        size_t df;
    } want[3] = {{"influence", "109.1174554", 4},
                 {"type", "62.2269221", 6},
                 {"contact", "16.0597322", 2}};
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "multinomial-housing");
    const qx_classes_spec spec = housing(cx, c);
    qx_classes *fit;
    assert_ok(cx, qx_multinomial_fit(cx, &spec, &fit));
    for (size_t t = 0; t < 3; t++) {
        const qx_classes_test test = classes_case_lrt(cx, fit, want[t].term);
        assert_int_equal(test.df, want[t].df);
        assert_digits(test.chisq, want[t].chisq, 7);
    }
    qx_classes_free(fit);
}

/* Two classes are grades as well: both kinds are the logistic model, with and without
 * trees, and all their answers agree. */
static void two_classes_are_grades(void **state)
{
    static const char *const name[] = {"upper", "lower"};
    qx_ctx *cx = *state;
    for (size_t random = 0; random < 2; random++) {
        brute b;
        qx_classes *grades, *classes, *three;
        brute_data(&b);
        for (size_t i = 0; i < ROWS; i++) {
            b.code[i] = b.code[i] > 0;
        }
        fit_brute(cx, &b, 2.0, &three);
        qx_classes_spec spec = {.frame = three->design.frame,
                                .class_count = 2,
                                .class_name = name,
                                .code = b.code,
                                .term_count = 1,
                                .term = three->design.term,
                                .random_count = random,
                                .random = &(qx_random_term){"tree", 1}};
        assert_ok(cx, qx_ordinal_fit(cx, &spec, &grades));
        assert_ok(cx, qx_multinomial_fit(cx, &spec, &classes));
        assert_near(grades->log_likelihood, classes->log_likelihood, 1e-10);
        assert_true(fabs(grades->coef[0] + classes->coef[0]) < 1e-6);
        assert_true(fabs(grades->coef[1] - classes->coef[1]) < 1e-6);
        double rows[2] = {1.0, 1.0}, p[2], q[2], v[4], w[4];
        assert_ok(cx,
                  qx_classes_means(
                      cx, grades, qx_mat_of(rows, 1, 2), false, p, qx_mat_of(v, 2, 2)));
        assert_ok(cx,
                  qx_classes_means(
                      cx, classes, qx_mat_of(rows, 1, 2), false, q, qx_mat_of(w, 2, 2)));
        assert_true(fabs(p[0] - q[0]) < 1e-7 && fabs(v[0] - w[0]) < 1e-6);
        qx_classes_free(grades);
        qx_classes_free(classes);
        qx_classes_free(three);
    }
}

/* A bootstrap gives the same p whatever the number of threads, near the asymptotic one here
 * where the sample is large. */
static void bootstrap_of_a_term(void **state)
{
    qx_ctx *cx = *state;
    brute b;
    qx_classes *fit;
    qx_classes_bootstrap got, again;
    qx_classes_test test;
    double L[2] = {0.0, 1.0}, ratio[199];
    const qx_mat hypothesis = {.at = L, .rows = 1, .cols = 2, .ld = 1};
    brute_data(&b);
    fit_brute(cx, &b, 4.0, &fit);
    assert_ok(cx, qx_classes_lrt(cx, fit, hypothesis, &test));
    assert_int_equal(test.df, 2);
    assert_ok(cx, qx_classes_bootstrap_rows(cx, fit, hypothesis, 199, 3, ratio, &got));
    assert_ok(cx, qx_classes_bootstrap_rows(cx, fit, hypothesis, 199, 3, NULL, &again));
    assert_true(got.p == again.p && got.replicates == 199);
    assert_near(got.observed, test.chisq, 1e-6);
    assert_true(fabs(got.p - test.p) < 0.2);
    for (size_t i = 0; i < 199; i++) {
        assert_true(ratio[i] >= 0.0 && isfinite(ratio[i]));
    }
    assert_fails(cx,
                 qx_classes_bootstrap_rows(cx, fit, hypothesis, 0, 3, NULL, &got),
                 QX_E_ARG,
                 "no replicates");
    qx_classes_free(fit);
}

/* The first class never seen: the next takes its place as the reference, and a note says it. */
static void another_reference(void **state)
{
    static const char *const name[] = {"none", "upper", "lateral", "lower"};
    qx_ctx *cx = *state;
    brute b;
    qx_classes *fit, *same;
    brute_data(&b);
    fit_brute(cx, &b, 1.0, &fit);
    for (size_t i = 0; i < ROWS; i++) {
        b.code[i]++;
    }
    const qx_classes_spec spec = {.frame = fit->design.frame,
                                  .class_count = 4,
                                  .class_name = name,
                                  .code = b.code,
                                  .term_count = 1,
                                  .term = fit->design.term,
                                  .random_count = 1,
                                  .random = &(qx_random_term){"tree", 1}};
    assert_ok(cx, qx_multinomial_fit(cx, &spec, &same));
    assert_int_equal(same->class_count, 3);
    assert_string_equal(same->name[0], "lateral:intercept");
    assert_near(same->log_likelihood, fit->log_likelihood, 1e-12);
    assert_int_equal(qx_ctx_note_count(cx), 1);
    qx_classes_free(fit);
    qx_classes_free(same);
}

static void refuses_quadrature_over_two(void **state)
{
    qx_ctx *cx = *state;
    brute b;
    qx_classes *fit, *never = NULL;
    brute_data(&b);
    fit_brute(cx, &b, 1.0, &fit);
    static const char *const name[] = {"upper", "lateral", "lower"};
    const qx_classes_spec spec = {.frame = fit->design.frame,
                                  .class_count = 3,
                                  .class_name = name,
                                  .code = b.code,
                                  .term_count = 1,
                                  .term = fit->design.term,
                                  .random_count = 1,
                                  .random = &(qx_random_term){"tree", 1},
                                  .quadrature = 7};
    assert_int_equal(qx_multinomial_fit(cx, &spec, &never), QX_E_ARG);
    assert_null(never);
    qx_ctx_clear(cx);
    qx_classes_free(fit);
}

#define CASE(name)                                                                       \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        CASE(housing_as_published),
        CASE(highest_laplace_by_differences),
        CASE(near_the_exact_integral),
        CASE(averages_by_brute_force),
        CASE(terms_of_housing),
        CASE(two_classes_are_grades),
        CASE(bootstrap_of_a_term),
        CASE(another_reference),
        CASE(refuses_quadrature_over_two),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
