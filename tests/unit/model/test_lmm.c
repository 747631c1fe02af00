/* Laws that every fit obeys, and data that leave nothing to estimate. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <float.h>
#include <math.h>
#include <string.h>

#include "small_model.h"
#include "support.h"

static qx_lmm *fitted(qx_ctx *cx, const small_model *m)
{
    qx_lmm *fit = NULL;
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    return fit;
}

static qx_joint_test marginal(qx_ctx *cx, const qx_lmm *fit, size_t term)
{
    qx_mat L;
    qx_joint_test test;
    assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &fit->design, term, &L));
    assert_ok(cx, qx_lmm_test(cx, fit, L, &test));
    return test;
}

static qx_estimate mean_of(qx_ctx *cx, const qx_lmm *fit, size_t factor, size_t level)
{
    double *row = qx_arena_alloc(qx_ctx_scratch(cx), fit->p, sizeof *row);
    bool estimable;
    qx_estimate e;
    assert_non_null(row);
    assert_ok(cx, qx_design_mean(cx, &fit->design, 1, &factor, &level, row, &estimable));
    assert_true(estimable);
    assert_ok(cx, qx_lmm_contrast(cx, fit, row, 1.0, &e));
    return e;
}

/* Both fits say the same, the second with y = factor * y + move. */
static void
same_findings(qx_ctx *cx, const qx_lmm *a, const qx_lmm *b, double factor, double move)
{
    for (size_t i = 0; i < a->component_count; i++) {
        if (a->component[i].at_zero) {
            assert_true(b->component[i].at_zero);
            continue;
        }
        assert_near(
            b->component[i].variance, a->component[i].variance * factor * factor, 1e-8);
    }
    for (size_t t = 0; t < a->design.term_count; t++) {
        const qx_joint_test x = marginal(cx, a, t);
        const qx_joint_test y = marginal(cx, b, t);
        assert_true(x.num_df == y.num_df);
        assert_near(y.f, x.f, 1e-8);
        assert_near(y.den_df, x.den_df, 1e-8);
    }
    for (size_t l = 0; l < 3; l++) {
        const qx_estimate x = mean_of(cx, a, 1, l);
        const qx_estimate y = mean_of(cx, b, 1, l);
        assert_near(y.estimate, x.estimate * factor + move, 1e-9);
        assert_near(y.se, x.se * fabs(factor), 1e-8);
        assert_near(y.df, x.df, 1e-8);
    }
}

static small_model *unbalanced(qx_ctx *cx, uint64_t seed)
{
    small_model *m = small_split_plot(cx, seed, 2.0, 1.0, 1.0);
    m->n = m->frame.n = 21;
    return m;
}

static void scale_and_sign_change_nothing(void **state)
{
    qx_ctx *cx = *state;
    const double factors[] = {-1.0, 1e-6, 3.7e5, 1e-140, 1e140};
    for (size_t k = 0; k < QX_COUNT(factors); k++) {
        small_model *m = unbalanced(cx, 21);
        qx_lmm *a = fitted(cx, m);
        for (size_t i = 0; i < m->n; i++) {
            m->y[i] *= factors[k];
        }
        qx_lmm *b = fitted(cx, m);
        same_findings(cx, a, b, factors[k], 0.0);
        qx_lmm_free(a);
        qx_lmm_free(b);
    }
}

static void shift_moves_means_alone(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = unbalanced(cx, 22);
    qx_lmm *a = fitted(cx, m);
    m->spec.shift = 1e12;
    qx_lmm *b = fitted(cx, m);
    same_findings(cx, a, b, 1.0, 1e12);
    m->spec.shift = 0.0;
    for (size_t i = 0; i < m->n; i++) {
        m->y[i] += 1000.0;
    }
    qx_lmm *c = fitted(cx, m);
    same_findings(cx, a, c, 1.0, 1000.0);
    qx_lmm_free(a);
    qx_lmm_free(b);
    qx_lmm_free(c);
}

/* Rows in another order: reversed, and by a stride that meets every row. */
static void order_of_rows_changes_nothing(void **state)
{
    qx_ctx *cx = *state;
    for (size_t stride = 5; stride <= 20; stride += 15) {
        small_model *m = unbalanced(cx, 23);
        const small_model *given = unbalanced(cx, 23);
        qx_lmm *a = fitted(cx, m);
        for (size_t i = 0; i < m->n; i++) {
            const size_t from = (i * stride + 3) % m->n;
            m->y[i] = given->y[from];
            for (size_t f = 0; f < m->frame.factor_count; f++) {
                m->code[f][i] = given->code[f][from];
            }
        }
        qx_lmm *b = fitted(cx, m);
        same_findings(cx, a, b, 1.0, 0.0);
        qx_lmm_free(a);
        qx_lmm_free(b);
    }
}

/* Units under other numbers, and treatment b with its levels turned round. */
static void names_change_nothing(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = unbalanced(cx, 24);
    qx_lmm *a = fitted(cx, m);
    for (size_t i = 0; i < m->n; i++) {
        m->code[0][i] = 3 - m->code[0][i];
        m->code[2][i] = 1 - m->code[2][i];
        m->code[3][i] = (m->code[3][i] * 5) % 12;
    }
    qx_lmm *b = fitted(cx, m);
    same_findings(cx, a, b, 1.0, 0.0);
    qx_lmm_free(a);
    qx_lmm_free(b);
}

/* Denominator of the plot treatment when plots vary less than chance: it stays the plots'
 * 6 df and never becomes the 18 of smaller units, whatever the method. */
static void zero_component_lends_no_df(void **state)
{
    qx_ctx *cx = *state;
    const qx_df_method methods[] = {QX_KENWARD_ROGER, QX_SATTERTHWAITE, QX_CONTAINMENT};
    size_t seen = 0;
    for (uint64_t seed = 1; seed <= 30; seed++) {
        small_model *m = small_split_plot(cx, seed, 2.0, 0.0, 1.0);
        for (size_t k = 0; k < QX_COUNT(methods); k++) {
            m->spec.df = methods[k];
            qx_lmm *fit = fitted(cx, m);
            if (fit->component[1].at_zero) {
                seen++;
                assert_true(marginal(cx, fit, 0).den_df < 6.0 + 1e-6);
            }
            qx_lmm_free(fit);
        }
    }
    assert_true(seen > 20);
}

/* A balanced split plot: denominators 6 and 9, by every method. */
static void balanced_df_are_those_of_the_strata(void **state)
{
    qx_ctx *cx = *state;
    const qx_df_method methods[] = {QX_KENWARD_ROGER, QX_SATTERTHWAITE, QX_CONTAINMENT};
    small_model *m = small_split_plot(cx, 3, 3.0, 2.0, 1.0);
    for (size_t k = 0; k < QX_COUNT(methods); k++) {
        m->spec.df = methods[k];
        qx_lmm *fit = fitted(cx, m);
        assert_false(fit->component[1].at_zero);
        assert_near(marginal(cx, fit, 0).den_df, 6.0, 1e-9);
        assert_near(marginal(cx, fit, 1).den_df, 9.0, 1e-9);
        assert_near(marginal(cx, fit, 2).den_df, 9.0, 1e-9);
        qx_lmm_free(fit);
    }
}

/* residual = y - X beta - Z u sums to nil over what X and Z see with weight one. */
static void fitted_and_residual_add_up(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = unbalanced(cx, 25);
    m->spec.random_count = 0;
    qx_lmm *fit = fitted(cx, m);
    for (size_t i = 0; i < m->n; i++) {
        assert_near(fit->fitted[i] + fit->residual[i], m->y[i], 1e-12);
    }
    qx_lmm_free(fit);
}

static void constant_response_tests_nothing(void **state)
{
    qx_ctx *cx = *state;
    for (size_t random = 0; random <= 2; random += 2) {
        small_model *m = small_split_plot(cx, 1, 1.0, 1.0, 1.0);
        m->spec.random_count = random;
        m->spec.shift = 5.0;
        memset(m->y, 0, m->n * sizeof *m->y);
        qx_lmm *fit = fitted(cx, m);
        const qx_joint_test test = marginal(cx, fit, 0);
        const qx_estimate e = mean_of(cx, fit, 1, 0);
        assert_true(e.estimate == 5.0);
        assert_true(isnan(e.se));
        assert_true(isnan(test.f));
        assert_true(isnan(test.p));
        assert_true(fit->component[random].variance == 0.0);
        assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.95));
        assert_int_equal(fit->exhausted, QX_NIL_BESIDE_FIXED);
        qx_lmm_free(fit);
        qx_ctx_clear(cx);
    }
}

/* Treatments explain all, but for rounding: no F of 1e30. */
static void exact_response_tests_nothing(void **state)
{
    qx_ctx *cx = *state;
    for (size_t random = 0; random <= 2; random += 2) {
        small_model *m = small_split_plot(cx, 1, 0.0, 0.0, 0.0);
        m->spec.random_count = random;
        for (size_t i = 0; i < m->n; i++) {
            m->y[i] = 0.1 * m->code[1][i] + 0.3 * m->code[2][i];
        }
        qx_lmm *fit = fitted(cx, m);
        assert_true(isnan(marginal(cx, fit, 0).f));
        qx_lmm_free(fit);
    }
}

/* Blocks and plots vary, the rest not at all: the optimum lies at infinite ratios. It must
 * end, say so, and give no not-a-number dressed as a number. */
static void no_residual_variation_is_told(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 5, 2.0, 1.0, 0.0);
    qx_lmm *fit = fitted(cx, m);
    assert_int_equal(fit->exhausted, QX_NIL_WITHIN_UNITS);
    assert_true(fit->converged);
    assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.95));
    assert_true(isnan(marginal(cx, fit, 0).p));
    qx_lmm_free(fit);
}

static void too_few_rows_are_refused(void **state)
{
    qx_ctx *cx = *state;
    qx_lmm *fit = NULL;
    small_model *m = small_split_plot(cx, 1, 1.0, 1.0, 1.0);
    m->n = m->frame.n = 6;
    assert_fails(cx, qx_lmm_fit(cx, &m->spec, &fit), QX_E_INPUT, "too few");
    m->n = m->frame.n = 0;
    assert_fails(cx, qx_lmm_fit(cx, &m->spec, &fit), QX_E_SHAPE, "no row");
    assert_null(fit);
}

/* Rows by columns with 9000 units in all, each row and column met: one set. */
/* One matrix cannot hold them; the sparse way, which is taken unless asked otherwise, can. */
static void many_crossed_units_are_fitted(void **state)
{
    qx_ctx *cx = *state;
    qx_lmm *fit = NULL;
    small_model *m = small_new(cx, 12000);
    const size_t row = small_factor(cx, m, "row", 6000, 1);
    const size_t column = small_factor(cx, m, "column", 3000, 1);
    small_random(m, "row", row);
    small_random(m, "column", column);
    for (size_t i = 0; i < m->n; i++) {
        m->code[row][i] = (uint32_t)(i / 2);
        m->code[column][i] = (uint32_t)(((i + 1) / 2) % 3000);
        m->y[i] = (double)(i * i % 13);
    }
    m->spec.path = QX_PATH_DENSE;
    assert_fails(cx, qx_lmm_fit(cx, &m->spec, &fit), QX_E_INPUT, "9000 units");
    assert_null(fit);
    m->spec.path = QX_PATH_AUTO;
    assert_ok(cx, qx_lmm_fit(cx, &m->spec, &fit));
    assert_true(fit->converged);
    assert_true(isfinite(fit->reml_criterion));
    qx_lmm_free(fit);
}

static void not_finite_values_are_refused(void **state)
{
    qx_ctx *cx = *state;
    qx_lmm *fit = NULL;
    small_model *m = small_split_plot(cx, 1, 1.0, 1.0, 1.0);
    m->y[4] = (double)INFINITY;
    assert_fails(cx, qx_lmm_fit(cx, &m->spec, &fit), QX_E_INPUT, "value 5");
}

/* A unit with one row each is the residual, two units that always go together are one, and
 * fixed blocks leave nothing for random ones: no estimate, a note, the rest unharmed. */
static void units_that_cannot_be_told_apart(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = unbalanced(cx, 26);
    qx_lmm *a = fitted(cx, m);
    const double den_df = marginal(cx, a, 0).den_df; /* the frame of `a` grows below */
    const size_t row = small_factor(cx, m, "block:plot:row", 24, 1);
    small_random(m, "block:plot:row", row);
    qx_lmm *b = fitted(cx, m);
    assert_true(isnan(b->component[2].variance));
    assert_near(b->component[1].variance, a->component[1].variance, 1e-9);
    assert_near(b->component[3].variance, a->component[2].variance, 1e-9);
    assert_near(marginal(cx, b, 0).den_df, den_df, 1e-9);
    m->random[2].factor = m->random[1].factor;
    qx_lmm *c = fitted(cx, m);
    assert_true(isnan(c->component[1].variance));
    assert_near(c->component[2].variance, a->component[1].variance, 1e-9);
    assert_ok(cx, qx_lmm_profile_components(cx, c, 0.95));
    m->spec.random_count = 2;
    small_term(m, "block", 1, 0, 0);
    qx_lmm *d = fitted(cx, m);
    assert_true(isnan(d->component[0].variance));
    assert_true(d->component[1].variance >= 0.0);
    assert_true(qx_ctx_note_count(cx) >= 3);
    qx_lmm_free(a);
    qx_lmm_free(b);
    qx_lmm_free(c);
    qx_lmm_free(d);
}

/* More random columns than rows, with crossed units. */
static void more_random_columns_than_rows(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 27, 2.0, 1.0, 1.0);
    small_random(m, "across", small_factor(cx, m, "across", 8, 1));
    small_random(m, "other", small_factor(cx, m, "other", 11, 1));
    qx_lmm *fit = fitted(cx, m);
    assert_true(fit->converged);
    assert_true(isfinite(fit->reml_criterion));
    assert_true(isfinite(marginal(cx, fit, 0).p));
    qx_lmm_free(fit);
}

/* Largest and smallest sizes of double: what can be said is said, nothing else. */
static void extreme_scales(void **state)
{
    qx_ctx *cx = *state;
    const double factors[] = {1e-300, 1e300};
    for (size_t k = 0; k < QX_COUNT(factors); k++) {
        small_model *m = unbalanced(cx, 28);
        qx_lmm *a = fitted(cx, m);
        for (size_t i = 0; i < m->n; i++) {
            m->y[i] *= factors[k];
        }
        qx_lmm *b = fitted(cx, m);
        assert_near(marginal(cx, b, 0).f, marginal(cx, a, 0).f, 1e-9);
        assert_near(mean_of(cx, b, 1, 1).se, mean_of(cx, a, 1, 1).se * factors[k], 1e-9);
        qx_lmm_free(a);
        qx_lmm_free(b);
    }
}

static void one_level_and_collinear_columns(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = unbalanced(cx, 29);
    const size_t one = small_factor(cx, m, "only", 1, 1);
    small_term(m, "only", 1, one, 0);
    small_covariate(cx, m, "x");
    for (size_t i = 0; i < m->n; i++) {
        m->x[i] = 7.0 * m->code[1][i] + 1.0; /* linear in a: nothing new */
    }
    qx_lmm *fit = fitted(cx, m);
    assert_int_equal(fit->design.term_df[3], 0);
    assert_true(fit->design.term_df[4] <= 1);
    assert_true(isfinite(marginal(cx, fit, 1).p));
    qx_lmm_free(fit);
}

static void dependent_rows_are_refused(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = unbalanced(cx, 31);
    const qx_df_method methods[] = {QX_KENWARD_ROGER, QX_SATTERTHWAITE, QX_CONTAINMENT};
    for (size_t k = 0; k < QX_COUNT(methods); k++) {
        m->spec.df = methods[k];
        qx_lmm *fit = fitted(cx, m);
        qx_joint_test test;
        qx_mat L, narrow;
        assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), 2, fit->p, &L));
        assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), 1, fit->p - 1, &narrow));
        QX_AT(L, 0, 1) = 1.0;
        QX_AT(L, 1, 1) = 2.0;
        assert_int_not_equal(qx_lmm_test(cx, fit, L, &test), QX_OK);
        qx_ctx_forgive(cx);
        assert_fails(cx, qx_lmm_test(cx, fit, narrow, &test), QX_E_SHAPE, "columns");
        qx_lmm_free(fit);
    }
}

/* One plot for each level of a: nothing says how much plots vary. What compares plots has no
 * standard error and no test; b and its differences inside plots are those of fixed plots
 * (least squares with the plots' levels as the factor a), to the last digit. */
static void a_unit_without_replicates_lends_none(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = unbalanced(cx, 31);
    memcpy(m->code[3], m->code[1], m->n * sizeof **m->code);
    m->factor[3].level_count = m->factor[1].level_count;
    m->random[0] = m->random[1];
    m->spec.random_count = 1;
    qx_lmm *fit = fitted(cx, m);
    m->spec.random_count = 0;
    qx_lmm *least_squares = fitted(cx, m);
    assert_true(isnan(fit->component[0].variance));
    assert_true(isnan(marginal(cx, fit, 0).f) && isnan(marginal(cx, fit, 0).p));
    for (size_t l = 0; l < 3; l++) {
        const qx_estimate e = mean_of(cx, fit, 1, l);
        assert_near(e.estimate, mean_of(cx, least_squares, 1, l).estimate, 1e-12);
        assert_true(isnan(e.se) && isnan(e.df));
    }
    for (size_t t = 1; t < 3; t++) {
        const qx_joint_test inside = marginal(cx, fit, t);
        const qx_joint_test want = marginal(cx, least_squares, t);
        assert_near(inside.f, want.f, 1e-11);
        assert_near(inside.den_df, want.den_df, 1e-11);
    }
    qx_lmm_free(fit);
    qx_lmm_free(least_squares);
}

/* Rows that blocks and treatments explain wholly: estimates, and nothing that would need a
 * residual. */
static void nothing_left_inside_the_units_is_told(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = unbalanced(cx, 32);
    m->spec.random_count = 1;
    for (size_t i = 0; i < m->n; i++) {
        m->y[i] = 10.0 * m->code[0][i] + 0.1 * m->code[1][i];
    }
    qx_lmm *fit = fitted(cx, m);
    assert_true(isnan(fit->component[0].variance));
    assert_true(fit->component[1].variance == 0.0);
    for (size_t t = 0; t < 3; t++) {
        assert_true(isnan(marginal(cx, fit, t).f) && isnan(marginal(cx, fit, t).p));
    }
    const qx_estimate first = mean_of(cx, fit, 1, 0);
    assert_near(mean_of(cx, fit, 1, 1).estimate - first.estimate, 0.1, 1e-6);
    assert_true(isnan(first.se));
    assert_ok(cx, qx_lmm_profile_components(cx, fit, 0.95));
    qx_lmm_free(fit);
}

static qx_status fit_and_test(qx_ctx *cx, void *given)
{
    const small_model *m = given;
    qx_lmm *fit;
    qx_mat L;
    qx_joint_test test;
    QX_TRY(qx_lmm_fit(cx, &m->spec, &fit));
    qx_status status = qx_design_marginal(cx, qx_ctx_scratch(cx), &fit->design, 0, &L);
    status = status == QX_OK ? qx_lmm_test(cx, fit, L, &test) : status;
    status = status == QX_OK ? qx_lmm_profile_components(cx, fit, 0.95) : status;
    qx_lmm_free(fit);
    return status;
}

static void every_allocation_may_fail(void **state)
{
    small_model *m = unbalanced(*state, 30);
    assert_true(fail_each_allocation(fit_and_test, m) > 20);
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(scale_and_sign_change_nothing),
        TEST(shift_moves_means_alone),
        TEST(order_of_rows_changes_nothing),
        TEST(names_change_nothing),
        TEST(zero_component_lends_no_df),
        TEST(balanced_df_are_those_of_the_strata),
        TEST(fitted_and_residual_add_up),
        TEST(constant_response_tests_nothing),
        TEST(exact_response_tests_nothing),
        TEST(no_residual_variation_is_told),
        TEST(too_few_rows_are_refused),
        TEST(many_crossed_units_are_fitted),
        TEST(not_finite_values_are_refused),
        TEST(units_that_cannot_be_told_apart),
        TEST(more_random_columns_than_rows),
        TEST(extreme_scales),
        TEST(one_level_and_collinear_columns),
        TEST(dependent_rows_are_refused),
        TEST(every_allocation_may_fail),
        TEST(a_unit_without_replicates_lends_none),
        TEST(nothing_left_inside_the_units_is_told),
    };
    return cmocka_run_group_tests_name("model/lmm", tests, NULL, NULL);
}
