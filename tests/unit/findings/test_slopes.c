/* Covariates: where means hold, slopes, differences away from the mean. What is expected comes
 * from separate least-squares lines, worked here from their sums: with a slope and an
 * intercept for each level the model is two regressions that share their residual. */
#include "trial.h"

#include "numeric/dist.h"

/* Invented. Twelve trees: girth, mass. */
#define EACH 6U
static const double girth[2][EACH] = {{3, 5, 6, 8, 9, 12}, {2, 4, 7, 8, 11, 13}};
static const double mass[2][EACH] = {{7.1, 8.4, 8.2, 10.1, 10.9, 12.6},
                                     {9.2, 9.1, 9.9, 10.4, 10.3, 11.2}};
static const char *const level[2] = {"none", "short"};

typedef struct line {
    double x, y, slope, sxx, rest;
} line;

static line line_of(size_t level_)
{
    line l = {0};
    double sxy = 0.0;
    for (size_t i = 0; i < EACH; i++) {
        l.x += girth[level_][i] / EACH;
        l.y += mass[level_][i] / EACH;
    }
    for (size_t i = 0; i < EACH; i++) {
        l.sxx += (girth[level_][i] - l.x) * (girth[level_][i] - l.x);
        sxy += (girth[level_][i] - l.x) * (mass[level_][i] - l.y);
    }
    l.slope = sxy / l.sxx;
    for (size_t i = 0; i < EACH; i++) {
        const double e = mass[level_][i] - l.y - l.slope * (girth[level_][i] - l.x);
        l.rest += e * e;
    }
    return l;
}

/* Girths may be written far from nought and in other units: 1000 + 100 x. */
static void open_girths(trial *t, bool slopes, bool far)
{
    static char protocol[600], data[1200];
    size_t n = 0;
    snprintf(protocol,
             sizeof protocol,
             "quincunx: 1\ntitle: Girth\nunits:\n  tree: {count: 12}\n"
             "treatments:\n  cut: {levels: [none, short], on: tree}\n"
             "covariates:\n  girth: {on: tree, unit: cm%s}\n"
             "measure:\n  mass: {kind: continuous, on: tree, unit: kg, margin: 0.5}\n",
             slopes ? ", slopes: [cut]" : "");
    n += (size_t)snprintf(data, sizeof data, "tree,cut,girth,mass\n");
    for (size_t i = 0; i < (size_t)2 * EACH; i++) {
        const double x = girth[i / EACH][i % EACH];
        n += (size_t)snprintf(data + n,
                              sizeof data - n,
                              "%zu,%s,%g,%g\n",
                              i + 1,
                              level[i / EACH],
                              far ? 1000.0 + 100.0 * x : x,
                              mass[i / EACH][i % EACH]);
    }
    assert_int_equal(trial_open(t, protocol, data), QX_OK);
}

static void near_to(double got, double want)
{
    if (!(fabs(got - want) <= 1e-10 * fmax(1.0, fabs(want)))) {
        fail_msg("%.15g is not %.15g", got, want);
    }
}

static double root_of_spread(const line *a, const line *b)
{
    return sqrt((a->rest + b->rest) / (2.0 * EACH - 4.0));
}

static void expect_difference(const qx_difference *d, double x)
{
    const line a = line_of(0), b = line_of(1);
    const double value = b.y + b.slope * (x - b.x) - a.y - a.slope * (x - a.x);
    const double se =
        root_of_spread(&a, &b) *
        sqrt(2.0 / EACH + (x - a.x) * (x - a.x) / a.sxx + (x - b.x) * (x - b.x) / b.sxx);
    assert_string_equal(d->first.level[0], "short");
    near_to(d->estimate, value);
    near_to(d->se, se);
    near_to(d->df, 2.0 * EACH - 4.0);
    near_to(d->upper, value + qx_t_q(0.025, 2.0 * EACH - 4.0, QX_UPPER) * se);
}

/* The middle of 12 values, and a tenth of the way in: places 1.1 and 9.9 of 0 to 11. */
#define MEAN   (88.0 / 12.0)
#define LOWER  3.1
#define HIGHER 11.9

static void differences_are_told_where_they_hold(void **state)
{
    (void)state;
    for (int far = 0; far < 2; far++) {
        trial t;
        open_girths(&t, true, far);
        const qx_result *r = &t.findings->result[0];
        const double scale = far ? 100.0 : 1.0, shift = far ? 1000.0 : 0.0;
        assert_int_equal(r->covariate_count, 1);
        const qx_covariate_line *c = &r->covariate[0];
        near_to(c->held, shift + scale * MEAN);
        near_to(c->low, shift + scale * LOWER);
        near_to(c->high, shift + scale * HIGHER);
        expect_difference(&r->difference[0], MEAN);
        assert_int_equal(c->end_count, 1);
        expect_difference(&c->at_low[0], LOWER);
        expect_difference(&c->at_high[0], HIGHER);
        trial_close(&t);
    }
}

static void each_level_has_its_slope(void **state)
{
    (void)state;
    trial t;
    open_girths(&t, true, true);
    const qx_covariate_line *c = &t.findings->result[0].covariate[0];
    const line l[2] = {line_of(0), line_of(1)};
    assert_int_equal(c->slope_count, 2);
    for (size_t i = 0; i < 2; i++) {
        const double se = root_of_spread(&l[0], &l[1]) / sqrt(l[i].sxx);
        assert_string_equal(c->slope[i].cell.level[0], level[i]);
        near_to(100.0 * c->slope[i].estimate, l[i].slope);
        near_to(100.0 * c->slope[i].se, se);
        near_to(100.0 * c->slope[i].lower,
                l[i].slope - qx_t_q(0.025, 2.0 * EACH - 4.0, QX_UPPER) * se);
    }
    trial_close(&t);
}

/* One slope: Sxy / Sxx over both levels' own means; nothing changes with the covariate. */
static void a_common_slope_stands_alone(void **state)
{
    (void)state;
    trial t;
    open_girths(&t, false, false);
    const qx_covariate_line *c = &t.findings->result[0].covariate[0];
    const line a = line_of(0), b = line_of(1);
    assert_int_equal(c->slope_count, 1);
    assert_int_equal(c->slope[0].cell.count, 0);
    assert_int_equal(c->end_count, 0);
    near_to(c->slope[0].estimate, (a.slope * a.sxx + b.slope * b.sxx) / (a.sxx + b.sxx));
    trial_close(&t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(differences_are_told_where_they_hold),
        cmocka_unit_test(each_level_has_its_slope),
        cmocka_unit_test(a_common_slope_stands_alone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
