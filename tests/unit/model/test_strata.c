/* The classical table: sums of squares by stratum.
 * Oats: Yates 1935, J R Stat Soc Suppl 2:181-247, analysis of variance as printed to one
 * decimal in many books (blocks 15875.3, varieties 1786.4, main plot error 6013.3, nitrogen
 * 20020.5, interaction 321.7, subplot error 7968.8): worked-examples/results.csv. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/strata.h"

#include "model_case.h"
#include "small_model.h"
#include "support.h"

static qx_strata strata_of(qx_ctx *cx, const qx_lmm_spec *spec)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    qx_design design;
    qx_strata strata;
    assert_ok(
        cx,
        qx_design_make(cx, arena, spec->frame, spec->term_count, spec->term, &design));
    assert_ok(cx, qx_strata_make(cx, arena, spec, &design, &strata));
    return strata;
}

static void oats_yates_1935(void **state)
{
    qx_ctx *cx = *state;
    const model_spelling how = {"splitplot-oats",
                                "yield",
                                "variety nitrogen variety:nitrogen",
                                "block block:variety",
                                NULL};
    const reference_case *c = reference_open(cx, how.name);
    const qx_lmm_spec spec = model_case_spec(cx, c, &how);
    const qx_strata s = strata_of(cx, &spec);
    assert_true(s.balanced);
    assert_int_equal(s.stratum_count, 3);
    assert_digits(s.left[0].sum_of_squares, "15875.27778", 10);
    assert_digits(s.left[1].sum_of_squares, "6013.305556", 10);
    assert_digits(s.left[2].sum_of_squares, "7968.75", 10);
    assert_true(s.left[0].df == 5.0 && s.left[1].df == 10.0 && s.left[2].df == 45.0);
    assert_digits(s.sum_of_squares[0], "1786.361111", 10);
    assert_digits(s.sum_of_squares[1], "20020.5", 10);
    assert_digits(s.sum_of_squares[2], "321.75", 10);
    assert_int_equal(s.stratum_of[0], 1);
    assert_int_equal(s.stratum_of[1], 2);
    assert_int_equal(s.stratum_of[2], 2);
}

/* Strip plots: three strata for treatments. The ratio of mean squares is the F of the
 * case's expected.csv (Kenward-Roger is exact here). */
static void strip_plot_strata_give_the_f(void **state)
{
    qx_ctx *cx = *state;
    const model_spelling how = {"strip-assay",
                                "density",
                                "sample dilution sample:dilution",
                                "block block:sample block:dilution",
                                NULL};
    const char *const f[] = {"marginal.sample.kr.F",
                             "marginal.dilution.kr.F",
                             "marginal.sample:dilution.kr.F"};
    const reference_case *c = reference_open(cx, how.name);
    const qx_lmm_spec spec = model_case_spec(cx, c, &how);
    const qx_strata s = strata_of(cx, &spec);
    assert_true(s.balanced);
    for (size_t t = 0; t < 3; t++) {
        assert_int_equal(s.stratum_of[t], t + 1);
        reference_assert(
            c, f[t], s.sum_of_squares[t] / s.df[t] / s.left[t + 1].mean_square);
    }
}

static void sums_of_squares_add_up(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 51, 2.0, 1.0, 1.0);
    const qx_strata s = strata_of(cx, &m->spec);
    double total = 0.0;
    double parts = 0.0;
    double mean = 0.0;
    double df = 0.0;
    assert_true(s.balanced);
    for (size_t i = 0; i < m->n; i++) {
        mean += m->y[i] / (double)m->n;
    }
    for (size_t i = 0; i < m->n; i++) {
        total += (m->y[i] - mean) * (m->y[i] - mean);
    }
    for (size_t k = 0; k < s.stratum_count; k++) {
        parts += s.left[k].sum_of_squares;
        df += s.left[k].df;
    }
    for (size_t t = 0; t < 3; t++) {
        parts += s.sum_of_squares[t];
        df += s.df[t];
    }
    assert_near(parts, total, 1e-12);
    assert_true(df == 23.0);
}

static void lost_plots_are_not_balanced(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 52, 2.0, 1.0, 1.0);
    m->n = m->frame.n = 23;
    assert_false(strata_of(cx, &m->spec).balanced);
    m->n = m->frame.n = 22; /* a whole plot lost: plots of equal size, blocks not */
    assert_false(strata_of(cx, &m->spec).balanced);
}

/* A treatment that sits in two strata at once: put on plots, but unequally over blocks. */
static void treatment_in_two_strata_is_not_balanced(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 53, 2.0, 1.0, 1.0);
    for (size_t i = 0; i < 6; i++) {
        m->code[1][i] = m->code[1][i] == 2 ? 1 : m->code[1][i];
    }
    assert_false(strata_of(cx, &m->spec).balanced);
}

/* Crossed units whose numbers are not proportional are not orthogonal. */
static void crossed_units_need_proportion(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_new(cx, 12);
    const size_t row = small_factor(cx, m, "row", 3, 4);
    const size_t column = small_factor(cx, m, "column", 4, 1);
    small_random(m, "row", row);
    small_random(m, "column", column);
    for (size_t i = 0; i < m->n; i++) {
        m->y[i] = (double)(i * i % 7);
    }
    assert_true(strata_of(cx, &m->spec).balanced);
    m->code[column][0] = 1; /* each column keeps three rows, but not one in each row */
    m->code[column][5] = 0;
    assert_false(strata_of(cx, &m->spec).balanced);
}

static void without_units_there_is_one_stratum(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 54, 2.0, 1.0, 1.0);
    m->spec.random_count = 0;
    m->n = m->frame.n = 21;
    const qx_strata s = strata_of(cx, &m->spec);
    assert_true(s.balanced);
    assert_int_equal(s.stratum_count, 1);
    assert_true(s.left[0].df == 15.0);
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(oats_yates_1935),
        TEST(strip_plot_strata_give_the_f),
        TEST(sums_of_squares_add_up),
        TEST(lost_plots_are_not_balanced),
        TEST(treatment_in_two_strata_is_not_balanced),
        TEST(crossed_units_need_proportion),
        TEST(without_units_there_is_one_stratum),
    };
    return cmocka_run_group_tests_name("model/strata", tests, NULL, NULL);
}
