#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "classes_case.h"
#include "model/ordinal.h"
#include "support.h"

static const char *const GRADE[] = {"1", "2", "3", "4", "5"};

/* tests/reference/ordinal-clm-wine. */
static void wine_without_judges(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clm-wine");
    const qx_classes_spec spec = classes_case_wine(cx, c, "");
    qx_classes *fit;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_true(fit->converged);
    assert_false(fit->penalised);
    reference_assert(c, "fit.log_likelihood", fit->log_likelihood);
    classes_case_assert_coefs(c, "", fit);
    const char *const term[] = {"temp", "contact"};
    for (size_t t = 0; t < 2; t++) {
        char name[80];
        const qx_classes_test test = classes_case_lrt(cx, fit, term[t]);
        (void)snprintf(name, sizeof name, "lrt.%s.chisq", term[t]);
        reference_assert(c, name, test.chisq);
        (void)snprintf(name, sizeof name, "lrt.%s.p", term[t]);
        reference_assert(c, name, test.p);
        assert_int_equal(test.df, 1);
    }
    qx_classes_free(fit);
}

static void probabilities_of_wine(void **state)
{
    static const char *const factor[] = {"temp", "contact"};
    static const char *const cell[4][2] = {
        {"cold", "no"}, {"warm", "no"}, {"cold", "yes"}, {"warm", "yes"}};
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clm-wine");
    const qx_classes_spec spec = classes_case_wine(cx, c, "");
    qx_classes *fit;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    for (size_t i = 0; i < 4; i++) {
        double row[3], p[5];
        classes_case_row(cx, fit, 2, factor, cell[i], row);
        assert_ok(cx,
                  qx_classes_means(cx, fit, qx_mat_of(row, 1, 3), true, p, (qx_mat){0}));
        for (size_t k = 0; k < 5; k++) {
            char name[80];
            (void)snprintf(name,
                           sizeof name,
                           "probability.%s:%s.%s",
                           cell[i][0],
                           cell[i][1],
                           GRADE[k]);
            reference_assert(c, name, p[k]);
        }
    }
    qx_classes_free(fit);
}

static void wine_with_judges(qx_ctx *cx, size_t points, const char *prefix)
{
    const reference_case *c = reference_open(cx, "ordinal-clmm-wine");
    qx_classes_spec spec = classes_case_wine(cx, c, "judge");
    char name[80];
    qx_classes *fit;
    spec.quadrature = points;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_true(fit->converged);
    (void)snprintf(name, sizeof name, "%slog_likelihood", prefix);
    reference_assert(c, name, fit->log_likelihood);
    (void)snprintf(name, sizeof name, "%svarcomp.judge", prefix);
    reference_assert(c, name, fit->component[0].variance);
    assert_string_equal(fit->component[0].name, "judge");
    classes_case_assert_coefs(c, prefix, fit);
    const qx_classes_test test = classes_case_lrt(cx, fit, "temp");
    (void)snprintf(name, sizeof name, "%slrt.temp.chisq", prefix);
    reference_assert(c, name, test.chisq);
    (void)snprintf(name, sizeof name, "%slrt.temp.p", prefix);
    reference_assert(c, name, test.p);
    qx_classes_free(fit);
}

/* tests/reference/ordinal-clmm-wine. */
static void wine_with_judges_by_laplace(void **state)
{
    wine_with_judges(*state, 1, "laplace.");
}

static void wine_with_judges_by_quadrature(void **state)
{
    wine_with_judges(*state, 7, "agq7.");
}

/* Without judges: score test by an independent computation in R 4.2.2 (estimates of clm,
 * numerical derivatives of the free model's probabilities, expected information). With
 * judges it is a chi-squared of 6 df and finite. */
static void odds_are_proportional(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clm-wine");
    qx_classes_spec spec = classes_case_wine(cx, c, "");
    qx_classes *fit;
    qx_classes_test test;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_ok(cx, qx_ordinal_proportional_odds(cx, fit, &test));
    assert_int_equal(test.df, 6);
    assert_digits(test.chisq, "2.844416", 7);
    assert_digits(test.p, "0.8281056", 7);
    qx_classes_free(fit);
    spec = classes_case_wine(cx, c, "judge");
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_ok(cx, qx_ordinal_proportional_odds(cx, fit, &test));
    assert_int_equal(test.df, 6);
    assert_true(test.chisq > 0.0 && test.p > 0.01);
    qx_classes_free(fit);
}

/* Judges whose deviation is next to nothing change nothing: the score by the engine's
 * gradient and Hessian is near that by the expected information. */
static void small_deviations_are_none(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clm-wine");
    qx_classes_spec spec = classes_case_wine(cx, c, "bottle");
    qx_classes *fit;
    qx_classes_test test;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_true(fit->component[0].at_zero);
    assert_true(fit->component[0].variance == 0.0);
    reference_assert(c, "fit.log_likelihood", fit->log_likelihood);
    classes_case_assert_coefs(c, "", fit);
    assert_ok(cx, qx_ordinal_proportional_odds(cx, fit, &test));
    /* observed, not expected, information: the same but for its randomness */
    assert_true(fabs(test.chisq - 2.844) < 1.0);
    assert_ok(cx, qx_classes_profile_components(cx, fit, 0.95));
    assert_true(fit->component[0].lower == 0.0);
    assert_true(fit->component[0].lrt < 1e-6);
    assert_true(fit->component[0].p == 1.0 || fit->component[0].p > 0.49);
    qx_classes_free(fit);
}

static const qx_classes_null *null_of_contact(qx_ctx *cx, const qx_classes *fit)
{
    const qx_classes_null *null;
    double L[3] = {0.0, 0.0, 1.0};
    assert_ok(cx,
              qx_classes_null_make(cx,
                                   fit->arena,
                                   fit,
                                   (qx_mat){.at = L, .rows = 1, .cols = 3, .ld = 1},
                                   &null));
    return null;
}

/* Ratios drawn under the hypothesis are nearly chi-squared with one df (mean 1, standard
 * error of the mean of 400 about 0.07); a stream gives the same ratio again. */
static void draws_under_the_hypothesis(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clm-wine");
    for (int k = 0; k < 2; k++) {
        const qx_classes_spec spec = classes_case_wine(cx, c, k == 0 ? "" : "judge");
        qx_classes *fit;
        double sum = 0.0, first = NAN, again = NAN;
        assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
        const qx_classes_null *null = null_of_contact(cx, fit);
        const qx_classes_test test = classes_case_lrt(cx, fit, "contact");
        assert_near(qx_classes_null_observed(null), test.chisq, 1e-6);
        for (size_t i = 0; i < 400; i++) {
            double chisq;
            qx_rng rng = qx_rng_stream(7, i);
            assert_ok(cx, qx_classes_null_draw(cx, null, &rng, &chisq));
            assert_true(chisq >= 0.0 && isfinite(chisq));
            sum += chisq;
            first = i == 11 ? chisq : first;
        }
        qx_rng rng = qx_rng_stream(7, 11);
        assert_ok(cx, qx_classes_null_draw(cx, null, &rng, &again));
        assert_true(again == first);
        assert_true(fabs(sum / 400.0 - 1.05) < 0.25);
        qx_classes_free(fit);
    }
}

/* Profile ends: the likelihood ratio there is the quantile, so the test of the row at its
 * end value is p = 0.05; here by the symmetry of the two ends about a normal profile. */
static void intervals_hold_the_estimate(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clmm-wine");
    const qx_classes_spec spec = classes_case_wine(cx, c, "judge");
    static const double row[3] = {0.0, 1.0, 0.0};
    double lower, upper;
    qx_classes *fit;
    qx_estimate at;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_ok(cx, qx_classes_contrast(cx, fit, row, 0, &at));
    assert_near(at.estimate, fit->coef[4], 1e-12);
    assert_near(at.se, sqrt(QX_AT(fit->covariance, 4, 4)), 1e-12);
    assert_ok(cx, qx_classes_interval(cx, fit, row, 0, 0.95, &lower, &upper));
    /* Wald's ends lie within a quarter of a standard error */
    assert_true(fabs(lower - (at.estimate - 1.96 * at.se)) < 0.25 * at.se);
    assert_true(fabs(upper - (at.estimate + 1.96 * at.se)) < 0.25 * at.se);
    assert_true(upper - at.estimate > at.estimate - lower);
    assert_ok(cx, qx_classes_profile_components(cx, fit, 0.95));
    const qx_component *judge = &fit->component[0];
    assert_true(judge->lower > 0.0 && judge->lower < judge->variance);
    assert_true(judge->upper > judge->variance && isfinite(judge->upper));
    /* against the fit without judges (tests/reference/ordinal-clm-wine) */
    assert_near(judge->lrt, 2.0 * (-81.5654127764927 + 86.4919233656491), 1e-6);
    qx_classes_free(fit);
}

/* ---- means ----------------------------------------------------------------------------- */

/* Averages over judges: derivative and probability against quadrature by plain sums; the
 * covariance against differences of the probabilities along the parameters' covariance. */
static void averaged_over_judges(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clmm-wine");
    const qx_classes_spec spec = classes_case_wine(cx, c, "judge");
    double rows[6] = {1.0, 1.0, 0.0, 1.0, 0.0, 1.0}, p[10], typical[10], square[100];
    const qx_mat V = qx_mat_of(square, 10, 10);
    qx_classes *fit;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_ok(cx, qx_classes_means(cx, fit, qx_mat_of(rows, 2, 3), false, p, V));
    assert_ok(
        cx, qx_classes_means(cx, fit, qx_mat_of(rows, 2, 3), true, typical, (qx_mat){0}));
    const double sd = sqrt(fit->component[0].variance);
    double below[2][4] = {{0.0}};
    for (int i = -400; i <= 400; i++) {
        const double z = i * 0.02;
        const double w = 0.02 * exp(-0.5 * z * z) / sqrt(2.0 * acos(-1.0));
        for (size_t r = 0; r < 2; r++) {
            const double place = rows[2 + r] * fit->coef[4] + rows[4 + r] * fit->coef[5];
            for (size_t j = 0; j < 4; j++) {
                below[r][j] += w / (1.0 + exp(-(fit->coef[j] - place - sd * z)));
            }
        }
    }
    for (size_t r = 0; r < 2; r++) {
        double sum = 0.0, sum_typical = 0.0;
        for (size_t k = 0; k < 5; k++) {
            const double by_hand =
                (k < 4 ? below[r][k] : 1.0) - (k > 0 ? below[r][k - 1] : 0.0);
            assert_true(fabs(p[r * 5 + k] - by_hand) < 1e-12);
            sum += p[r * 5 + k];
            sum_typical += typical[r * 5 + k];
        }
        assert_near(sum, 1.0, 1e-12);
        assert_near(sum_typical, 1.0, 1e-12);
    }
    /* probabilities of a row add up to one, so their covariances add up to nothing */
    for (size_t a = 0; a < 10; a++) {
        double sum = 0.0;
        for (size_t k = 0; k < 5; k++) {
            sum += QX_AT(V, a, k);
        }
        assert_true(fabs(sum) < 1e-12);
        assert_true(QX_AT(V, a, a) > 0.0);
    }
    qx_classes_free(fit);
}

static void intervals_of_probabilities(void **state)
{
    double lower, upper;
    (void)state;
    qx_classes_probability_interval(0.5, 0.1, 0.95, &lower, &upper);
    assert_near(lower, 1.0 / (1.0 + exp(1.959963984540054 * 0.4)), 1e-12);
    assert_near(upper, 1.0 - lower, 1e-12);
    qx_classes_probability_interval(0.0, 0.1, 0.95, &lower, &upper);
    assert_true(isnan(lower) && isnan(upper));
    qx_classes_probability_interval(0.99, 0.05, 0.95, &lower, &upper);
    assert_true(lower > 0.0 && upper < 1.0);
}

/* ---- laws ------------------------------------------------------------------------------ */

/* The wine turned upside down: rows from last to first, judges numbered the other way. */
static qx_classes_spec turned(qx_ctx *cx, const qx_classes_spec *from)
{
    const size_t n = from->frame->n, count = from->frame->factor_count;
    qx_frame *frame = qx_arena_alloc(qx_ctx_scratch(cx), 1, sizeof *frame);
    qx_factor *factor = qx_arena_alloc(qx_ctx_scratch(cx), count, sizeof *factor);
    uint32_t *grade = qx_arena_alloc(qx_ctx_scratch(cx), n, sizeof *grade);
    assert_true(frame != NULL && factor != NULL && grade != NULL);
    *frame = *from->frame;
    frame->factor = factor;
    for (size_t f = 0; f < count; f++) {
        const bool unit = f == from->random[0].factor;
        uint32_t *code = qx_arena_alloc(qx_ctx_scratch(cx), n, sizeof *code);
        assert_non_null(code);
        factor[f] = from->frame->factor[f];
        for (size_t i = 0; i < n; i++) {
            const uint32_t was = factor[f].code[n - 1 - i];
            code[i] = unit ? (uint32_t)factor[f].level_count - 1 - was : was;
        }
        factor[f].code = code;
    }
    for (size_t i = 0; i < n; i++) {
        grade[i] = from->code[n - 1 - i];
    }
    qx_classes_spec spec = *from;
    spec.frame = frame;
    spec.code = grade;
    return spec;
}

static void laws_of_rows(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clmm-wine");
    const qx_classes_spec spec = classes_case_wine(cx, c, "judge");
    const qx_classes_spec other = turned(cx, &spec);
    qx_classes *a, *b;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &a));
    assert_ok(cx, qx_ordinal_fit(cx, &other, &b));
    assert_near(a->log_likelihood, b->log_likelihood, 1e-12);
    for (size_t j = 0; j < a->p; j++) {
        assert_near(a->coef[j], b->coef[j], 1e-8);
        assert_near(QX_AT(a->covariance, j, j), QX_AT(b->covariance, j, j), 1e-6);
    }
    qx_classes_free(a);
    qx_classes_free(b);
}

/* One unit under two names (a single tree in each block): only the sum of both variances is
 * told by the data; all else is as with one. */
static void one_unit_named_twice(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clmm-wine");
    const qx_classes_spec spec = classes_case_wine(cx, c, "judge judge");
    qx_classes *fit;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_true(fit->converged);
    reference_assert(c, "laplace.log_likelihood", fit->log_likelihood);
    assert_near(fit->component[0].variance + fit->component[1].variance,
                reference_value(c, "laplace.varcomp.judge"),
                1e-6);
    classes_case_assert_coefs(c, "laplace.", fit);
    qx_classes_free(fit);
}

/* A covariate far from zero, in any unit: the same fit, its slope in that unit. */
static void units_of_a_covariate(void **state)
{
    static const double scale[3] = {1.0, 1e6, 1e-6};
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clmm-wine");
    double first = NAN, slope = NAN;
    for (size_t k = 0; k < 3; k++) {
        qx_classes_spec spec = classes_case_wine(cx, c, "judge");
        const size_t n = spec.frame->n;
        double *x = qx_arena_alloc(qx_ctx_scratch(cx), n, sizeof *x);
        assert_non_null(x);
        for (size_t i = 0; i < n; i++) {
            x[i] = scale[k] * (500.0 + sin((double)i) + (double)(spec.code[i] % 3));
        }
        const qx_number number = {"girth", x};
        const qx_term term = {.name = "girth", .number = 0};
        qx_frame frame = *spec.frame;
        frame.number = &number;
        frame.number_count = 1;
        spec.frame = &frame;
        spec.term = &term;
        spec.term_count = 1;
        qx_classes *fit;
        assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
        assert_true(fit->converged);
        if (k == 0) {
            first = fit->log_likelihood;
            slope = fit->coef[4];
        }
        assert_near(fit->log_likelihood, first, 1e-10);
        assert_near(fit->coef[4] * scale[k], slope, 1e-6);
        qx_classes_free(fit);
    }
}

/* ---- what users bring ------------------------------------------------------------------ */

static void unseen_grades_are_left_out(void **state)
{
    static const char *const grade[] = {"0", "1", "2", "3", "4", "5", "6"};
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clm-wine");
    qx_classes_spec spec = classes_case_wine(cx, c, "");
    qx_classes *fit;
    spec.class_count = 7;
    spec.class_name = grade;
    spec.code = classes_case_codes(cx, c, "rating", 7, grade);
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_int_equal(fit->class_count, 5);
    assert_true(fit->class_of[0] == QX_NO_COLUMN && fit->class_of[6] == QX_NO_COLUMN);
    assert_true(fit->class_of[1] == 0 && fit->class_of[5] == 4);
    assert_int_equal(qx_ctx_note_count(cx), 2);
    assert_non_null(strstr(qx_ctx_note(cx, 0), "0 was never seen"));
    classes_case_assert_coefs(c, "", fit);
    qx_classes_free(fit);
}

static void refuses_what_is_no_grade(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clm-wine");
    const qx_classes_spec good = classes_case_wine(cx, c, "");
    const size_t n = good.frame->n;
    uint32_t *code = qx_arena_alloc(qx_ctx_scratch(cx), n, sizeof *code);
    double *times = qx_arena_alloc(qx_ctx_scratch(cx), n, sizeof *times);
    qx_classes_spec bad = good;
    qx_classes *fit = NULL;
    assert_non_null(code);
    assert_non_null(times);
    bad.code = code;
    assert_fails(cx, qx_ordinal_fit(cx, &bad, &fit), QX_E_INPUT, "all are 1");
    code[3] = 5;
    assert_fails(cx, qx_ordinal_fit(cx, &bad, &fit), QX_E_INPUT, "row 4");
    bad = good;
    times[8] = -1.0;
    bad.times = times;
    assert_fails(cx, qx_ordinal_fit(cx, &bad, &fit), QX_E_INPUT, "row 9");
    times[8] = 0.0;
    assert_fails(cx, qx_ordinal_fit(cx, &bad, &fit), QX_E_INPUT, "nothing was counted");
    bad = good;
    bad.class_count = 1;
    assert_fails(cx, qx_ordinal_fit(cx, &bad, &fit), QX_E_SHAPE, "classes");
    bad = good;
    bad.code = NULL;
    assert_fails(cx, qx_ordinal_fit(cx, &bad, &fit), QX_E_ARG, "by class or by count");
    assert_null(fit);
}

static void refuses_wrong_questions(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clm-wine");
    const qx_classes_spec spec = classes_case_wine(cx, c, "");
    double L[6] = {1.0, 0.0, 0.0, 0.0, 1.0, 2.0}, p[5];
    static const double nothing[3] = {1.0, 0.0, 0.0};
    double lower, upper;
    qx_classes *fit;
    qx_classes_test test;
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    assert_fails(
        cx, qx_classes_lrt(cx, fit, qx_mat_of(L, 1, 3), &test), QX_E_SHAPE, "intercept");
    assert_fails(cx,
                 qx_classes_lrt(cx, fit, qx_mat_of(L, 1, 2), &test),
                 QX_E_SHAPE,
                 "does not fit");
    const double dependent[6] = {0.0, 0.0, 1.0, 2.0, 1.0, 2.0};
    memcpy(L, dependent, sizeof L);
    assert_fails(
        cx, qx_classes_lrt(cx, fit, qx_mat_of(L, 2, 3), &test), QX_E_RANK, "depend");
    assert_fails(cx,
                 qx_classes_means(cx, fit, qx_mat_of(L, 1, 2), true, p, (qx_mat){0}),
                 QX_E_SHAPE,
                 "do not fit");
    assert_fails(cx,
                 qx_classes_interval(cx, fit, nothing, 0, 0.95, &lower, &upper),
                 QX_E_ARG,
                 "nothing");
    assert_fails(
        cx, qx_classes_interval(cx, fit, L, 0, 1.0, &lower, &upper), QX_E_ARG, "level");
    qx_classes_free(fit);
    qx_classes_free(NULL);
}

typedef struct memory_case {
    qx_classes_spec spec;
} memory_case;

static qx_status ask_everything(qx_ctx *cx, qx_classes *fit)
{
    double L[3] = {0.0, 0.0, 1.0}, rows[3] = {1.0, 1.0, 0.0}, p[5], square[25], chisq;
    double lower, upper;
    qx_classes_test test;
    const qx_classes_null *null;
    const qx_mat hypothesis = {.at = L, .rows = 1, .cols = 3, .ld = 1};
    qx_rng rng = qx_rng_seeded(3);
    QX_TRY(qx_classes_lrt(cx, fit, hypothesis, &test));
    QX_TRY(qx_ordinal_proportional_odds(cx, fit, &test));
    QX_TRY(qx_classes_interval(cx, fit, L, 0, 0.95, &lower, &upper));
    QX_TRY(qx_classes_means(
        cx, fit, qx_mat_of(rows, 1, 3), false, p, qx_mat_of(square, 5, 5)));
    QX_TRY(qx_classes_null_make(cx, fit->arena, fit, hypothesis, &null));
    return qx_classes_null_draw(cx, null, &rng, &chisq);
}

static qx_status fit_and_ask(qx_ctx *cx, void *given)
{
    const memory_case *m = given;
    qx_classes *fit = NULL;
    QX_TRY(qx_ordinal_fit(cx, &m->spec, &fit));
    const qx_status status = ask_everything(cx, fit);
    qx_classes_free(fit);
    return status;
}

static void survives_no_memory(void **state)
{
    qx_ctx *cx = *state;
    const reference_case *c = reference_open(cx, "ordinal-clm-wine");
    memory_case m = {classes_case_wine(cx, c, "")};
    assert_true(fail_each_allocation(fit_and_ask, &m) > 0);
}

#define CASE(name)                                                                       \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        CASE(wine_without_judges),
        CASE(probabilities_of_wine),
        CASE(wine_with_judges_by_laplace),
        CASE(wine_with_judges_by_quadrature),
        CASE(odds_are_proportional),
        CASE(small_deviations_are_none),
        CASE(draws_under_the_hypothesis),
        CASE(intervals_hold_the_estimate),
        CASE(averaged_over_judges),
        CASE(intervals_of_probabilities),
        CASE(laws_of_rows),
        CASE(one_unit_named_twice),
        CASE(units_of_a_covariate),
        CASE(unseen_grades_are_left_out),
        CASE(refuses_what_is_no_grade),
        CASE(refuses_wrong_questions),
        CASE(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
