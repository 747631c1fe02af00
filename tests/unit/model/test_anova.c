/* Expected mean squares, estimates without a boundary, and relative efficiency.
 *
 * Soybeans: seeds that failed, five seed treatments in five blocks; Snedecor & Cochran,
 * Statistical Methods, two-way classification (data, analysis of variance and efficiency of
 * 122 % printed there; from memory).
 * Oats: Yates 1935, J R Stat Soc Suppl 2:181-247; mean squares as printed to one decimal in
 * many books (blocks 15875.3 on 5, main plot error 601.3 on 10, subplot error 177.1 on 45).
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>

#include "model/anova.h"

#include "model_case.h"
#include "small_model.h"
#include "support.h"

static qx_anova
table_of(qx_ctx *cx, const qx_lmm_spec *spec, qx_design *design, qx_strata *strata)
{
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(cx));
    qx_anova anova = {0};
    assert_non_null(arena);
    assert_ok(
        cx, qx_design_make(cx, arena, spec->frame, spec->term_count, spec->term, design));
    assert_ok(cx, qx_strata_make(cx, arena, spec, design, strata));
    assert_true(strata->balanced);
    assert_ok(cx, qx_anova_make(cx, arena, spec, design, strata, &anova));
    return anova;
}

static void soybeans_snedecor_cochran(void **state)
{
    static const double failed[25] = {8, 2, 4,  3,  9, 10, 6, 10, 5, 7,  12, 7, 9,
                                      9, 5, 13, 11, 8, 10, 5, 11, 5, 10, 6,  3};
    qx_ctx *cx = *state;
    small_model *m = small_new(cx, 25);
    const size_t seed = small_factor(cx, m, "seed", 5, 1);
    const size_t block = small_factor(cx, m, "block", 5, 5);
    small_term(m, "seed", 1, seed, 0);
    small_random(m, "block", block);
    for (size_t i = 0; i < 25; i++) {
        m->y[i] = failed[i];
    }
    qx_design design;
    qx_strata s;
    const qx_anova a = table_of(cx, &m->spec, &design, &s);
    assert_int_equal(a.line_count, 3);
    assert_printed(a.line[0].sum_of_squares, "49.84");
    assert_printed(a.line[1].sum_of_squares, "83.84");
    assert_printed(a.line[2].sum_of_squares, "86.56");
    assert_printed(a.line[1].f, "3.87");
    /* (12.46 - 5.41) / 5 */
    assert_printed(a.component[0], "1.41");
    assert_printed(a.component[1], "5.41");
    const double df[] = {s.dimension[1], s.dimension[0]};
    const double ms[] = {s.left[1].mean_square, s.left[0].mean_square};
    const double treated[] = {4.0, 0.0};
    const qx_efficiency e = qx_efficiency_of(2, df, ms, treated);
    assert_printed(100.0 * e.relative, "122");
    assert_true(e.df_with == 16.0 && e.df_without == 20.0);
    /* (17 x 23) / (19 x 21) by hand */
    assert_near(e.corrected, e.relative * 391.0 / 399.0, 1e-14);
}

static void oats_expected_mean_squares(void **state)
{
    qx_ctx *cx = *state;
    const model_spelling how = {"splitplot-oats",
                                "yield",
                                "variety nitrogen variety:nitrogen",
                                "block block:variety",
                                NULL};
    const reference_case *c = reference_open(cx, how.name);
    const qx_lmm_spec spec = model_case_spec(cx, c, &how);
    qx_design design;
    qx_strata s;
    const qx_anova a = table_of(cx, &spec, &design, &s);
    /* residual + 4 plots + 12 blocks: 4 subplots a plot, 12 a block. */
    const double expected[3][3] = {{12, 4, 1}, {0, 4, 1}, {0, 0, 1}};
    for (size_t i = 0; i < 3; i++) {
        for (size_t k = 0; k < 3; k++) {
            assert_true(a.weight[i + 3 * k] == expected[i][k]);
        }
    }
    assert_printed(s.left[1].mean_square, "601.3");
    assert_printed(s.left[2].mean_square, "177.1");
    /* All components above zero: restricted likelihood gives the same
     * (reference_assert: lme4, SOURCE.md of the case). */
    reference_assert(c, "varcomp.block", a.component[0]);
    reference_assert(c, "varcomp.block:variety", a.component[1]);
    reference_assert(c, "varcomp.residual", a.component[2]);
    /* Randomised blocks instead of split plots, by hand from the printed mean squares:
     * (12 x 601.3 + 54 x 177.1) / 66 = 254.2. */
    const double df[] = {s.dimension[2], s.dimension[1]};
    const double ms[] = {s.left[2].mean_square, s.left[1].mean_square};
    const double treated[] = {9.0, 2.0};
    const qx_efficiency e = qx_efficiency_of(2, df, ms, treated);
    assert_printed(e.relative * ms[0], "254.2");
    assert_true(e.df_with == 45.0 && e.df_without == 55.0);
}

/* z' P z summed over the columns of Z: the trace of P_s Z Z', by projecting each column with
 * averages written out here and nothing of strata.c. */
static double
trace_of_stratum(const small_model *m, const size_t stratum[], size_t count, size_t k)
{
    const qx_factor *z = &m->frame.factor[k];
    double trace = 0.0;
    for (size_t l = 0; l < z->level_count; l++) {
        double part[64] = {0};
        for (size_t i = 0; i < m->n; i++) {
            part[i] = z->code[i] == l ? 1.0 : 0.0;
        }
        for (size_t c = 0; c < count;
             c++) { /* the last is averaged, the others removed */
            const qx_factor *f = &m->frame.factor[stratum[c]];
            double sum[64] = {0}, n[64] = {0};
            for (size_t i = 0; i < m->n; i++) {
                sum[f->code[i]] += part[i];
                n[f->code[i]] += 1.0;
            }
            for (size_t i = 0; i < m->n; i++) {
                const double mean = sum[f->code[i]] / n[f->code[i]];
                part[i] = c + 1 < count ? part[i] - mean : mean;
            }
        }
        for (size_t i = 0; i < m->n; i++) {
            trace += part[i] * part[i];
        }
    }
    return trace;
}

/* E(MS) = tr(P V) / df whatever the layout: 2 rows x 3 columns x 4 limbs, crossed. */
static void weights_are_traces_over_df(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_new(cx, 48);
    const size_t limb = small_factor(cx, m, "limb", 4, 1);
    const size_t column = small_factor(cx, m, "column", 3, 4);
    const size_t row = small_factor(cx, m, "row", 4, 12);
    const size_t whole = small_factor(cx, m, "whole", 1, 48);
    const size_t plot = small_factor(cx, m, "plot", 12, 4);
    small_term(m, "limb", 1, limb, 0);
    small_random(m, "row", row);
    small_random(m, "column", column);
    small_random(m, "row:column", plot);
    for (size_t i = 0; i < m->n; i++) {
        m->y[i] = sin((double)(i * i));
    }
    qx_design design;
    qx_strata s;
    const qx_anova a = table_of(cx, &m->spec, &design, &s);
    const size_t of_row[] = {whole, row};
    const size_t of_column[] = {whole, column};
    const size_t of_plot[] = {row, column, plot};
    const size_t term[] = {row, column, plot};
    for (size_t k = 0; k < 3; k++) {
        assert_near(a.weight[0 + 4 * k] * s.dimension[0] + 1.0,
                    trace_of_stratum(m, of_row, 2, term[k]) + 1.0,
                    1e-12);
        assert_near(a.weight[1 + 4 * k] * s.dimension[1] + 1.0,
                    trace_of_stratum(m, of_column, 2, term[k]) + 1.0,
                    1e-12);
        assert_near(a.weight[2 + 4 * k] * s.dimension[2] + 1.0,
                    trace_of_stratum(m, of_plot, 3, term[k]) + 1.0,
                    1e-12);
        assert_true(a.weight[3 + 4 * k] == 0.0);
    }
}

/* Blocks more alike than chance makes them: below nothing, and told so. */
static void components_may_be_negative(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_new(cx, 8);
    const size_t a_factor = small_factor(cx, m, "a", 2, 1);
    const size_t block = small_factor(cx, m, "block", 4, 2);
    static const double y[] = {1, 9, 8, 2, 2, 8, 9, 1};
    small_term(m, "a", 1, a_factor, 0);
    small_random(m, "block", block);
    for (size_t i = 0; i < 8; i++) {
        m->y[i] = y[i];
    }
    qx_design design;
    qx_strata s;
    const qx_anova a = table_of(cx, &m->spec, &design, &s);
    /* By hand: every block has the mean 5; a1 5, a2 5; rest 100 on 3 df. */
    assert_near(a.component[1], 100.0 / 3.0, 1e-14);
    assert_near(a.component[0], -100.0 / 6.0, 1e-14);
}

static void efficiency_needs_error_and_df(void **state)
{
    (void)state;
    const double df[] = {4, 2}, none[] = {0, 1}, ms[] = {1, 1}, treated[] = {4, 0};
    assert_true(isnan(qx_efficiency_of(2, df, ms, treated).relative));
    assert_true(isnan(qx_efficiency_of(2, df, none, (double[]){1, 0}).relative));
    assert_true(isnan(qx_efficiency_of(0, df, ms, treated).relative));
    assert_near(qx_efficiency_of(2, df, ms, (double[]){1, 0}).relative, 1.0, 1e-15);
}

static void unbalanced_has_no_table(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_new(cx, 7);
    const size_t a_factor = small_factor(cx, m, "a", 2, 1);
    const size_t block = small_factor(cx, m, "block", 4, 2);
    qx_design design;
    qx_strata s;
    qx_anova a;
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(cx));
    small_term(m, "a", 1, a_factor, 0);
    small_random(m, "block", block);
    assert_ok(cx,
              qx_design_make(
                  cx, arena, m->spec.frame, m->spec.term_count, m->spec.term, &design));
    assert_ok(cx, qx_strata_make(cx, arena, &m->spec, &design, &s));
    assert_false(s.balanced);
    assert_non_null(s.why);
    assert_fails(cx,
                 qx_anova_make(cx, arena, &m->spec, &design, &s, &a),
                 QX_E_ARG,
                 "not balanced");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            soybeans_snedecor_cochran, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            oats_expected_mean_squares, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            weights_are_traces_over_df, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            components_may_be_negative, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            unbalanced_has_no_table, support_ctx_new, support_ctx_free),
        cmocka_unit_test(efficiency_needs_error_and_df),
    };
    return cmocka_run_group_tests_name("model/anova", tests, NULL, NULL);
}
