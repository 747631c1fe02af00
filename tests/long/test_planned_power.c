/* Plans against simulated trials: the power that findings/planning.h promises, and the share
 * of simulated trials, analysed as real ones, that show it. The outside source is the
 * definition of power. Values: the plan is a formula, and TRIALS trials must agree with it
 * within four Monte Carlo errors (0.5 % at a power of 0.8 and 100,000 trials). Counts and
 * shares: the plan is the formula with its standard error set by TRIALS trials, those that
 * confirm it are others, and the error is that of both; the formula alone must be near.
 *
 * Built twice: with 100,000 trials for ./check --long, with few for ./check. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "findings/planning.h"
#include "support.h"
#include "trial/read_yaml.h"

#ifndef TRIALS
#define TRIALS 100000
#endif

/* Sanitizers look at the way, not at the numbers: a few trials of it, and nothing is held. */
#if defined(__SANITIZE_ADDRESS__)
enum { USED = TRIALS / 20, HOLD = 0 };
#else
enum { USED = TRIALS, HOLD = 1 };
#endif

typedef struct plan {
    qx_protocol *protocol;
    qx_planned *planned;
} plan;

static plan make(qx_ctx *cx, const char *text, size_t trials)
{
    const qx_plan_request request = {.simulate = trials, .seed = 11};
    qx_arena *arena = qx_arena_new();
    qx_problems *problems = qx_problems_new(arena);
    plan p = {0};
    assert_ok(cx,
              qx_protocol_parse(cx, "p.yaml", text, strlen(text), problems, &p.protocol));
    assert_ok(cx, qx_plan_trial(cx, p.protocol, &request, &p.planned));
    qx_arena_free(arena);
    return p;
}

static void done(plan *p)
{
    qx_planned_free(p->planned);
    qx_protocol_free(p->protocol);
}

/* trials: that one mean of them would have the error of the difference. */
static void agree(const char *what, double planned, double simulated, double trials)
{
    const double error = sqrt(planned * (1.0 - planned) / trials);
    print_message("%s: planned %.4f, simulated %.4f (%+.1f Monte Carlo errors)\n",
                  what,
                  planned,
                  simulated,
                  (simulated - planned) / error);
    assert_true(!HOLD || fabs(simulated - planned) < 4.0 * error);
}

/* near: how far the formula alone may be off; 0: it is what is held against the trials. */
static void hold(qx_ctx *cx, const char *text, double near, size_t trials)
{
    plan p = make(cx, text, trials), formula = make(cx, text, 0);
    for (size_t i = 0; i < p.planned->result[0].family_count; i++) {
        const qx_plan_family *f = &p.planned->result[0].family[i];
        const qx_plan_family *alone = &formula.planned->result[0].family[i];
        const double n = (double)trials / (near > 0.0 ? 2.0 : 1.0);
        assert_int_equal(f->simulated.trials, trials);
        agree(f->term, f->power, f->simulated.power, n);
        agree(f->term, f->power_equivalence, f->simulated.power_equivalence, n);
        print_message("%s: by the formula alone %.4f and %.4f; wrongly called out %.4f\n",
                      f->term,
                      alone->power,
                      alone->power_equivalence,
                      f->simulated.error);
        assert_true(!HOLD || fabs(alone->power - f->simulated.power) <
                                 near + 4.0 * sqrt(0.25 / (double)trials));
    }
    done(&p);
    done(&formula);
}

static void split_plot(void **state)
{
    hold(*state,
         "quincunx: 1\nunits:\n  block: {count: 6}\n  plot: {within: block, count: 3}\n  "
         "tree: {within: plot, count: 2}\ntreatments:\n  a: {levels: [p, q, r], on: "
         "plot}\n"
         "  b: {levels: [u, v], on: tree}\nmeasure:\n  y: {kind: continuous, on: tree, "
         "margin: 3.4, expect: {mean: 30, variation: {block: 2, plot: 1.5, tree: 2}}}\n",
         0.0,
         USED);
}

static void sampled_limbs(void **state)
{
    hold(*state,
         "quincunx: 1\nunits:\n  block: {count: 6}\n  tree: {within: block, count: 4}\n  "
         "limb: {within: tree, sample: true}\ntreatments:\n  a: {levels: [p, q, r, s], "
         "on: "
         "tree}\nmeasure:\n  y: {kind: continuous, on: limb, margin: 5.5, expect: {mean: "
         "30, variation: {block: 2, tree: 2, limb: 4}}}\nplanning: {samples: 5}\n",
         0.0,
         USED);
}

#define TREES                                                                            \
    "quincunx: 1\nunits:\n  tree: {count: %zu}\ntreatments:\n  a: {levels: [p, q], on: " \
    "tree}\nmeasure:\n"
#define LIMBS                                                                            \
    "quincunx: 1\nunits:\n  block: {count: 6}\n  tree: {within: block, count: 3}\n  "    \
    "limb: {within: tree, count: 3}\ntreatments:\n  a: {levels: [p, q, r], on: tree}\n"  \
    "measure:\n"
#define SHARES_OF_TREES                                                                  \
    "  y: {kind: proportion, of: n, on: tree, margin: 0.08, expect: {mean: 0.4, of: "    \
    "50}}\n"
#define COUNTS_OF_TREES "  y: {kind: count, on: tree, margin: 5, expect: {mean: 15}}\n"

/* Trees alone; and as many trees as the plan asks for give the power that it promises, but
 * for the next whole number: not less, and not much more. */
static void hold_trees(qx_ctx *cx, const char *measure)
{
    char text[600];
    (void)snprintf(text, sizeof text, TREES "%s", (size_t)24, measure);
    hold(cx, text, 0.03, USED);
    plan p = make(cx, text, (size_t)USED);
    const double trees = p.planned->result[0].family[0].knob_needed;
    assert_true(trees > 4.0 && trees < 60.0);
    done(&p);
    (void)snprintf(text, sizeof text, TREES "%s", (size_t)trees, measure);
    p = make(cx, text, (size_t)USED);
    const qx_plan_family *f = &p.planned->result[0].family[0];
    print_message("%.0f trees: simulated %.4f\n", trees, f->simulated.power);
    const double error = 4.0 * sqrt(2.0 * 0.16 / (double)USED);
    assert_true(!HOLD ||
                (f->simulated.power > 0.8 - error && f->simulated.power < 0.85 + error));
    done(&p);
}

static void shares(void **state)
{
    hold_trees(*state, SHARES_OF_TREES);
}

static void counts(void **state)
{
    hold_trees(*state, COUNTS_OF_TREES);
}

static void shares_of_limbs(void **state)
{
    hold(*state,
         LIMBS "  y: {kind: proportion, of: n, on: limb, margin: 0.21, extra_variation: "
               "none, expect: {mean: 0.4, of: 20, variation: {block: 0.3, tree: "
               "0.3}}}\n",
         0.03,
         USED);
}

static void counts_of_limbs(void **state)
{
    hold(*state,
         LIMBS "  y: {kind: count, on: limb, margin: 6.2, extra_variation: none, expect: "
               "{mean: 8, variation: {block: 0.2, tree: 0.2}}}\n",
         0.03,
         USED);
}

/* With the family chosen anew in each trial, as `analyse` does: slower, so fewer trials. */
static void family_chosen(void **state)
{
    hold(*state,
         LIMBS "  y: {kind: proportion, of: n, on: limb, margin: 0.2, expect: {mean: "
               "0.4, of: 20, variation: {block: 0.3, tree: 0.3}}}\n",
         0.03,
         USED / 10);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {WITH_CTX(shares),
                                       WITH_CTX(counts),
                                       WITH_CTX(counts_of_limbs),
                                       WITH_CTX(shares_of_limbs),
                                       WITH_CTX(split_plot),
                                       WITH_CTX(sampled_limbs),
                                       WITH_CTX(family_chosen)};
    return cmocka_run_group_tests_name("long/planned_power", tests, NULL, NULL);
}
