/* Error rates by simulation, with the layout of the benchmark's workload c: 6 blocks x 4
 * treatments (one tree each) x 5 limbs, no treatment effect, standard deviations of blocks
 * and trees 2, of limbs 4; and the same without any variation between trees, where a
 * component at zero must not let limbs become replicates.
 *
 * The outside source is the definition: a test at 5 % errs in 5 of 100 trials, an interval
 * of 95 % holds the truth in 95. Numbers to hold: 4.5-5.5 %, 94.5-95.5 %; with no tree
 * variation at all the tests may only be more careful than that. 100,000 trials have a Monte
 * Carlo standard error of 0.07 %. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "model/lmm.h"
#include "numeric/dist.h"
#include "numeric/rng.h"

enum {
    BLOCKS = 6,
    TREATMENTS = 4,
    LIMBS = 5,
    TREES = BLOCKS * TREATMENTS,
    ROWS = TREES * LIMBS,
    TRIALS = 100000
};

typedef struct rates {
    double errors;  /* share of trials with P < 0.05 */
    double covered; /* share of 95 % intervals of the last minus the first that hold 0 */
} rates;

static void draw(qx_rng *rng, double sd_block, double sd_tree, double sd_limb, double y[])
{
    double block[BLOCKS], tree[TREES];
    for (size_t i = 0; i < BLOCKS; i++) {
        block[i] = sd_block * qx_rng_normal(rng);
    }
    for (size_t i = 0; i < TREES; i++) {
        tree[i] = sd_tree * qx_rng_normal(rng);
    }
    for (size_t i = 0; i < ROWS; i++) {
        y[i] = block[i / (TREATMENTS * LIMBS)] + tree[i / LIMBS] +
               sd_limb * qx_rng_normal(rng);
    }
}

/* One trial: adds what came of it. */
static void judge(qx_ctx *cx, const qx_lmm_spec *spec, rates *sum)
{
    qx_lmm *fit = NULL;
    assert_int_equal(qx_lmm_fit(cx, spec, &fit), QX_OK);
    qx_arena *arena = qx_arena_new();
    assert_non_null(arena);
    qx_mat rows;
    qx_joint_test test;
    qx_estimate e;
    assert_int_equal(qx_design_marginal(cx, arena, &fit->design, 0, &rows), QX_OK);
    assert_int_equal(qx_lmm_test(cx, fit, rows, &test), QX_OK);
    sum->errors += test.p < 0.05 ? 1.0 / TRIALS : 0.0;
    const double last_minus_first[TREATMENTS] = {0.0, 0.0, 0.0, 1.0};
    assert_int_equal(qx_lmm_contrast(cx, fit, last_minus_first, 0.0, &e), QX_OK);
    const double half = qx_t_q(0.025, e.df, QX_UPPER) * e.se;
    sum->covered += fabs(e.estimate) < half ? 1.0 / TRIALS : 0.0;
    qx_arena_free(arena);
    qx_lmm_free(fit);
}

static rates simulate(double sd_tree)
{
    static const char *const name[TREATMENTS] = {"1", "2", "3", "4"};
    uint32_t treatment[ROWS], block[ROWS], tree[ROWS];
    double y[ROWS];
    rates sum = {0.0, 0.0};
    qx_ctx *cx = qx_ctx_new();
    assert_non_null(cx);
    for (uint32_t i = 0; i < ROWS; i++) {
        tree[i] = i / LIMBS;
        treatment[i] = tree[i] % TREATMENTS;
        block[i] = tree[i] / TREATMENTS;
    }
    const qx_factor factor[] = {
        {.name = "treatment",
         .level_count = TREATMENTS,
         .level = name,
         .code = treatment},
        {.name = "block", .level_count = BLOCKS, .code = block},
        {.name = "block:tree", .level_count = TREES, .code = tree}};
    const qx_frame frame = {.n = ROWS, .factor_count = 3, .factor = factor};
    const qx_term term = {
        .name = "treatment", .factor_count = 1, .factor = {0}, .number = QX_NO_COLUMN};
    const qx_random_term random[] = {{"block", 1}, {"block:tree", 2}};
    const qx_lmm_spec spec = {.frame = &frame,
                              .y = y,
                              .term_count = 1,
                              .term = &term,
                              .random_count = 2,
                              .random = random,
                              .df = QX_KENWARD_ROGER,
                              .level = 0.95};
    for (size_t i = 0; i < TRIALS; i++) {
        qx_rng rng = qx_rng_seeded(20261125000 + i);
        draw(&rng, 2.0, sd_tree, 4.0, y);
        judge(cx, &spec, &sum);
    }
    qx_ctx_free(cx);
    print_message("trees with standard deviation %g: %.2f %% errors, %.2f %% covered\n",
                  sd_tree,
                  100.0 * sum.errors,
                  100.0 * sum.covered);
    return sum;
}

static void tests_err_as_often_as_they_say(void **state)
{
    (void)state;
    const rates r = simulate(2.0);
    assert_true(r.errors > 0.045 && r.errors < 0.055);
    assert_true(r.covered > 0.945 && r.covered < 0.955);
}

static void limbs_are_no_replicates_when_trees_do_not_vary(void **state)
{
    (void)state;
    const rates r = simulate(0.0);
    assert_true(r.errors < 0.055);
    assert_true(r.covered > 0.945);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tests_err_as_often_as_they_say),
        cmocka_unit_test(limbs_are_no_replicates_when_trees_do_not_vary),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
