#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/boxcox.h"
#include "numeric/rng.h"
#include "reference_case.h"
#include "support.h"

/* Cell-means coding of one factor as a design: only n, X and its QR are looked at. */
static qx_design cells_of(qx_ctx *cx, size_t n, size_t cells, const uint32_t cell[])
{
    qx_design d;
    qx_mat x;
    memset(&d, 0, sizeof d);
    assert_ok(cx, qx_mat_new(cx, qx_ctx_scratch(cx), n, cells, &x));
    for (size_t i = 0; i < n; i++) {
        QX_AT(x, i, cell[i]) = 1.0;
    }
    d.n = n;
    d.p = cells;
    d.X = x;
    assert_ok(cx, qx_qr_factor(cx, qx_ctx_scratch(cx), x, &d.qr));
    return d;
}

/* tests/reference/checks-warpbreaks: Tippett 1950, wool x tension. */
static void warp_breaks(void **state)
{
    const reference_case *c = reference_open(*state, "checks-warpbreaks");
    size_t wools, tensions;
    const uint32_t *wool = reference_codes(c, "wool", &wools);
    const uint32_t *tension = reference_codes(c, "tension", &tensions);
    uint32_t cell[54];
    qx_box_cox b;
    assert_int_equal(reference_rows(c), 54);
    for (size_t i = 0; i < 54; i++) {
        cell[i] = wool[i] * (uint32_t)tensions + tension[i];
    }
    const qx_design d = cells_of(*state, 54, wools * tensions, cell);
    assert_ok(*state,
              qx_box_cox_profile(*state, &d, reference_numbers(c, "breaks"), 0.95, &b));
    reference_assert(c, "box_cox.lambda", b.lambda);
    reference_assert(c, "box_cox.lower95", b.lower);
    reference_assert(c, "box_cox.upper95", b.upper);
}

/* What the estimate must do: y -> y^2 halves lambda and its interval, y -> 10 y changes
 * nothing. */
static void follows_powers_and_ignores_units(void **state)
{
    enum { N = 60 };
    double y[N], squared[N], tenfold[N];
    uint32_t cell[N];
    qx_rng rng = qx_rng_seeded(5);
    qx_box_cox a, b, t;
    for (size_t i = 0; i < N; i++) {
        cell[i] = (uint32_t)(i % 3);
        y[i] = pow(10.0 + 2.0 * (double)cell[i] + qx_rng_normal(&rng), 2.0);
        squared[i] = y[i] * y[i];
        tenfold[i] = 10.0 * y[i];
    }
    const qx_design d = cells_of(*state, N, 3, cell);
    assert_ok(*state, qx_box_cox_profile(*state, &d, y, 0.95, &a));
    assert_ok(*state, qx_box_cox_profile(*state, &d, squared, 0.95, &b));
    assert_ok(*state, qx_box_cox_profile(*state, &d, tenfold, 0.95, &t));
    assert_near(b.lambda, a.lambda / 2.0, 1e-8);
    assert_near(b.lower, a.lower / 2.0, 1e-8);
    assert_near(b.upper, a.upper / 2.0, 1e-8);
    assert_near(t.lambda, a.lambda, 1e-8);
    assert_true(a.lower < 0.5 && 0.5 < a.upper); /* the truth is the square root */
}

static void nothing_where_no_power_stands_out(void **state)
{
    static const double y[] = {1, 2, 3}, same[] = {4, 4, 4, 4};
    static const uint32_t each[] = {0, 1, 2}, two[] = {0, 0, 1, 1};
    qx_box_cox b;
    const qx_design full = cells_of(*state, 3, 3, each);
    assert_ok(*state, qx_box_cox_profile(*state, &full, y, 0.95, &b));
    assert_true(isnan(b.lambda) && isnan(b.lower) && isnan(b.upper));
    const qx_design flat = cells_of(*state, 4, 2, two);
    assert_ok(*state, qx_box_cox_profile(*state, &flat, same, 0.95, &b));
    assert_true(isnan(b.lambda));
}

static void refuses_values_at_or_below_zero(void **state)
{
    static const double zero[] = {1, 0, 2, 3}, bad[] = {1, 2, 3, INFINITY};
    static const uint32_t two[] = {0, 0, 1, 1};
    qx_box_cox b;
    const qx_design d = cells_of(*state, 4, 2, two);
    assert_fails(
        *state, qx_box_cox_profile(*state, &d, zero, 0.95, &b), QX_E_ARG, "value 2");
    assert_fails(
        *state, qx_box_cox_profile(*state, &d, bad, 0.95, &b), QX_E_ARG, "value 4");
    assert_fails(*state, qx_box_cox_profile(*state, &d, bad, 1.0, &b), QX_E_ARG, "level");
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(warp_breaks),
        WITH_CTX(follows_powers_and_ignores_units),
        WITH_CTX(nothing_where_no_power_stands_out),
        WITH_CTX(refuses_values_at_or_below_zero),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
