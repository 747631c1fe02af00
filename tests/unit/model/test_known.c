#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/known.h"
#include "model/power_plain.h"
#include "small_model.h"
#include "support.h"

/* Complete blocks of `t` trees with `limbs` limbs each: block 0, treatment 1, tree 2. */
static small_model *blocks_of_trees(qx_ctx *cx, size_t blocks, size_t t, size_t limbs)
{
    small_model *m = small_new(cx, blocks * t * limbs);
    (void)small_factor(cx, m, "block", blocks, t * limbs);
    (void)small_factor(cx, m, "treatment", t, limbs);
    (void)small_factor(cx, m, "tree", blocks * t, limbs);
    small_term(m, "treatment", 1, 1, 0);
    small_random(m, "block", 0);
    if (limbs > 1) {
        small_random(m, "block:tree", 2);
    }
    return m;
}

static qx_lmm *
known_of(qx_ctx *cx, small_model *m, const double variance[], qx_lmm_plan **plan)
{
    qx_lmm *known = NULL;
    assert_int_equal(qx_lmm_plan_new(cx, &m->spec, plan), QX_OK);
    assert_int_equal(qx_lmm_known(cx, *plan, variance, &known), QX_OK);
    return known;
}

/* Power of the F test when means differ by `effect` (beta of treatments 2, 3 ...). */
static double power_of(qx_ctx *cx, const qx_lmm *known, const double effect[])
{
    qx_mat L;
    double ncp, df;
    assert_int_equal(qx_design_marginal(cx, qx_ctx_scratch(cx), &known->design, 0, &L),
                     QX_OK);
    double *moved = qx_arena_alloc(qx_ctx_scratch(cx), L.rows, sizeof *moved);
    for (size_t i = 0; i < L.rows; i++) {
        for (size_t j = 1; j < known->p; j++) {
            moved[i] += QX_AT(L, i, j) * effect[j - 1];
        }
    }
    assert_int_equal(qx_lmm_noncentrality(cx, known, L, moved, &ncp, &df), QX_OK);
    return qx_power_f((double)L.rows, df, ncp, 0.05);
}

/* tests/reference/power-closed-forms, p07 and p09: four treatments in six blocks, variance
 * between means 2.25, trees alone and with five limbs each (R 4.2.2, pf with ncp). */
static void complete_blocks_as_in_closed_form(void **state)
{
    const double e = sqrt(6.75); /* means 0 0 e e: variance e^2 / 3 = 2.25 */
    const double effect[3] = {0.0, e, e};
    const double trees[2] = {1.7, 4.0}, limbs[3] = {1.7, 4.0, 16.0};
    qx_lmm_plan *plan;
    small_model *m = blocks_of_trees(*state, 6, 4, 1);
    qx_lmm *known = known_of(*state, m, trees, &plan);
    assert_digits(power_of(*state, known, effect), "0.64241518911731", 9);
    qx_lmm_free(known);
    qx_lmm_plan_free(plan);
    m = blocks_of_trees(*state, 6, 4, 5);
    known = known_of(*state, m, limbs, &plan);
    assert_digits(power_of(*state, known, effect), "0.388541817240322", 9);
    qx_lmm_free(known);
    qx_lmm_plan_free(plan);
}

/* With the variances of a fit, covariance and degrees of freedom are those of the fit. */
static void the_variances_of_a_fit(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = small_split_plot(cx, 3, 2.0, 1.5, 1.0);
    qx_lmm_plan *plan;
    qx_lmm *fit, *known;
    qx_mat L;
    assert_int_equal(qx_lmm_fit(cx, &m->spec, &fit), QX_OK);
    double variance[3];
    for (size_t k = 0; k < 3; k++) {
        variance[k] = fit->component[k].variance;
        assert_true(variance[k] > 0.0);
    }
    known = known_of(cx, m, variance, &plan);
    for (size_t i = 0; i < fit->p * fit->p; i++) {
        assert_near(QX_AT(known->phi, i % fit->p, i / fit->p),
                    QX_AT(fit->phi, i % fit->p, i / fit->p),
                    1e-9);
    }
    for (size_t t = 0; t < m->spec.term_count; t++) {
        qx_joint_test a, b;
        assert_int_equal(qx_design_marginal(cx, qx_ctx_scratch(cx), &fit->design, t, &L),
                         QX_OK);
        assert_int_equal(qx_lmm_test(cx, fit, L, &a), QX_OK);
        assert_int_equal(qx_lmm_test(cx, known, L, &b), QX_OK);
        assert_near(a.den_df, b.den_df, 1e-8);
    }
    qx_lmm_free(known);
    qx_lmm_free(fit);
    qx_lmm_plan_free(plan);
}

static void what_cannot_be(void **state)
{
    qx_ctx *cx = *state;
    small_model *m = blocks_of_trees(cx, 3, 2, 2);
    const double none[3] = {1.0, 1.0, 0.0}, below[3] = {1.0, -1.0, 1.0};
    qx_lmm_plan *plan;
    qx_lmm *known = NULL;
    assert_int_equal(qx_lmm_plan_new(cx, &m->spec, &plan), QX_OK);
    assert_int_equal(qx_lmm_known(cx, plan, none, &known), QX_E_ARG);
    qx_ctx_clear(cx);
    assert_int_equal(qx_lmm_known(cx, plan, below, &known), QX_E_ARG);
    qx_ctx_clear(cx);
    bool done = false;
    const double fine[3] = {1.0, 0.0, 1.0};
    for (size_t n = 1; !done && n < 1000; n++) {
        qx_arena_fail_after(n);
        done = qx_lmm_known(cx, plan, fine, &known) == QX_OK;
        qx_arena_fail_after(0);
        qx_ctx_clear(cx);
    }
    assert_true(done);
    qx_lmm_free(known);
    qx_lmm_plan_free(plan);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {WITH_CTX(complete_blocks_as_in_closed_form),
                                       WITH_CTX(the_variances_of_a_fit),
                                       WITH_CTX(what_cannot_be)};
    return cmocka_run_group_tests_name("model/known", tests, NULL, NULL);
}
