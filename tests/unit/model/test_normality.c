#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdlib.h>

#include "model/normality.h"
#include "numeric/rng.h"
#include "reference_case.h"
#include "support.h"

/* n zeroed things in scratch; the run ends without memory. */
static void *room(qx_ctx *cx, size_t n, size_t size)
{
    void *out = qx_arena_alloc(qx_ctx_scratch(cx), n, size);
    if (out == NULL) {
        abort();
    }
    return out;
}

/* x less the mean of its cell: the residuals of the full model of the cells. */
static double *less_cell_means(
    qx_ctx *cx, size_t n, const double x[], size_t cells, const uint32_t cell[])
{
    double *out = room(cx, n, sizeof *out);
    double *sum = room(cx, cells, sizeof *sum);
    double *count = room(cx, cells, sizeof *count);
    for (size_t i = 0; i < n; i++) {
        sum[cell[i]] += x[i];
        count[cell[i]] += 1.0;
    }
    for (size_t i = 0; i < n; i++) {
        out[i] = x[i] - sum[cell[i]] / count[cell[i]];
    }
    return out;
}

static void hold(qx_ctx *cx, const reference_case *c, const double residual[])
{
    qx_check_value v;
    assert_ok(cx, qx_shapiro_wilk(cx, reference_rows(c), residual, &v));
    reference_assert(c, "shapiro_wilk.residuals.W", v.value);
    reference_assert(c, "shapiro_wilk.residuals.p", v.p);
    assert_true(isnan(v.num_df) && isnan(v.den_df));
}

/* tests/reference/checks-insectsprays: Beall 1942. */
static void insect_sprays(void **state)
{
    const reference_case *c = reference_open(*state, "checks-insectsprays");
    size_t k;
    const uint32_t *spray = reference_codes(c, "spray", &k);
    hold(*state,
         c,
         less_cell_means(
             *state, reference_rows(c), reference_numbers(c, "count"), k, spray));
}

/* tests/reference/checks-warpbreaks: Tippett 1950; six cells. */
static void warp_breaks(void **state)
{
    const reference_case *c = reference_open(*state, "checks-warpbreaks");
    size_t wools, tensions;
    const uint32_t *wool = reference_codes(c, "wool", &wools);
    const uint32_t *tension = reference_codes(c, "tension", &tensions);
    uint32_t cell[54];
    assert_int_equal(reference_rows(c), 54);
    for (size_t i = 0; i < 54; i++) {
        cell[i] = wool[i] * (uint32_t)tensions + tension[i];
    }
    hold(*state,
         c,
         less_cell_means(
             *state, 54, reference_numbers(c, "breaks"), wools * tensions, cell));
}

/* Weights of eleven men: Shapiro & Wilk 1965, Biometrika 52:591-611, their first example
 * (W = 0.79 there). W = 0.788815 and p = 0.006704 by AS R94 as a general statistics library
 * documents it (from memory). n = 11 is the last of the small-sample formula. */
static void weights_of_eleven_men(void **state)
{
    static const double weight[] = {
        148, 154, 158, 160, 161, 162, 166, 170, 182, 195, 236};
    qx_check_value v;
    assert_ok(*state, qx_shapiro_wilk(*state, QX_COUNT(weight), weight, &v));
    assert_digits(v.value, "0.788815", 5);
    assert_digits(v.p, "0.006704", 4);
}

/* Three values: W is exact. With a gap g of range 1, W = 1 / (2 s), s the sum of squares;
 * P(W < w) = 6/pi (asin sqrt w - asin sqrt 3/4): 1 for equal steps, 0 for two equal values
 * (Shapiro & Wilk 1965, corollary; derived by hand). */
static void three_values_exactly(void **state)
{
    static const double even[] = {3.0, 1.0, 2.0}, tied[] = {1.0, 1.0, 5.0};
    static const double skew[] = {0.0, 0.25, 1.0};
    qx_check_value v;
    assert_ok(*state, qx_shapiro_wilk(*state, 3, even, &v));
    assert_near(v.value, 1.0, 1e-14);
    assert_near(v.p, 1.0, 1e-7);
    assert_ok(*state, qx_shapiro_wilk(*state, 3, tied, &v));
    assert_near(v.value, 0.75, 1e-14);
    assert_true(fabs(v.p) < 1e-7);
    assert_ok(*state, qx_shapiro_wilk(*state, 3, skew, &v));
    /* sum of squares about the mean 5/12: 13/24, so W = 12/13; p by hand */
    assert_near(v.value, 12.0 / 13.0, 1e-14);
    assert_near(
        v.p, 6.0 / acos(-1.0) * (asin(sqrt(12.0 / 13.0)) - acos(-1.0) / 3.0), 1e-12);
}

/* The size of the test where it has to hold: 2,000 normal samples, 5 %. Standard error of
 * the share 0.0049; four of them are allowed, plus the approximation's own error (Royston
 * 1995 finds levels between 0.047 and 0.053). */
static void rejects_normal_samples_at_its_level(void **state)
{
    static const size_t sizes[] = {5, 11, 12, 30};
    qx_rng rng = qx_rng_seeded(11);
    double x[30];
    for (size_t s = 0; s < QX_COUNT(sizes); s++) {
        int rejected = 0;
        for (int trial = 0; trial < 2000; trial++) {
            qx_check_value v;
            for (size_t i = 0; i < sizes[s]; i++) {
                x[i] = qx_rng_normal(&rng);
            }
            assert_ok(*state, qx_shapiro_wilk(*state, sizes[s], x, &v));
            rejected += v.p < 0.05 ? 1 : 0;
        }
        assert_true(rejected > 2000 * 0.047 - 40 && rejected < 2000 * 0.053 + 40);
    }
}

/* Neither place nor scale nor order matter. */
static void shift_scale_and_order_do_not_matter(void **state)
{
    double x[20], y[20];
    qx_rng rng = qx_rng_seeded(3);
    qx_check_value a, b;
    for (size_t i = 0; i < 20; i++) {
        x[i] = exp(qx_rng_normal(&rng));
        y[19 - i] = 1e6 - 4.0 * x[i];
    }
    assert_ok(*state, qx_shapiro_wilk(*state, 20, x, &a));
    assert_ok(*state, qx_shapiro_wilk(*state, 20, y, &b));
    assert_near(a.value, b.value, 1e-9);
    assert_near(a.p, b.p, 1e-7);
}

static void refuses_what_it_cannot_test(void **state)
{
    static const double x[] = {1.0, 2.0, NAN}, same[] = {4.0, 4.0, 4.0, 4.0};
    qx_check_value v;
    assert_fails(*state, qx_shapiro_wilk(*state, 2, x, &v), QX_E_ARG, "3 to 5000");
    assert_fails(*state, qx_shapiro_wilk(*state, 5001, x, &v), QX_E_ARG, "3 to 5000");
    assert_fails(*state, qx_shapiro_wilk(*state, 3, x, &v), QX_E_ARG, "value 3");
    assert_fails(*state, qx_shapiro_wilk(*state, 4, same, &v), QX_E_ARG, "equal");
}

static qx_status any_test(qx_ctx *cx, void *given)
{
    qx_check_value v;
    return qx_shapiro_wilk(cx, 5, given, &v);
}

static void survives_no_memory(void **state)
{
    double x[] = {1, 2, 3, 5, 9};
    (void)state;
    assert_true(fail_each_allocation(any_test, x) > 0);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(insect_sprays),
        WITH_CTX(warp_breaks),
        WITH_CTX(weights_of_eleven_men),
        WITH_CTX(three_values_exactly),
        WITH_CTX(rejects_normal_samples_at_its_level),
        WITH_CTX(shift_scale_and_order_do_not_matter),
        WITH_CTX(refuses_what_it_cannot_test),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
