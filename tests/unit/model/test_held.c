/* Ratios for few data: fits with their variances held, and the mean of a ratio of classes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/classes_bootstrap.h"
#include "model/glmm.h"
#include "model/multinomial.h"
#include "model/ordinal.h"
#include "support.h"

#define ROWS 24

static const char *const LEVEL[] = {"a", "b", "c", "d", "e", "f"};

/* Rows in three treatments and six blocks. */
typedef struct trial {
    uint32_t spray[ROWS], block[ROWS];
    qx_factor factor[2];
    qx_frame frame;
    qx_term term;
    qx_random_term random;
} trial;

static void make_trial(trial *t, size_t rows, size_t sprays)
{
    for (size_t i = 0; i < rows; i++) {
        t->spray[i] = (uint32_t)(i % sprays);
        t->block[i] = (uint32_t)(i / 4);
    }
    t->factor[0] = (qx_factor){
        .name = "spray", .level_count = sprays, .level = LEVEL, .code = t->spray};
    t->factor[1] =
        (qx_factor){.name = "block", .level_count = 6, .level = LEVEL, .code = t->block};
    t->frame = (qx_frame){.n = rows, .factor_count = 2, .factor = t->factor};
    t->term = (qx_term){
        .name = "spray", .factor_count = 1, .factor = {0}, .number = QX_NO_COLUMN};
    t->random = (qx_random_term){"block", 1};
}

/* ---- the mean of a ratio --------------------------------------------------------------- */

static void hypothesis(qx_ctx *cx, const qx_design *design, qx_mat *L)
{
    assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), design, 0, L));
}

/* Source: Williams 1976, Biometrika 63:33-37: the ratio of independence in a table of r x c has
 * the mean (r - 1)(c - 1) q, q = 1 + (N sum 1/row - 1)(N sum 1/column - 1) / (6 N (r-1)(c-1)). */
static double williams(size_t r, size_t c, const double count[])
{
    double N = 0.0, rows = 0.0, columns = 0.0;
    for (size_t i = 0; i < r; i++) {
        double sum = 0.0;
        for (size_t j = 0; j < c; j++) {
            sum += count[i + j * r];
        }
        N += sum;
        rows += 1.0 / sum;
    }
    for (size_t j = 0; j < c; j++) {
        double sum = 0.0;
        for (size_t i = 0; i < r; i++) {
            sum += count[i + j * r];
        }
        columns += 1.0 / sum;
    }
    const double df = (double)((r - 1) * (c - 1));
    return 1.0 + (N * rows - 1.0) * (N * columns - 1.0) / (6.0 * N * df);
}

static void table_as_williams_1976(void **state)
{
    static const double count[] = {8, 3, 5, 4, 6, 9, 2, 7, 3};
    qx_ctx *cx = *state;
    trial t;
    qx_classes *fit;
    qx_mat L;
    double factor;
    make_trial(&t, 3, 3);
    const qx_classes_spec spec = {.frame = &t.frame,
                                  .class_count = 3,
                                  .class_name = LEVEL,
                                  .count = count,
                                  .term_count = 1,
                                  .term = &t.term};
    assert_ok(cx, qx_multinomial_fit(cx, &spec, &fit));
    hypothesis(cx, &fit->design, &L);
    assert_ok(cx, qx_classes_bartlett(cx, fit, L, &factor));
    assert_near(factor, williams(3, 3, count), 1e-9);
    qx_classes_free(fit);
}

/* Two grades in three treatments are a table of 3 x 2. */
static void two_grades_as_williams_1976(void **state)
{
    static const double count[] = {8, 3, 5, 4, 6, 2};
    qx_ctx *cx = *state;
    trial t;
    qx_classes *fit;
    qx_mat L;
    double factor;
    make_trial(&t, 3, 3);
    const qx_classes_spec spec = {.frame = &t.frame,
                                  .class_count = 2,
                                  .class_name = LEVEL,
                                  .count = count,
                                  .term_count = 1,
                                  .term = &t.term};
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    hypothesis(cx, &fit->design, &L);
    for (size_t i = 0; i < L.rows; i++) {
        QX_AT(L, i, 0) = 0.0;
    }
    assert_ok(cx, qx_classes_bartlett(cx, fit, L, &factor));
    assert_near(factor, williams(3, 2, count), 1e-9);
    qx_classes_free(fit);
}

/* Three grades: against the mean of 20,000 ratios drawn under the hypothesis, whose standard
 * error is 0.008; the expansion leaves out what falls with the square of n. */
static void grades_as_drawn(void **state)
{
    static const double count[] = {4, 3, 2, 3, 5, 3, 3, 2, 5};
    static double ratio[20000];
    qx_ctx *cx = *state;
    trial t;
    qx_classes *fit;
    qx_classes_bootstrap drawn;
    qx_mat L;
    double factor, mean = 0.0;
    make_trial(&t, 3, 3);
    const qx_classes_spec spec = {.frame = &t.frame,
                                  .class_count = 3,
                                  .class_name = LEVEL,
                                  .count = count,
                                  .term_count = 1,
                                  .term = &t.term};
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    hypothesis(cx, &fit->design, &L);
    for (size_t i = 0; i < L.rows; i++) {
        QX_AT(L, i, 0) = 0.0;
    }
    assert_ok(cx, qx_classes_bartlett(cx, fit, L, &factor));
    assert_ok(cx, qx_classes_bootstrap_rows(cx, fit, L, 20000, 5, ratio, &drawn));
    for (size_t i = 0; i < 20000; i++) {
        mean += ratio[i] / 2.0 / 20000.0;
    }
    assert_true(factor > 1.03 && factor < 1.12);
    assert_true(fabs(mean - factor) < 0.03);
    qx_classes_free(fit);
}

/* ---- variances that are held ----------------------------------------------------------- */

static const double COUNTS[ROWS] = {3, 1, 4, 2, 5, 9, 7, 6, 2, 0, 3, 1,
                                    8, 6, 4, 9, 1, 3, 2, 2, 5, 4, 7, 3};

static qx_glmm *counts_of(qx_ctx *cx, trial *t)
{
    qx_glmm *fit;
    make_trial(t, ROWS, 4);
    const qx_glmm_spec spec = {.frame = &t->frame,
                               .k = COUNTS,
                               .term_count = 1,
                               .term = &t->term,
                               .random_count = 1,
                               .random = &t->random,
                               .family = qx_family_find("negbin"),
                               .link = QX_LINK_LOG,
                               .level = 0.95};
    assert_ok(cx, qx_glmm_fit(cx, &spec, &fit));
    assert_true(fit->converged && fit->sd[0] > 0.1);
    return fit;
}

static double held_value(qx_ctx *cx, const qx_glmm *fit, double sd, double psi)
{
    qx_glmm *held;
    assert_ok(cx, qx_glmm_hold(cx, fit, &sd, psi, &held));
    const double value = held->log_likelihood;
    qx_glmm_free(held);
    return value;
}

/* At the estimates nothing changes; elsewhere log L is lower, and its slopes are those of
 * differences. */
static void counts_held(void **state)
{
    qx_ctx *cx = *state;
    trial t;
    qx_glmm *fit = counts_of(cx, &t), *held;
    const double sd = 0.5, psi = 0.3, step = 1e-4;
    double slope[2];
    assert_near(held_value(cx, fit, fit->sd[0], fit->psi), fit->log_likelihood, 1e-9);
    assert_ok(cx, qx_glmm_hold(cx, fit, &sd, psi, &held));
    assert_true(held->sd[0] == sd && held->psi == psi);
    assert_true(held->log_likelihood < fit->log_likelihood);
    assert_ok(cx, qx_glmm_slope(cx, held, slope));
    const double by_sd =
        (held_value(cx, fit, sd + step, psi) - held_value(cx, fit, sd - step, psi)) /
        (2.0 * step);
    const double by_psi =
        (held_value(cx, fit, sd, psi + step) - held_value(cx, fit, sd, psi - step)) /
        (2.0 * step);
    assert_true(fabs(slope[0] - by_sd) < 1e-5 && fabs(slope[1] - by_psi) < 1e-5);
    qx_glmm_free(held);
    qx_glmm_free(fit);
}

/* A ratio with variances held is that of two likelihoods at these variances: the one under the
 * hypothesis is the fit of a mean alone, held at the same. */
static void ratio_of_counts_held(void **state)
{
    qx_ctx *cx = *state;
    trial t;
    qx_glmm *fit = counts_of(cx, &t), *held, *mean, *mean_held;
    qx_glmm_test test;
    qx_mat L;
    const double sd = 0.5, psi = 0.3;
    const qx_glmm_spec alone = {.frame = &t.frame,
                                .k = COUNTS,
                                .random_count = 1,
                                .random = &t.random,
                                .family = qx_family_find("negbin"),
                                .link = QX_LINK_LOG,
                                .level = 0.95};
    assert_ok(cx, qx_glmm_hold(cx, fit, &sd, psi, &held));
    assert_ok(cx, qx_glmm_fit(cx, &alone, &mean));
    assert_ok(cx, qx_glmm_hold(cx, mean, &sd, psi, &mean_held));
    hypothesis(cx, &fit->design, &L);
    assert_ok(cx, qx_glmm_test_rows(cx, held, L, &test));
    const double want = 2.0 * (held->log_likelihood - mean_held->log_likelihood);
    assert_true(fabs(test.chisq - want) < 1e-7 && test.num_df == 3.0);
    qx_glmm_free(mean_held);
    qx_glmm_free(mean);
    qx_glmm_free(held);
    qx_glmm_free(fit);
}

static double grades_value(qx_ctx *cx, const qx_classes *fit, double sd)
{
    qx_classes *held;
    assert_ok(cx, qx_classes_hold(cx, fit, &sd, &held));
    const double value = held->log_likelihood;
    qx_classes_free(held);
    return value;
}

static void grades_held(void **state)
{
    static const uint32_t code[ROWS] = {0, 1, 2, 0, 2, 2, 1, 2, 0, 0, 1, 0,
                                        2, 1, 1, 2, 0, 1, 0, 0, 1, 1, 2, 1};
    qx_ctx *cx = *state;
    trial t;
    qx_classes *fit, *held;
    qx_classes_test free_, same;
    qx_mat L;
    double slope, sd;
    make_trial(&t, ROWS, 4);
    const qx_classes_spec spec = {.frame = &t.frame,
                                  .class_count = 3,
                                  .class_name = LEVEL,
                                  .code = code,
                                  .term_count = 1,
                                  .term = &t.term,
                                  .random_count = 1,
                                  .random = &t.random};
    assert_ok(cx, qx_ordinal_fit(cx, &spec, &fit));
    sd = sqrt(fit->component[0].variance);
    assert_true(sd > 0.1);
    assert_near(grades_value(cx, fit, sd), fit->log_likelihood, 1e-9);
    sd = 0.4;
    assert_ok(cx, qx_classes_hold(cx, fit, &sd, &held));
    assert_ok(cx, qx_classes_slope(cx, held, &slope));
    const double by =
        (grades_value(cx, fit, sd + 1e-4) - grades_value(cx, fit, sd - 1e-4)) / 2e-4;
    assert_true(fabs(slope - by) < 1e-4);
    hypothesis(cx, &fit->design, &L);
    for (size_t i = 0; i < L.rows; i++) {
        QX_AT(L, i, 0) = 0.0;
    }
    assert_ok(cx, qx_classes_lrt(cx, fit, L, &free_));
    assert_ok(cx, qx_classes_lrt(cx, held, L, &same));
    assert_true(free_.df == same.df && fabs(free_.chisq - same.chisq) > 1e-3);
    qx_classes_free(held);
    qx_classes_free(fit);
}

#define CASE(name)                                                                       \
    cmocka_unit_test_setup_teardown(name, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        CASE(table_as_williams_1976),
        CASE(two_grades_as_williams_1976),
        CASE(grades_as_drawn),
        CASE(counts_held),
        CASE(ratio_of_counts_held),
        CASE(grades_held),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
