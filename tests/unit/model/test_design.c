/* Columns, estimable means and hypothesis rows. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "small_model.h"
#include "support.h"

static qx_design design_of(qx_ctx *cx, const small_model *m)
{
    qx_design d;
    assert_ok(cx,
              qx_design_make(
                  cx, qx_ctx_scratch(cx), &m->frame, m->spec.term_count, m->term, &d));
    return d;
}

/* The value of row'beta when beta fits the cell means mu(a, b) exactly: beta by least
 * squares on them. */
static double
value_of(qx_ctx *cx, const qx_design *d, const double mu[], const double row[])
{
    double *full = qx_arena_alloc(qx_ctx_scratch(cx), d->full, sizeof *full);
    double sum = 0.0;
    assert_non_null(full);
    assert_ok(cx, qx_qr_solve(cx, &d->qr, mu, full, NULL));
    for (size_t j = 0; j < d->p; j++) {
        sum += row[j] * full[d->kept[j]];
    }
    return sum;
}

/* 3 x 2 factorial, rows as often as `count` says for each cell (a fastest). */
static small_model *factorial(qx_ctx *cx, const size_t count[6])
{
    size_t n = 0;
    for (size_t c = 0; c < 6; c++) {
        n += count[c];
    }
    small_model *m = small_new(cx, n);
    const size_t a = small_factor(cx, m, "a", 3, 1);
    const size_t b = small_factor(cx, m, "b", 2, 1);
    size_t i = 0;
    for (size_t c = 0; c < 6; c++) {
        for (size_t k = 0; k < count[c]; k++, i++) {
            m->code[a][i] = (uint32_t)(c % 3);
            m->code[b][i] = (uint32_t)(c / 3);
            m->y[i] = (double)((c + 2) * (c + 2)); /* the cell's mean */
        }
    }
    small_term(m, "a", 1, a, 0);
    small_term(m, "b", 1, b, 0);
    small_term(m, "a:b", 2, a, b);
    return m;
}

static void names_follow_treatment_coding(void **state)
{
    qx_ctx *cx = *state;
    const small_model *m = factorial(cx, (size_t[]){2, 2, 2, 2, 2, 2});
    const qx_design d = design_of(cx, m);
    const char *const names[] = {"intercept", "a=2", "a=3", "b=2", "a=2:b=2", "a=3:b=2"};
    assert_int_equal(d.p, 6);
    for (size_t j = 0; j < 6; j++) {
        assert_string_equal(d.name[j], names[j]);
    }
    assert_true(QX_AT(d.X, 3, 1) == 1.0 && QX_AT(d.X, 0, 1) == 0.0);
}

/* The equal-weighted mean of unequal cells is the plain mean of the cells' means. */
static void means_weigh_cells_equally(void **state)
{
    qx_ctx *cx = *state;
    const small_model *m = factorial(cx, (size_t[]){1, 4, 2, 3, 1, 5});
    const qx_design d = design_of(cx, m);
    const size_t a = 0;
    for (size_t l = 0; l < 3; l++) {
        double row[6];
        bool estimable;
        const double one = (double)((l + 2) * (l + 2));
        const double two = (double)((l + 5) * (l + 5));
        assert_ok(cx, qx_design_mean(cx, &d, 1, &a, &l, row, &estimable));
        assert_true(estimable);
        assert_near(value_of(cx, &d, m->y, row), 0.5 * (one + two), 1e-12);
    }
}

/* Cell (a=3, b=2) has no data: means that need it are not estimable, all others are. */
static void empty_cell_limits_what_is_estimable(void **state)
{
    qx_ctx *cx = *state;
    const small_model *m = factorial(cx, (size_t[]){2, 2, 2, 2, 2, 0});
    const qx_design d = design_of(cx, m);
    const size_t both[] = {0, 1};
    double row[6];
    bool estimable;
    assert_int_equal(d.p, 5);
    assert_int_equal(d.term_df[2], 1);
    for (size_t c = 0; c < 6; c++) {
        const size_t level[] = {c % 3, c / 3};
        assert_ok(cx, qx_design_mean(cx, &d, 2, both, level, row, &estimable));
        assert_true(estimable == (c != 5));
        if (estimable) {
            assert_near(value_of(cx, &d, m->y, row), (double)((c + 2) * (c + 2)), 1e-12);
        }
    }
    for (size_t l = 0; l < 3; l++) {
        assert_ok(cx, qx_design_mean(cx, &d, 1, both, &l, row, &estimable));
        assert_true(estimable == (l != 2));
    }
    for (size_t l = 0; l < 2; l++) {
        assert_ok(cx, qx_design_mean(cx, &d, 1, both + 1, &l, row, &estimable));
        assert_true(estimable == (l != 1));
    }
    assert_true(qx_ctx_note_count(cx) > 0);
}

/* With that cell empty: of a, only a1 - a2 over both b can be tested; of b nothing; of the
 * interaction the part in the four full cells. */
static void empty_cell_limits_hypotheses(void **state)
{
    qx_ctx *cx = *state;
    const small_model *m = factorial(cx, (size_t[]){2, 2, 2, 2, 2, 0});
    const qx_design d = design_of(cx, m);
    qx_arena *arena = qx_ctx_scratch(cx);
    qx_mat L;
    double row[6];
    assert_ok(cx, qx_design_marginal(cx, arena, &d, 0, &L));
    assert_int_equal(L.rows, 1);
    for (size_t j = 0; j < d.p; j++) {
        row[j] = QX_AT(L, 0, j);
    }
    const double sum[] = {4.0 + 25.0, 9.0 + 36.0}; /* a1, a2 over b */
    const double size = fabs(value_of(cx, &d, m->y, row) / (sum[0] - sum[1]));
    assert_true(size > 1e-3);
    /* the same hypothesis for other means of the cells: proportional to a1 - a2 */
    double other[10];
    for (size_t i = 0; i < 10; i++) {
        other[i] = m->code[0][i] == 2 ? 77.0 : 5.0;
    }
    assert_true(fabs(value_of(cx, &d, other, row)) < 1e-12);
    assert_ok(cx, qx_design_marginal(cx, arena, &d, 1, &L));
    assert_int_equal(L.rows, 0);
    assert_ok(cx, qx_design_marginal(cx, arena, &d, 2, &L));
    assert_int_equal(L.rows, 1);
}

/* Cells (a=2, b=2) and (a=3, b=2) are empty: the interaction has no column left. It was asked
 * for all the same, so means that need those cells have no value; a sum of main effects
 * would give them one. */
static void lost_interaction_still_limits(void **state)
{
    qx_ctx *cx = *state;
    const small_model *m = factorial(cx, (size_t[]){2, 2, 2, 2, 0, 0});
    const qx_design d = design_of(cx, m);
    const size_t factor[] = {0, 1};
    double row[6];
    bool estimable;
    qx_mat L;
    assert_int_equal(d.p, 4);
    assert_int_equal(d.term_df[2], 0);
    for (size_t l = 0; l < 3; l++) {
        assert_ok(cx, qx_design_mean(cx, &d, 1, factor, &l, row, &estimable));
        assert_true(estimable == (l == 0));
    }
    for (size_t l = 0; l < 2; l++) {
        assert_ok(cx, qx_design_mean(cx, &d, 1, factor + 1, &l, row, &estimable));
        assert_true(estimable == (l == 0));
    }
    for (size_t t = 0; t < 3; t++) {
        assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &d, t, &L));
        assert_int_equal(L.rows, 0);
    }
    assert_non_null(strstr(qx_ctx_note(cx, 0), "none of its 2 degrees of freedom"));
}

/* Weighted cells: a2 - a3 inside b1 is there, over both b it is not. Cell (a, b) has the
 * mean (3 b + a + 2)^2, counted from 0. */
static void weighted_cells_are_judged_as_one(void **state)
{
    qx_ctx *cx = *state;
    const small_model *m = factorial(cx, (size_t[]){2, 2, 2, 2, 2, 0});
    const qx_design d = design_of(cx, m);
    const size_t factor[] = {0, 1};
    const size_t level[] = {1, 0, 2, 0};
    const size_t over_b[] = {1, 2};
    const double weight[] = {1.0, -1.0};
    double row[6];
    bool estimable;
    const qx_design_cells inside = {2, factor, 2, level, weight};
    assert_ok(cx, qx_design_combination(cx, &d, &inside, row, &estimable));
    assert_true(estimable);
    assert_near(value_of(cx, &d, m->y, row), 9.0 - 16.0, 1e-12);
    const qx_design_cells over = {1, factor, 2, over_b, weight};
    assert_ok(cx, qx_design_combination(cx, &d, &over, row, &estimable));
    assert_false(estimable);
}

/* Marginal rows are nil exactly when the equal-weighted means are equal; here b's means
 * are, though the cells differ. */
static void marginal_rows_test_equal_weighted_means(void **state)
{
    qx_ctx *cx = *state;
    const small_model *m = factorial(cx, (size_t[]){1, 4, 2, 3, 1, 5});
    const qx_design d = design_of(cx, m);
    const double cell[6] = {1.0, 5.0, 9.0, 7.0, 2.0, 6.0}; /* both rows of b sum to 15 */
    double mu[16], row[6];
    qx_mat L;
    for (size_t i = 0; i < m->n; i++) {
        mu[i] = cell[m->code[0][i] + 3 * m->code[1][i]];
    }
    assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &d, 1, &L));
    assert_int_equal(L.rows, 1);
    for (size_t j = 0; j < d.p; j++) {
        row[j] = QX_AT(L, 0, j);
    }
    assert_true(fabs(value_of(cx, &d, mu, row)) < 1e-12);
    assert_true(fabs(value_of(cx, &d, m->y, row)) > 1.0);
}

/* Sequential rows: zero before the term's own columns, one on its first. */
static void sequential_rows_start_at_their_term(void **state)
{
    qx_ctx *cx = *state;
    const small_model *m = factorial(cx, (size_t[]){1, 4, 2, 3, 1, 5});
    const qx_design d = design_of(cx, m);
    qx_mat L;
    assert_ok(cx, qx_design_sequential(cx, qx_ctx_scratch(cx), &d, 1, &L));
    assert_int_equal(L.rows, 1);
    assert_true(QX_AT(L, 0, 0) == 0.0 && QX_AT(L, 0, 1) == 0.0 && QX_AT(L, 0, 2) == 0.0);
    assert_true(QX_AT(L, 0, 3) == 1.0);
    /* of a:b, what b's row takes along: the share of b=2 rows ... */
    assert_true(QX_AT(L, 0, 4) > 0.0 && QX_AT(L, 0, 5) > 0.0);
}

/* Fixed units: plots inside blocks, with unequal numbers of plots. Treatment means are
 * averaged over blocks equally and over plots inside them, so they stay estimable. */
static void nested_fixed_units_are_averaged_inside(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_new(cx, 20);
    const size_t block = small_factor(cx, m, "block", 2, 1);
    const size_t plot = small_factor(cx, m, "block:plot", 5, 4);
    const size_t t = small_factor(cx, m, "t", 2, 1);
    m->factor[block].level = NULL;
    m->factor[plot].level = NULL;
    for (size_t i = 0; i < m->n; i++) {
        m->code[block][i] = m->code[plot][i] < 2 ? 0 : 1;
        m->y[i] = m->code[block][i] * 10.0 + m->code[plot][i] + 3.0 * m->code[t][i];
    }
    small_term(m, "block", 1, block, 0);
    small_term(m, "block:plot", 1, plot, 0);
    small_term(m, "t", 1, t, 0);
    const qx_design d = design_of(cx, m);
    assert_int_equal(d.p, 6);
    for (size_t l = 0; l < 2; l++) {
        double row[6];
        bool estimable;
        assert_ok(cx, qx_design_mean(cx, &d, 1, &t, &l, row, &estimable));
        assert_true(estimable);
        /* blocks: (0 + 1)/2 and 10 + (2 + 3 + 4)/3 */
        assert_near(
            value_of(cx, &d, m->y, row), 0.5 * (0.5 + 13.0) + 3.0 * (double)l, 1e-12);
    }
    assert_int_equal(qx_ctx_note_count(cx), 0);
    qx_mat L;
    double row[6];
    assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &d, 0, &L));
    assert_int_equal(L.rows, 1); /* block 1 less the mean of both, each over its plots */
    for (size_t j = 0; j < 6; j++) {
        row[j] = QX_AT(L, 0, j);
    }
    assert_near(value_of(cx, &d, m->y, row), 0.5 * (0.5 - 13.0), 1e-12);
    assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &d, 1, &L));
    assert_int_equal(L.rows, 3); /* plots inside their blocks: 1 + 2 */
    assert_int_equal(qx_ctx_note_count(cx), 0);
}

/* Each level with a slope of its own: means at the covariate's mean, the covariate's own
 * hypothesis is the mean slope, and the interaction's that slopes are equal. */
static void slopes_of_their_own(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_new(cx, 12);
    const size_t a = small_factor(cx, m, "a", 2, 1);
    double mu[12], row[4];
    bool estimable;
    qx_mat L;
    small_covariate(cx, m, "x");
    small_term(m, "a", 1, a, 0);
    small_term(m, "a:x", 1, a, 0);
    m->term[2].number = 0;
    double mean = 0.0;
    for (size_t i = 0; i < 12; i++) {
        m->x[i] = (double)(i * i % 11);
        mean += m->x[i] / 12.0;
        mu[i] = m->code[a][i] == 0 ? 1.0 + 2.0 * m->x[i] : 4.0 - 0.5 * m->x[i];
    }
    const qx_design d = design_of(cx, m);
    assert_int_equal(d.p, 4);
    assert_string_equal(d.name[3], "a=2:x");
    const double at_mean[] = {1.0 + 2.0 * mean, 4.0 - 0.5 * mean};
    for (size_t l = 0; l < 2; l++) {
        assert_ok(cx, qx_design_mean(cx, &d, 1, &a, &l, row, &estimable));
        assert_near(value_of(cx, &d, mu, row), at_mean[l], 1e-12);
    }
    const double expected[] = {0.75, 0.5 * (at_mean[0] - at_mean[1]), 1.25};
    for (size_t t = 0; t < 3; t++) {
        assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &d, t, &L));
        assert_int_equal(L.rows, 1);
        for (size_t j = 0; j < 4; j++) {
            row[j] = QX_AT(L, 0, j);
        }
        assert_near(value_of(cx, &d, mu, row), expected[t], 1e-12);
    }
}

static void levels_that_are_not_there_are_refused(void **state)
{
    qx_ctx *cx = *state;
    const small_model *m = factorial(cx, (size_t[]){1, 1, 1, 1, 1, 1});
    const qx_design d = design_of(cx, m);
    const size_t factor = 0;
    const size_t level = 3;
    double row[6];
    bool estimable;
    qx_mat L;
    assert_fails(cx,
                 qx_design_mean(cx, &d, 1, &factor, &level, row, &estimable),
                 QX_E_ARG,
                 "level");
    assert_fails(
        cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &d, 3, &L), QX_E_ARG, "term");
    assert_fails(
        cx, qx_design_sequential(cx, qx_ctx_scratch(cx), &d, 9, &L), QX_E_ARG, "term");
}

#define TEST(function_)                                                                  \
    cmocka_unit_test_setup_teardown(function_, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(names_follow_treatment_coding),
        TEST(means_weigh_cells_equally),
        TEST(empty_cell_limits_what_is_estimable),
        TEST(empty_cell_limits_hypotheses),
        TEST(lost_interaction_still_limits),
        TEST(weighted_cells_are_judged_as_one),
        TEST(marginal_rows_test_equal_weighted_means),
        TEST(sequential_rows_start_at_their_term),
        TEST(nested_fixed_units_are_averaged_inside),
        TEST(slopes_of_their_own),
        TEST(levels_that_are_not_there_are_refused),
    };
    return cmocka_run_group_tests_name("model/design", tests, NULL, NULL);
}
