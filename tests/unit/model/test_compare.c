#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "model/compare.h"
#include "reference_case.h"
#include "support.h"

#define PAIRS_MOST 40

/* The differences of one factor in a reference case, as they are named there. */
typedef struct pairs {
    const reference_case *c;
    const char *factor;
    size_t k, m;
    char name[PAIRS_MOST][80]; /* "diff.spray.A-B" */
    qx_comparison family[PAIRS_MOST];
} pairs;

static double value_of(const reference_case *c, const char *name, const char *stat)
{
    char text[120];
    (void)snprintf(text, sizeof text, "%s.%s", name, stat);
    return reference_value(c, text);
}

static void hold(const reference_case *c, const char *name, const char *stat, double got)
{
    char text[120];
    (void)snprintf(text, sizeof text, "%s.%s", name, stat);
    reference_assert(c, text, got);
}

static bool known(const reference_case *c, const char *name, const char *stat)
{
    char text[120];
    (void)snprintf(text, sizeof text, "%s.%s", name, stat);
    return reference_has(c, text);
}

static void add_pair(pairs *p, const char *name)
{
    (void)snprintf(p->name[p->m], sizeof p->name[0], "%s", name);
    p->family[p->m] = (qx_comparison){.estimate = value_of(p->c, name, "estimate"),
                                      .se = value_of(p->c, name, "se"),
                                      .df = value_of(p->c, name, "df")};
    p->m++;
}

/* All pairs for which `stat` is expected. */
static void open_pairs(pairs *p,
                       const reference_case *c,
                       const char *factor,
                       size_t k,
                       const char *const level[],
                       const char *stat)
{
    char name[80];
    memset(p, 0, sizeof *p);
    p->c = c;
    p->factor = factor;
    p->k = k;
    for (size_t i = 0; i < k; i++) {
        for (size_t j = 0; j < k; j++) {
            (void)snprintf(
                name, sizeof name, "diff.%s.%s-%s", factor, level[i], level[j]);
            if (i != j && known(c, name, stat)) {
                add_pair(p, name);
            }
        }
    }
}

static void hold_all(pairs *p, const char *word)
{
    char stat[40];
    for (size_t i = 0; i < p->m; i++) {
        hold(p->c, p->name[i], "t", p->family[i].value);
        (void)snprintf(stat, sizeof stat, "%s_p", word);
        hold(p->c, p->name[i], stat, p->family[i].p_adjusted);
        (void)snprintf(stat, sizeof stat, "%s_lower", word);
        if (known(p->c, p->name[i], stat)) {
            hold(p->c, p->name[i], stat, p->family[i].lower);
            (void)snprintf(stat, sizeof stat, "%s_upper", word);
            hold(p->c, p->name[i], stat, p->family[i].upper);
        }
    }
}

/* Every method for all pairs, against the case's values. */
static void hold_methods(qx_ctx *cx,
                         const reference_case *c,
                         const char *factor,
                         size_t k,
                         const char *const level[])
{
    static const struct {
        qx_adjust adjust;
        const char *word;
    } methods[] = {{QX_ADJUST_TUKEY, "tukey"},
                   {QX_ADJUST_HOLM, "holm"},
                   {QX_ADJUST_SIDAK, "sidak"},
                   {QX_ADJUST_BONFERRONI, "bonferroni"}};
    const qx_mat none = {0};
    pairs p;
    open_pairs(&p, c, factor, k, level, "tukey_p");
    assert_int_equal(p.m, k * (k - 1) / 2);
    for (size_t i = 0; i < QX_COUNT(methods); i++) {
        assert_ok(cx, qx_compare(cx, methods[i].adjust, k, 0.95, p.m, p.family, none));
        hold_all(&p, methods[i].word);
    }
    assert_ok(cx, qx_compare(cx, QX_ADJUST_NONE, k, 0.95, p.m, p.family, none));
    for (size_t i = 0; i < p.m; i++) {
        hold(c, p.name[i], "p", p.family[i].p);
        hold(c, p.name[i], "p", p.family[i].p_adjusted);
        hold(c, p.name[i], "lower", p.family[i].lower);
        hold(c, p.name[i], "upper", p.family[i].upper);
    }
}

/* Balanced Dunnett: all correlations one half. */
static void hold_dunnett(qx_ctx *cx,
                         const reference_case *c,
                         const char *factor,
                         size_t k,
                         const char *const level[])
{
    char name[80];
    qx_mat r;
    pairs p;
    open_pairs(&p, c, factor, k, level, "dunnett_p");
    assert_int_equal(p.m, k - 1);
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), p.m, p.m, &r));
    for (size_t i = 0; i < p.m; i++) {
        for (size_t j = 0; j < p.m; j++) {
            QX_AT(r, i, j) = i == j ? 1.0 : 0.5;
        }
    }
    assert_ok(cx, qx_compare(cx, QX_ADJUST_DUNNETT, k, 0.95, p.m, p.family, r));
    hold_all(&p, "dunnett");
    (void)snprintf(name, sizeof name, "dunnett.%s.critical_5pct", factor);
    reference_assert(c, name, p.family[0].critical);
}

static const char *const growth[] = {"ctrl", "trt1", "trt2"};
static const char *const sprays[] = {"A", "B", "C", "D", "E", "F"};
static const char *const orchard[] = {"A", "B", "C", "D", "E", "F", "G", "H"};
static const char *const nitrogen[] = {"0", "0.2", "0.4", "0.6"};
static const char *const dose[] = {"0.5", "1", "2"};

/* tests/reference/crd-plantgrowth: Dobson 1983. */
static void plant_growth_three_groups(void **state)
{
    const reference_case *c = reference_open(*state, "crd-plantgrowth");
    hold_methods(*state, c, "group", 3, growth);
    hold_dunnett(*state, c, "group", 3, growth);
}

/* tests/reference/crd-insectsprays-sqrt: Beall 1942. */
static void insect_sprays_six_levels(void **state)
{
    const reference_case *c = reference_open(*state, "crd-insectsprays-sqrt");
    hold_methods(*state, c, "spray", 6, sprays);
    hold_dunnett(*state, c, "spray", 6, sprays);
}

/* tests/reference/latin-orchardsprays: Finney 1947. */
static void orchard_sprays_eight_levels(void **state)
{
    const reference_case *c = reference_open(*state, "latin-orchardsprays");
    hold_methods(*state, c, "treatment", 8, orchard);
    hold_dunnett(*state, c, "treatment", 8, orchard);
}

/* tests/reference/splitplot-oats: Yates 1935; Kenward-Roger df, not whole numbers. */
static void oats_with_kenward_roger_df(void **state)
{
    const reference_case *c = reference_open(*state, "splitplot-oats");
    hold_methods(*state, c, "nitrogen", 4, nitrogen);
    hold_dunnett(*state, c, "nitrogen", 4, nitrogen);
}

/* tests/reference/factorial-toothgrowth-unbalanced: unequal se, so Tukey-Kramer. */
static void tooth_growth_unequal_numbers(void **state)
{
    hold_methods(*state,
                 reference_open(*state, "factorial-toothgrowth-unbalanced"),
                 "dose",
                 3,
                 dose);
}

/* tests/reference/studentised-range-and-dunnett: critical values of both tables. */
static void tables_of_critical_values(void **state)
{
    static const struct {
        const char *quantity;
        size_t k;
        double df, level;
    } range[] = {{"q02.qtukey", 3, 6, 0.95},
                 {"q05.qtukey", 6, 20, 0.95},
                 {"q09.qtukey", 4, 120, 0.95},
                 {"q12.qtukey", 15, 9, 0.95},
                 {"q13.qtukey", 4, 12, 0.99}};
    const reference_case *c = reference_open(*state, "studentised-range-and-dunnett");
    for (size_t i = 0; i < QX_COUNT(range); i++) {
        qx_comparison one = {.estimate =
                                 reference_value(c, range[i].quantity) / sqrt(2.0),
                             .se = 1.0,
                             .df = range[i].df};
        assert_ok(*state,
                  qx_compare(*state,
                             QX_ADJUST_TUKEY,
                             range[i].k,
                             range[i].level,
                             1,
                             &one,
                             (qx_mat){0}));
        reference_assert(c, range[i].quantity, one.critical * sqrt(2.0));
        assert_near(one.p_adjusted, 1.0 - range[i].level, 1e-6);
    }
}

/* One comparison is a t test, however it is adjusted. */
static void one_comparison_is_a_t_test(void **state)
{
    double half = 1.0;
    const qx_mat r = {&half, 1, 1, 1};
    for (int adjust = QX_ADJUST_NONE; adjust <= QX_ADJUST_BONFERRONI; adjust++) {
        qx_comparison one = {.estimate = 2.262157162740992, .se = 1.0, .df = 9.0};
        assert_ok(*state, qx_compare(*state, (qx_adjust)adjust, 2, 0.95, 1, &one, r));
        /* t(0.975, 9 df) = 2.262157, any table of the t distribution */
        assert_near(one.p, 0.05, 1e-9);
        assert_near(one.p_adjusted, 0.05, 1e-9);
        assert_near(one.critical, 2.262157162740992, 1e-9);
        assert_true(fabs(one.lower) < 1e-8);
    }
}

/* A comparison that cannot be made neither counts nor disturbs: three with one bad behave
 * like two. */
static void what_cannot_be_made_does_not_count(void **state)
{
    static const qx_comparison good[] = {{.estimate = 1.0, .se = 0.5, .df = 10.0},
                                         {.estimate = -0.3, .se = 0.5, .df = 12.0}};
    double ones[9] = {1, NAN, 0.5, NAN, 1, NAN, 0.5, NAN, 1};
    double halves[4] = {1, 0.5, 0.5, 1};
    for (int adjust = QX_ADJUST_NONE; adjust <= QX_ADJUST_BONFERRONI; adjust++) {
        qx_comparison two[2] = {good[0], good[1]};
        qx_comparison three[3] = {good[0], {.estimate = 5, .se = 0, .df = 10}, good[1]};
        assert_ok(
            *state,
            qx_compare(
                *state, (qx_adjust)adjust, 3, 0.95, 3, three, qx_mat_of(ones, 3, 3)));
        assert_ok(
            *state,
            qx_compare(
                *state, (qx_adjust)adjust, 3, 0.95, 2, two, qx_mat_of(halves, 2, 2)));
        assert_true(isnan(three[1].value) && isnan(three[1].p) && isnan(three[1].lower));
        assert_true(isnan(three[1].p_adjusted) && isnan(three[1].critical));
        assert_near(three[0].p_adjusted, two[0].p_adjusted, 1e-12);
        assert_near(three[2].p_adjusted, two[1].p_adjusted, 1e-12);
        assert_near(three[2].upper, two[1].upper, 1e-12);
    }
}

/* Every adjusted p is at least the p, at most 1, and says the same as its interval. */
static void p_and_interval_agree(void **state)
{
    double r[9] = {1, 0.5, 0.5, 0.5, 1, 0.5, 0.5, 0.5, 1};
    for (int adjust = QX_ADJUST_NONE; adjust <= QX_ADJUST_BONFERRONI; adjust++) {
        for (int step = 0; step < 20; step++) {
            qx_comparison f[3] = {{.estimate = 0.2 * step, .se = 1, .df = 14},
                                  {.estimate = -0.1 * step, .se = 1, .df = 14},
                                  {.estimate = 0.01, .se = 1, .df = 14}};
            assert_ok(
                *state,
                qx_compare(*state, (qx_adjust)adjust, 3, 0.95, 3, f, qx_mat_of(r, 3, 3)));
            for (size_t i = 0; i < 3; i++) {
                const bool outside = f[i].lower > 0.0 || f[i].upper < 0.0;
                assert_true(f[i].p_adjusted >= f[i].p && f[i].p_adjusted <= 1.0);
                if (adjust != QX_ADJUST_HOLM) { /* its interval is Bonferroni's: wider */
                    assert_int_equal(f[i].p_adjusted < 0.05, outside);
                }
            }
        }
    }
}

/* Below 1 df and beyond 1000 means the range is not computed; Sidak's inequality holds for
 * any correlation. */
static void beyond_the_range_sidak_takes_over(void **state)
{
    static const struct {
        size_t k;
        double df;
    } beyond[] = {{3, 0.8}, {1001, 20.0}};
    for (size_t b = 0; b < QX_COUNT(beyond); b++) {
        qx_comparison f[3], s[3];
        for (size_t i = 0; i < 3; i++) {
            f[i] = s[i] = (qx_comparison){
                .estimate = 4.0 + (double)i, .se = 1.0, .df = beyond[b].df};
        }
        qx_ctx_clear(*state);
        assert_ok(
            *state,
            qx_compare(*state, QX_ADJUST_TUKEY, beyond[b].k, 0.95, 3, f, (qx_mat){0}));
        assert_ok(
            *state,
            qx_compare(*state, QX_ADJUST_SIDAK, beyond[b].k, 0.95, 3, s, (qx_mat){0}));
        for (size_t i = 0; i < 3; i++) {
            assert_near(f[i].p_adjusted, s[i].p_adjusted, 1e-14);
            assert_near(f[i].critical, s[i].critical, 1e-14);
        }
        assert_int_equal(qx_ctx_note_count(*state), 1);
        assert_non_null(strstr(qx_ctx_note(*state, 0), "1 degree of freedom"));
    }
}

/* One degree of freedom: q(0.05; 3, 1) = 26.98 and q(0.05; 5, 1) = 37.08, Pearson & Hartley,
 * Biometrika Tables 1, table 29 (from memory; Gauss-Legendre quadrature as in
 * tests/reference/range_by_quadrature.py gives 26.976 and 37.082). */
static void one_degree_of_freedom(void **state)
{
    static const struct {
        size_t k;
        const char *q;
    } table[] = {{3, "26.98"}, {5, "37.08"}};
    for (size_t i = 0; i < QX_COUNT(table); i++) {
        qx_comparison one = {.estimate = 5.0, .se = 1.0, .df = 1.0};
        assert_ok(
            *state,
            qx_compare(*state, QX_ADJUST_TUKEY, table[i].k, 0.95, 1, &one, (qx_mat){0}));
        assert_printed(one.critical * sqrt(2.0), table[i].q);
    }
    assert_int_equal(qx_ctx_note_count(*state), 0);
}

static void refuses_what_makes_no_sense(void **state)
{
    qx_comparison f[2] = {{.estimate = 1, .se = 1, .df = 5},
                          {.estimate = 1, .se = 1, .df = 5}};
    double one = 1.0;
    assert_fails(*state,
                 qx_compare(*state, QX_ADJUST_NONE, 2, 1.0, 1, f, (qx_mat){0}),
                 QX_E_ARG,
                 "level");
    assert_fails(*state,
                 qx_compare(*state, QX_ADJUST_NONE, 2, NAN, 1, f, (qx_mat){0}),
                 QX_E_ARG,
                 "level");
    assert_fails(*state,
                 qx_compare(*state, QX_ADJUST_TUKEY, 1, 0.95, 1, f, (qx_mat){0}),
                 QX_E_ARG,
                 "two means");
    assert_fails(*state,
                 qx_compare(*state, QX_ADJUST_DUNNETT, 3, 0.95, 2, f, (qx_mat){0}),
                 QX_E_SHAPE,
                 "correlations");
    assert_fails(
        *state,
        qx_compare(*state, QX_ADJUST_DUNNETT, 3, 0.95, 2, f, qx_mat_of(&one, 1, 1)),
        QX_E_SHAPE,
        "correlations");
}

static qx_status holm_and_dunnett(qx_ctx *cx, void *given)
{
    double r[4] = {1, 0.5, 0.5, 1};
    qx_comparison f[2] = {{.estimate = 1, .se = 1, .df = 5},
                          {.estimate = 2, .se = 1, .df = 5}};
    (void)given;
    QX_TRY(qx_compare(cx, QX_ADJUST_HOLM, 3, 0.95, 2, f, (qx_mat){0}));
    return qx_compare(cx, QX_ADJUST_DUNNETT, 3, 0.95, 2, f, qx_mat_of(r, 2, 2));
}

static void survives_no_memory(void **state)
{
    (void)state;
    assert_true(fail_each_allocation(holm_and_dunnett, NULL) > 0);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(plant_growth_three_groups),
        WITH_CTX(insect_sprays_six_levels),
        WITH_CTX(orchard_sprays_eight_levels),
        WITH_CTX(oats_with_kenward_roger_df),
        WITH_CTX(tooth_growth_unequal_numbers),
        WITH_CTX(tables_of_critical_values),
        WITH_CTX(one_comparison_is_a_t_test),
        WITH_CTX(what_cannot_be_made_does_not_count),
        WITH_CTX(p_and_interval_agree),
        WITH_CTX(beyond_the_range_sidak_takes_over),
        WITH_CTX(one_degree_of_freedom),
        WITH_CTX(refuses_what_makes_no_sense),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
