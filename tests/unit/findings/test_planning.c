/* Plans against closed forms, against simulated trials, and what cannot be planned. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "findings/planning.h"
#include "model/power.h"
#include "model/power_plain.h"
#include "numeric/dist.h"
#include "support.h"
#include "trial/read_yaml.h"

typedef struct desk {
    qx_ctx *cx;
    qx_protocol *protocol;
    qx_planned *planned;
} desk;

static qx_status plan(desk *d, const char *text, const qx_plan_request *request)
{
    qx_arena *arena = qx_arena_new();
    qx_problems *problems = qx_problems_new(arena);
    assert_ok(
        d->cx,
        qx_protocol_parse(d->cx, "p.yaml", text, strlen(text), problems, &d->protocol));
    qx_arena_free(arena);
    return qx_plan_trial(d->cx, d->protocol, request, &d->planned);
}

static int desk_new(void **state)
{
    static desk d;
    d = (desk){.cx = qx_ctx_new()};
    *state = &d;
    return 0;
}

static int desk_free(void **state)
{
    desk *d = *state;
    qx_planned_free(d->planned);
    qx_protocol_free(d->protocol);
    qx_ctx_free(d->cx);
    return 0;
}

static const qx_plan_request plain = {0};

/* Complete blocks: t test with (t-1)(b-1) df, exactly the closed form, which is held against
 * R in tests/unit/model/test_power_plain.c. */
static void complete_blocks(void **state)
{
    desk *d = *state;
    const qx_plain_layout l = {.kind = QX_PLAIN_BLOCKS, .groups = 4.0, .sd = 2.0};
    double n, delta;
    assert_ok(d->cx,
              plan(d,
                   "quincunx: 1\nunits:\n  block: {count: 6}\n  tree: {within: block, "
                   "count: 4}\ntreatments:\n  a: {levels: [p, q, r, s], on: tree}\n"
                   "measure:\n  y: {kind: continuous, on: tree, margin: 3, expect: "
                   "{variation: {block: 5, tree: 2}}}\nanalysis: {compare: none}\n",
                   &plain));
    const qx_plan_family *f = &d->planned->result[0].family[0];
    assert_near(f->se, qx_plain_se(&l, 6.0), 1e-10);
    assert_near(f->df, 15.0, 1e-8);
    assert_near(f->power, qx_plain_power_t(&l, 6.0, 3.0, 0.05), 1e-8);
    assert_ok(d->cx, qx_plain_detectable(d->cx, &l, 6.0, 0.05, 0.8, &delta));
    assert_near(f->detectable, delta, 1e-8);
    assert_ok(d->cx, qx_plain_replicates_t(d->cx, &l, 3.0, 0.05, 0.8, &n));
    assert_true(f->needed == ceil(n) && f->knob_needed == ceil(n));
    assert_string_equal(d->planned->knob, "block");
    assert_string_equal(d->planned->result[0].test[0].unit, "block:tree");
    double equivalence;
    assert_ok(d->cx,
              qx_power_equivalence(
                  d->cx, 0.0, 3.0, qx_plain_se(&l, 6.0), 15.0, 0.05, &equivalence));
    assert_near(f->power_equivalence, equivalence, 1e-8);
    for (size_t i = 0; i < f->point_count; i++) {
        assert_near(f->point[i].power,
                    qx_plain_power_t(&l, f->point[i].replicates, 3.0, 0.05),
                    1e-7);
    }
}

/* Limbs sampled in trees: variance of a tree's mean is 2^2 + 4^2 / 5 (the same source). */
static void sampled_limbs(void **state)
{
    desk *d = *state;
    const qx_plain_layout l = {.kind = QX_PLAIN_BLOCKS,
                               .groups = 4.0,
                               .sd = 2.0,
                               .sd_sampled = 4.0,
                               .sampled = 5.0};
    assert_ok(d->cx,
              plan(d,
                   "quincunx: 1\nunits:\n  block: {count: 6}\n  tree: {within: block, "
                   "count: 4}\n  limb: {within: tree, sample: true}\ntreatments:\n  a: "
                   "{levels: [p, q, r, s], on: tree}\nmeasure:\n  y: {kind: continuous, "
                   "on: limb, margin: 3, expect: {variation: {block: 1, tree: 2, limb: "
                   "4}}}\nanalysis: {compare: none}\nplanning: {samples: 5, cost: {tree: "
                   "12, limb: 1.5}}\n",
                   &plain));
    const qx_plan_result *r = &d->planned->result[0];
    assert_near(r->family[0].power, qx_plain_power_t(&l, 6.0, 3.0, 0.05), 1e-8);
    assert_int_equal(r->rows, 120);
    /* The best number of limbs is sqrt(v_limb / v_tree x cost of a tree / of a limb) =
     * sqrt(16 / 4 x 12 / 1.5) = 5.66 (Snedecor & Cochran 1967, Statistical Methods, sec.
     * 17.12, from memory); whole numbers of trees move it by one or two. */
    double best = 0.0;
    for (size_t i = 0; i < r->effort_count; i++) {
        best = r->effort[i].best ? r->effort[i].each : best;
    }
    assert_true(best >= 4.0 && best <= 8.0);
    assert_string_equal(r->effort_thing, "limb");
}

/* Completely randomised: two groups, replicates are trees. */
static void two_groups(void **state)
{
    desk *d = *state;
    const qx_plain_layout l = {.kind = QX_PLAIN_TWO_GROUPS, .sd = 8.0};
    double n;
    assert_ok(d->cx,
              plan(d,
                   "quincunx: 1\nunits:\n  tree: {count: 20}\ntreatments:\n  a: {levels: "
                   "[p, q], on: tree}\nmeasure:\n  y: {kind: continuous, on: tree, "
                   "margin: 5, expect: {variation: {tree: 8}}}\n",
                   &plain));
    const qx_plan_family *f = &d->planned->result[0].family[0];
    assert_near(f->power, qx_plain_power_t(&l, 10.0, 5.0, 0.05), 1e-8);
    assert_ok(d->cx, qx_plain_replicates_t(d->cx, &l, 5.0, 0.05, 0.8, &n));
    assert_true(f->needed == ceil(n) && f->knob_needed == 2.0 * ceil(n)); /* 42, 84 */
    assert_true(f->needed == 42.0);
}

/* A split plot: plots are tested against plots, what is in them against the rest. */
static void split_plot(void **state)
{
    desk *d = *state;
    assert_ok(d->cx,
              plan(d,
                   "quincunx: 1\nunits:\n  block: {count: 5}\n  plot: {within: block, "
                   "count: 3}\n  tree: {within: plot, count: 2}\ntreatments:\n  a: "
                   "{levels: [p, q, r], on: plot}\n  b: {levels: [u, v], on: tree}\n"
                   "measure:\n  y: {kind: continuous, on: tree, margin: 3, expect: "
                   "{variation: {block: 2, plot: 1.5, tree: 1}}}\nanalysis: {compare: "
                   "none}\n",
                   &plain));
    const qx_plan_result *r = &d->planned->result[0];
    /* (3-1)(5-1) and 3 (2-1)(5-1) df; variances 2 (1.5^2 + 1/2) / 5 and 2 (1) / 15: Cochran
     * & Cox 1957, Experimental Designs, sec. 7.15. */
    assert_near(r->test[0].den_df, 8.0, 1e-6);
    assert_near(r->test[1].den_df, 12.0, 1e-6);
    assert_near(r->family[0].se, sqrt(2.0 * (2.25 + 0.5) / 5.0), 1e-9);
    assert_near(r->family[1].se, sqrt(2.0 / 15.0), 1e-9);
    assert_string_equal(r->test[0].unit, "block:plot");
}

/* Plan and simulated trials agree within four Monte Carlo errors. */
static void held_by_simulation(void **state)
{
    desk *d = *state;
    const qx_plan_request request = {.simulate = 2000, .seed = 5};
    assert_ok(d->cx,
              plan(d,
                   "quincunx: 1\nunits:\n  block: {count: 6}\n  tree: {within: block, "
                   "count: 3}\n  limb: {within: tree, count: 3}\ntreatments:\n  a: "
                   "{levels: [p, q, r], on: tree}\nmeasure:\n  y: {kind: continuous, on: "
                   "limb, margin: 4, expect: {mean: 30, variation: {block: 2, tree: 1.5, "
                   "limb: 2}}}\n",
                   &request));
    const qx_plan_family *f = &d->planned->result[0].family[0];
    const double n = (double)f->simulated.trials;
    assert_int_equal(f->simulated.failed, 0);
    assert_true(fabs(f->simulated.power - f->power) <
                4.0 * sqrt(f->power * (1.0 - f->power) / n));
    assert_true(fabs(f->simulated.power_equivalence - f->power_equivalence) <
                4.0 * sqrt(f->power_equivalence * (1.0 - f->power_equivalence) / n));
    assert_true(f->simulated.error < 0.05 + 4.0 * sqrt(0.05 * 0.95 / n));
}

static void the_usual_variation(void **state)
{
    desk *d = *state;
    assert_ok(d->cx,
              plan(d,
                   "quincunx: 1\nunits:\n  tree: {count: 12}\ntreatments:\n  a: {levels: "
                   "[p, q], on: tree}\nmeasure:\n  y: {kind: continuous, on: tree, "
                   "margin: 5, expect: {mean: 40, like: apple yield}}\n  z: {kind: "
                   "continuous, on: tree}\n",
                   &plain));
    const qx_plan_result *r = d->planned->result;
    assert_int_equal(r[0].source, QX_SPREAD_USUAL);
    assert_near(r[0].spread[0].sd, 0.227 * 40.0, 1e-12);
    assert_non_null(strstr(r[0].source_text, "Strickland 1935"));
    assert_int_equal(r[1].source, QX_SPREAD_NONE);
    assert_true(isnan(r[1].family[0].power));
    assert_true(r[1].family[0].detectable > 0.0);
}

static void what_cannot_be_planned(void **state)
{
    desk *d = *state;
    const qx_plan_request sure = {.power = 1.0};
    assert_fails(d->cx,
                 plan(d,
                      "quincunx: 1\nunits:\n  tree: {count: 12}\ntreatments:\n  a: "
                      "{levels: [p, q], on: tree}\nmeasure:\n  k: {kind: count, on: "
                      "tree, margin: 2}\n",
                      &plain),
                 QX_E_INPUT,
                 "expect: {mean: ...}");
    assert_fails(d->cx,
                 qx_plan_trial(d->cx, d->protocol, &sure, &d->planned),
                 QX_E_ARG,
                 "more than 0.5 and less than 1");
}

static void no_variation_at_all(void **state)
{
    desk *d = *state;
    assert_fails(d->cx,
                 plan(d,
                      "quincunx: 1\nunits:\n  tree: {count: 12}\ntreatments:\n  a: "
                      "{levels: [p, q], on: tree}\nmeasure:\n  y: {kind: continuous, on: "
                      "tree, margin: 2, expect: {variation: {tree: 0}}}\n",
                      &plain),
                 QX_E_INPUT,
                 "no variation at all");
}

/* --- counts, shares, classes and transforms --- */

#define TREES                                                                            \
    "quincunx: 1\nunits:\n  tree: {count: 24}\ntreatments:\n  a: {levels: [p, q], on: "  \
    "tree}\nmeasure:\n"

/* Two proportions: z = (logit p2 - logit p1) / sqrt(1/(n r p1 q1) + 1/(n r p2 q2)), the Wald
 * statistic of the log odds ratio (Woolf 1955, Ann Hum Genet 19:251-253); power from the
 * normal distribution. 12 trees of 50 things each: 600 a group. */
static void two_shares(void **state)
{
    desk *d = *state;
    assert_ok(d->cx,
              plan(d,
                   TREES "  y: {kind: proportion, of: n, on: tree, margin: 0.08, expect: "
                         "{mean: 0.4, of: 50}}\n",
                   &plain));
    const qx_plan_family *f = &d->planned->result[0].family[0];
    const double step = log(0.48 / 0.52) - log(0.4 / 0.6);
    const double se = sqrt((1.0 / (0.4 * 0.6) + 1.0 / (0.48 * 0.52)) / 600.0);
    const double z = qx_normal_q(0.025, QX_UPPER);
    assert_true(isinf(f->df));
    assert_near(f->power,
                qx_normal_p(z - step / se, QX_UPPER) +
                    qx_normal_p(z + step / se, QX_UPPER),
                1e-9);
    assert_near(d->planned->result[0].chance_sd, sqrt(1.0 / (50.0 * 0.4 * 0.6)), 1e-12);
}

/* Whitehead 1993: two groups of m, variance of the log odds ratio 6 / (m (1 - sum p^3)). The
 * margin is the largest change of a share; with odds ratio 3 the shares 0.2, 0.5, 0.3 become
 * 1 / (1 + 4 x 3), ... by hand. */
static void grades_take_their_margin(void **state)
{
    desk *d = *state;
    const double low = 1.0 / (1.0 + 4.0 * 3.0),
                 high = 1.0 - 1.0 / (1.0 + 3.0 * 3.0 / 7.0);
    const double change = fmax(0.2 - low, high - 0.3);
    char text[500];
    (void)snprintf(text,
                   sizeof text,
                   TREES
                   "  y: {kind: ordinal, levels: [l, m, h], on: tree, margin: %.17g, "
                   "expect: {shares: [0.2, 0.5, 0.3]}}\n",
                   change);
    assert_ok(d->cx, plan(d, text, &plain));
    const qx_plan_result *r = &d->planned->result[0];
    assert_near(r->margin_scaled, log(3.0), 1e-9);
    const double cubes = 0.008 + 0.125 + 0.027;
    assert_near(r->family[0].se, sqrt(6.0 / (12.0 * (1.0 - cubes))), 1e-9);
    assert_true(r->family[0].power > 0.2 && r->family[0].power < 0.7);
}

/* Values that are normal on the scale of the transform: the plan is the closed form there. */
static void transforms_are_rehearsed(void **state)
{
    desk *d = *state;
    const qx_plan_request request = {.simulate = 1500, .seed = 3};
    static const char *const measure[] = {"  y: {kind: continuous, on: tree, transform: "
                                          "log, margin: 12, expect: {mean: 50, "
                                          "variation: {tree: 0.2}}}\n",
                                          "  y: {kind: count, on: tree, transform: "
                                          "sqrt(x+0.5), margin: 4, expect: {mean: 9, "
                                          "variation: {tree: 0.5}}}\n",
                                          "  y: {kind: proportion, of: n, on: tree, "
                                          "transform: arcsine, margin: 0.1, expect: "
                                          "{mean: 0.8, variation: {tree: 0.1}}}\n"};
    for (size_t i = 0; i < 3; i++) {
        char text[500];
        (void)snprintf(text, sizeof text, TREES "%s", measure[i]);
        assert_ok(d->cx, plan(d, text, &request));
        const qx_plan_family *f = &d->planned->result[0].family[0];
        assert_int_equal(f->simulated.trials, 1500);
        assert_int_equal(f->simulated.failed, 0);
        assert_int_equal(f->calibrated, 0);
        assert_true(fabs(f->simulated.power - f->power) <
                    4.0 * sqrt(f->power * (1.0 - f->power) / 1500.0));
        assert_true(fabs(f->simulated.power_equivalence - f->power_equivalence) < 0.06);
        qx_planned_free(d->planned);
        qx_protocol_free(d->protocol);
        d->planned = NULL;
        d->protocol = NULL;
    }
}

/* Classes without order are rehearsed too: the plan is set right by trials and agrees with
 * others. */
static void classes_are_rehearsed(void **state)
{
    desk *d = *state;
    const qx_plan_request request = {.simulate = 400, .seed = 3};
    assert_ok(d->cx,
              plan(d,
                   "quincunx: 1\nunits:\n  tree: {count: 80}\ntreatments:\n  a: {levels: "
                   "[p, q], on: tree}\nmeasure:\n  y: {kind: nominal, levels: [u, m, l], "
                   "on: tree, margin: 0.3, expect: {shares: [0.25, 0.45, 0.3]}}\n",
                   &request));
    const qx_plan_result *r = &d->planned->result[0];
    const qx_plan_family *f = &r->family[0];
    assert_string_equal(r->class_, "m");
    assert_near(r->margin_scaled, log(0.75 / 0.25) - log(0.45 / 0.55), 1e-9);
    assert_int_equal(f->simulated.failed, 0);
    assert_int_equal(f->calibrated, 400);
    assert_true(fabs(f->simulated.power - f->power) < 4.0 * sqrt(2.0 * 0.25 / 400.0));
}

/* Means over units with variance v on the link: the margin is what is seen over many units,
 * so the step of a typical one is longer. For the probit that mean has a closed form,
 * Phi(b / sqrt(1 + v)) (Zeger, Liang & Albert 1988, Biometrics 44:1049-1060). */
static void margins_are_over_units(void **state)
{
    desk *d = *state;
    assert_ok(d->cx,
              plan(d,
                   TREES "  y: {kind: proportion, of: n, on: tree, link: probit, margin: "
                         "0.1, expect: {mean: 0.3, of: 20, variation: {tree: 0.6}}}\n",
                   &plain));
    assert_near(d->planned->result[0].margin_scaled,
                sqrt(1.36) * (qx_normal_q(0.4, QX_LOWER) - qx_normal_q(0.3, QX_LOWER)),
                1e-8);
}

/* A coefficient of variation of counts holds chance: of mean 16 and 50 %, 1/16 of 1/4 is
 * chance, and the rest is e^v - 1. */
static void chance_is_taken_off(void **state)
{
    desk *d = *state;
    assert_ok(d->cx,
              plan(d,
                   TREES "  y: {kind: count, on: tree, margin: 4, expect: {mean: 16, "
                         "cv_percent: 50}}\n  z: {kind: count, on: tree, margin: 4, "
                         "expect: {mean: 16, cv_percent: 20}}\n",
                   &plain));
    const qx_plan_result *r = d->planned->result;
    assert_int_equal(r[0].spread_count, 1);
    assert_near(r[0].spread[0].sd, sqrt(log1p(0.25 - 1.0 / 16.0)), 1e-12);
    assert_int_equal(r[1].spread_count, 0); /* 20 % is less than chance alone, 25 % */
    assert_non_null(strstr(r[0].source_text, "chance"));
}

/* The best number of limbs in each tree is sqrt(c_tree / c_limb x s2_limb / s2_tree) (Cochran
 * 1977, Sampling Techniques, 3rd ed., section 10.6, from memory). A small margin needs many
 * trees, so that whole numbers of them do not blur it: within one of the closed form. */
static void best_effort(void **state)
{
    static const struct {
        double tree, limb, cost_tree, cost_limb;
    } ask[] = {{2.0, 4.0, 18.0, 2.0}, {3.0, 3.0, 9.0, 1.0}, {2.0, 4.0, 4.0, 1.0}};
    desk *d = *state;
    for (size_t i = 0; i < 3; i++) {
        char text[700];
        (void)snprintf(text,
                       sizeof text,
                       "quincunx: 1\nunits:\n  tree: {count: 24}\n  limb: {within: tree, "
                       "sample: true}\ntreatments:\n  a: {levels: [p, q], on: tree}\n"
                       "measure:\n  y: {kind: continuous, on: limb, margin: 1.1, expect: "
                       "{variation: {tree: %g, limb: %g}}}\nplanning: {cost: {tree: %g, "
                       "limb: %g}}\n",
                       ask[i].tree,
                       ask[i].limb,
                       ask[i].cost_tree,
                       ask[i].cost_limb);
        assert_ok(d->cx, plan(d, text, &plain));
        const qx_plan_result *r = &d->planned->result[0];
        const double wanted =
            ask[i].limb / ask[i].tree * sqrt(ask[i].cost_tree / ask[i].cost_limb);
        double best = 0.0;
        for (size_t k = 0; k < r->effort_count; k++) {
            best = r->effort[k].best ? r->effort[k].each : best;
        }
        assert_true(fabs(best - wanted) <= 1.0);
        qx_planned_free(d->planned);
        qx_protocol_free(d->protocol);
        d->planned = NULL;
        d->protocol = NULL;
    }
}

#define WITH_DESK(test) cmocka_unit_test_setup_teardown(test, desk_new, desk_free)

int main(void)
{
    const struct CMUnitTest tests[] = {WITH_DESK(complete_blocks),
                                       WITH_DESK(sampled_limbs),
                                       WITH_DESK(two_groups),
                                       WITH_DESK(split_plot),
                                       WITH_DESK(held_by_simulation),
                                       WITH_DESK(the_usual_variation),
                                       WITH_DESK(what_cannot_be_planned),
                                       WITH_DESK(two_shares),
                                       WITH_DESK(grades_take_their_margin),
                                       WITH_DESK(transforms_are_rehearsed),
                                       WITH_DESK(classes_are_rehearsed),
                                       WITH_DESK(margins_are_over_units),
                                       WITH_DESK(chance_is_taken_off),
                                       WITH_DESK(best_effort),
                                       WITH_DESK(no_variation_at_all)};
    return cmocka_run_group_tests_name("findings/planning", tests, NULL, NULL);
}
