/* Links: derivatives against differences, both ends, and the way there and back. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "model/link.h"
#include "support.h"

static const qx_link SHARES[] = {QX_LINK_LOGIT, QX_LINK_PROBIT, QX_LINK_CLOGLOG};

/* Central difference of what `part` picks, over h and h/2 (Richardson). */
typedef double part_of(qx_link link, double eta, int order);

static double log_mean(qx_link link, double eta, int order)
{
    qx_link_point at;
    qx_link_at(link, eta, &at);
    return at.a[order];
}

static double log_rest(qx_link link, double eta, int order)
{
    qx_link_point at;
    qx_link_at(link, eta, &at);
    return at.b[order];
}

static double slope(qx_link link, double eta, int order)
{
    return order == 0 ? qx_link_mean(link, eta) : qx_link_slope(link, eta, order);
}

static double difference(part_of *part, qx_link link, double eta, int order)
{
    const double h = 1e-3;
    const double wide =
        (part(link, eta + h, order) - part(link, eta - h, order)) / (2 * h);
    const double near =
        (part(link, eta + h / 2, order) - part(link, eta - h / 2, order)) / h;
    return (4.0 * near - wide) / 3.0;
}

static void hold_derivatives(part_of *part, qx_link link, double eta)
{
    for (int order = 0; order < 3; order++) {
        const double want = difference(part, link, eta, order);
        assert_true(fabs(part(link, eta, order + 1) - want) < 1e-8 * (1.0 + fabs(want)));
    }
}

static void derivatives_are_those_of_the_mean(void **state)
{
    (void)state;
    for (double eta = -6.0; eta <= 3.0; eta += 0.37) {
        for (size_t l = 0; l < QX_COUNT(SHARES); l++) {
            hold_derivatives(log_mean, SHARES[l], eta);
            hold_derivatives(log_rest, SHARES[l], eta);
            hold_derivatives(slope, SHARES[l], eta);
        }
        hold_derivatives(log_mean, QX_LINK_LOG, eta);
        hold_derivatives(slope, QX_LINK_LOG, eta);
    }
    hold_derivatives(log_mean, QX_LINK_IDENTITY, 2.3);
}

static void there_and_back(void **state)
{
    (void)state;
    for (double mu = 0.01; mu < 1.0; mu += 0.07) {
        for (qx_link link = QX_LINK_LOGIT; link <= QX_LINK_IDENTITY; link++) {
            assert_near(qx_link_mean(link, qx_link_predictor(link, mu)), mu, 1e-13);
        }
    }
    assert_true(qx_link_predictor(QX_LINK_LOGIT, 0.0) == -(double)INFINITY);
    assert_true(qx_link_predictor(QX_LINK_CLOGLOG, 1.0) == (double)INFINITY);
}

static void nothing_overflows_far_out(void **state)
{
    static const double far[] = {-1000.0, -745.0, -40.0, 40.0, 709.0, 1000.0};
    (void)state;
    for (size_t i = 0; i < QX_COUNT(far); i++) {
        for (size_t l = 0; l < QX_COUNT(SHARES); l++) {
            qx_link_point at;
            qx_link_at(SHARES[l], far[i], &at);
            assert_true(at.mu >= 0.0 && at.mu <= 1.0 && at.co >= 0.0 && at.co <= 1.0);
            for (int order = 0; order < 4; order++) {
                assert_false(isnan(at.a[order]) || isnan(at.b[order]));
                assert_false(order > 0 && isnan(qx_link_slope(SHARES[l], far[i], order)));
            }
        }
    }
}

/* log(1 - 1/(1 + e^-40)) is -40 to 17 digits; log Phi(-40) = -804.60844201 by the
 * asymptotic series of Mills' ratio (Abramowitz & Stegun 1964, 26.2.12). */
static void tails_keep_their_digits(void **state)
{
    qx_link_point at;
    (void)state;
    qx_link_at(QX_LINK_LOGIT, 40.0, &at);
    assert_near(at.b[0], -40.0, 1e-15);
    qx_link_at(QX_LINK_PROBIT, -40.0, &at);
    double series = 1.0, term = 1.0;
    for (int k = 1; k < 12; k++) {
        term *= -(2.0 * k - 1.0) / 1600.0;
        series += term;
    }
    const double pi = 3.14159265358979323846;
    assert_near(at.a[0], -800.0 - log(40.0) - 0.5 * log(2.0 * pi) + log(series), 1e-14);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(derivatives_are_those_of_the_mean),
        cmocka_unit_test(there_and_back),
        cmocka_unit_test(nothing_overflows_far_out),
        cmocka_unit_test(tails_keep_their_digits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
