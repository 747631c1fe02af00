/* Plans against simulated trials: the power that findings/planning.h promises, and the share
 * of 100,000 simulated trials, analysed as real ones, that show it. They must agree within
 * four Monte Carlo errors (0.5 % at a power of 0.8). The outside source is the definition of
 * power. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "findings/planning.h"
#include "support.h"
#include "trial/read_yaml.h"

enum { TRIALS = 100000 };

static void agree(const char *what, double planned, double simulated)
{
    const double error = sqrt(planned * (1.0 - planned) / TRIALS);
    print_message("%s: planned %.4f, simulated %.4f (%+.1f Monte Carlo errors)\n",
                  what,
                  planned,
                  simulated,
                  (simulated - planned) / error);
    assert_true(fabs(simulated - planned) < 4.0 * error);
}

static void hold(void **state, const char *text, bool equivalence)
{
    const qx_plan_request request = {.simulate = TRIALS, .seed = 11};
    qx_arena *arena = qx_arena_new();
    qx_problems *problems = qx_problems_new(arena);
    qx_protocol *protocol = NULL;
    qx_planned *planned = NULL;
    assert_ok(
        *state,
        qx_protocol_parse(*state, "p.yaml", text, strlen(text), problems, &protocol));
    assert_ok(*state, qx_plan_trial(*state, protocol, &request, &planned));
    for (size_t i = 0; i < planned->result[0].family_count; i++) {
        const qx_plan_family *f = &planned->result[0].family[i];
        agree(f->term, f->power, f->simulated.power);
        if (equivalence) {
            agree(f->term, f->power_equivalence, f->simulated.power_equivalence);
        }
        print_message("%s: wrongly called out %.4f\n", f->term, f->simulated.error);
    }
    qx_planned_free(planned);
    qx_protocol_free(protocol);
    qx_arena_free(arena);
}

static void split_plot(void **state)
{
    hold(state,
         "quincunx: 1\nunits:\n  block: {count: 6}\n  plot: {within: block, count: 3}\n  "
         "tree: {within: plot, count: 2}\ntreatments:\n  a: {levels: [p, q, r], on: "
         "plot}\n"
         "  b: {levels: [u, v], on: tree}\nmeasure:\n  y: {kind: continuous, on: tree, "
         "margin: 3.4, expect: {mean: 30, variation: {block: 2, plot: 1.5, tree: 2}}}\n",
         true);
}

static void sampled_limbs(void **state)
{
    hold(state,
         "quincunx: 1\nunits:\n  block: {count: 6}\n  tree: {within: block, count: 4}\n  "
         "limb: {within: tree, sample: true}\ntreatments:\n  a: {levels: [p, q, r, s], "
         "on: "
         "tree}\nmeasure:\n  y: {kind: continuous, on: limb, margin: 5.5, expect: {mean: "
         "30, variation: {block: 2, tree: 2, limb: 4}}}\nplanning: {samples: 5}\n",
         true);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(split_plot, support_ctx_new, support_ctx_free),
        cmocka_unit_test_setup_teardown(
            sampled_limbs, support_ctx_new, support_ctx_free)};
    return cmocka_run_group_tests_name("long/planned_power", tests, NULL, NULL);
}
