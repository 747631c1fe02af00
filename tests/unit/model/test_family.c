/* The contract of every response family, whatever is in the list. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/family.h"
#include "support.h"

#define DRAWS 40000

typedef void hold(const qx_family *family, double psi);

static const double MEANS_OF_SHARES[] = {0.02, 0.3, 0.5, 0.93};
static const double MEANS_OF_COUNTS[] = {0.05, 1.3, 7.0, 90.0};

static double mean_of(const qx_family *family, size_t i)
{
    return family->serves == QX_SERVES_SHARE ? MEANS_OF_SHARES[i] : MEANS_OF_COUNTS[i];
}

/* Every family, with spreads from nil up if it has one. */
static void walk(hold *holds)
{
    static const double spreads[] = {0.0, 0.02, 0.4, 1.1};
    for (size_t f = 0; f < qx_family_count(); f++) {
        const qx_family *family = qx_family_get(f);
        const size_t count = family->parameters > 0 ? QX_COUNT(spreads) : 1;
        for (size_t s = 0; s < count; s++) {
            holds(family, spreads[s]);
        }
    }
}

static void words(const qx_family *family, double psi)
{
    (void)psi;
    assert_ptr_equal(qx_family_find(family->key), family);
    assert_true(strlen(family->title) > 0 && strlen(family->source) > 0);
    assert_true(family->takes(family->default_link));
    assert_true((family->parameters > 0) == (family->dispersion_name != NULL));
    if (family->modelled_by != NULL) {
        const qx_family *wide = qx_family_find(family->modelled_by);
        assert_non_null(wide);
        assert_true(wide->parameters == 1 && wide->serves == family->serves);
    }
}

static void every_family_says_what_it_is(void **state)
{
    (void)state;
    walk(words);
    assert_null(qx_family_find("gamma"));
    assert_null(qx_family_get(qx_family_count()));
}

static void score_is_slope(const qx_family *family, double psi)
{
    for (size_t m = 0; m < 4; m++) {
        const double mu = mean_of(family, m), h = 1e-5 * mu * (mu < 1 ? 1 - mu : 1);
        for (double k = 0; k <= 12; k += 4) {
            const double up = family->loglik(k, 12, mu + h, psi);
            const double down = family->loglik(k, 12, mu - h, psi);
            const double want = family->score(k, 12, mu, psi);
            assert_true(fabs((up - down) / (2 * h) - want) < 1e-6 * (1 + fabs(want)));
        }
    }
}

static void score_is_the_slope_of_the_likelihood(void **state)
{
    (void)state;
    walk(score_is_slope);
}

/* Probabilities add up to 1, and below() is their running sum. */
static void adds_up(const qx_family *family, double psi)
{
    const double n = 12, last = family->serves == QX_SERVES_SHARE ? n : 20000;
    for (size_t m = 0; m < 3; m++) {
        double sum = 0;
        for (double k = 0; k <= last; k++) {
            sum += exp(family->loglik(k, n, mean_of(family, m), psi));
            if (k < 10) {
                const double below = family->below(k, n, mean_of(family, m), psi);
                assert_true(fabs(below - sum) < 1e-9);
            }
        }
        assert_true(fabs(sum - 1) < 1e-9);
    }
    assert_true(family->below(-1, n, mean_of(family, 0), psi) == 0);
}

static void probabilities_add_up(void **state)
{
    (void)state;
    walk(adds_up);
}

/* Nil where the likelihood of the row is highest, above it elsewhere. */
static void deviance_is_gap(const qx_family *family, double psi)
{
    for (double k = 1; k < 12; k += 5) {
        const bool share = family->serves == QX_SERVES_SHARE;
        double best = -(double)INFINITY, at = 0;
        for (double mu = 1e-4; mu < (share ? 1.0 : 20.0); mu += 1e-3) {
            const double l = family->loglik(k, 12, mu, psi);
            if (l > best) {
                best = l;
                at = mu;
            }
        }
        assert_true(family->deviance(k, 12, at, psi) < 1e-3);
        const double away = share ? 0.5 * at + 0.3 : at + 3;
        const double want = 2 * (best - family->loglik(k, 12, away, psi));
        assert_true(fabs(family->deviance(k, 12, away, psi) - want) < 1e-3);
    }
    assert_true(family->deviance(0, 12, 0, psi) == 0);
}

static void deviance_is_nil_at_saturation(void **state)
{
    (void)state;
    walk(deviance_is_gap);
}

/* Five standard errors, the fourth moment from the draws themselves. */
static void scatters(const qx_family *family, double psi)
{
    qx_rng rng = qx_rng_seeded(41);
    for (size_t m = 0; m < 4; m++) {
        const double n = 12, mu = mean_of(family, m);
        const double mean = family->serves == QX_SERVES_SHARE ? n * mu : mu;
        double sum = 0, square = 0, fourth = 0;
        for (size_t i = 0; i < DRAWS; i++) {
            const double gap = family->simulate(&rng, n, mu, psi) - mean;
            sum += gap;
            square += gap * gap;
            fourth += gap * gap * gap * gap;
        }
        const double variance = square / DRAWS;
        const double se = sqrt((fourth / DRAWS - variance * variance) / DRAWS);
        assert_true(fabs(sum / DRAWS) < 5 * sqrt(variance / DRAWS));
        assert_true(fabs(variance - family->variance(mu, n, psi)) < 5 * se);
    }
}

static void draws_have_mean_and_variance(void **state)
{
    (void)state;
    walk(scatters);
}

static void dispersion_turns(const qx_family *family, double psi)
{
    if (family->parameters == 0) {
        assert_null(family->dispersion);
        return;
    }
    if (psi == 0) {
        assert_true(isinf(family->dispersion(psi)));
    } else {
        assert_near(family->spread(family->dispersion(psi)), psi, 1e-14);
    }
}

static void dispersion_there_and_back(void **state)
{
    (void)state;
    walk(dispersion_turns);
}

/* Rows: derivatives in eta and psi against differences of the lower ones. */
typedef struct cell {
    double l, g, h, t, lp, gp, hp;
} cell;

static cell row_at(const qx_family *family,
                   qx_link link,
                   double k,
                   double n,
                   double eta,
                   double psi,
                   qx_rows_order order)
{
    const double constant = family->constant(k, n);
    const qx_family_rows rows = {
        .link = link, .k = &k, .size = &n, .weight = NULL, .constant = &constant};
    const size_t row = 0;
    cell c = {0};
    const qx_row_terms out = {&c.l, &c.g, &c.h, &c.t, &c.lp, &c.gp, &c.hp};
    family->rows(&rows, 1, &row, &eta, &psi, order, &out);
    return c;
}

static void close_to(double got, double want)
{
    if (!(fabs(got - want) < 2e-6 * (1 + fabs(want)))) {
        fail_msg("%g is not %g", got, want);
    }
}

static void rows_of_link(const qx_family *family, qx_link link, double psi)
{
    const double h = 2e-5;
    for (double k = 0; k <= 12; k += 3) {
        for (double eta = link == QX_LINK_IDENTITY ? 1.6 : -2.1; eta < 2.9; eta += 0.63) {
            const cell c = row_at(family, link, k, 12, eta, psi, QX_ROWS_ALL);
            const cell up = row_at(family, link, k, 12, eta + h, psi, QX_ROWS_ALL);
            const cell down = row_at(family, link, k, 12, eta - h, psi, QX_ROWS_ALL);
            assert_near(c.l, family->loglik(k, 12, qx_link_mean(link, eta), psi), 1e-11);
            close_to((up.l - down.l) / (2 * h), c.g);
            close_to((up.g - down.g) / (2 * h), c.h);
            close_to((up.h - down.h) / (2 * h), c.t);
            if (family->parameters > 0) {
                const cell more = row_at(family, link, k, 12, eta, psi + h, QX_ROWS_ALL);
                const cell less = row_at(family, link, k, 12, eta, psi - h, QX_ROWS_ALL);
                close_to((more.l - less.l) / (2 * h), c.lp);
                close_to((more.g - less.g) / (2 * h), c.gp);
                close_to((more.h - less.h) / (2 * h), c.hp);
            }
        }
    }
}

static void rows_derive(const qx_family *family, double psi)
{
    for (qx_link link = QX_LINK_LOGIT; link <= QX_LINK_IDENTITY; link++) {
        if (family->takes(link)) {
            rows_of_link(family, link, psi);
        }
    }
}

static void rows_are_consistent(void **state)
{
    (void)state;
    walk(rows_derive);
}

/* Far out and with a thousand million things no value is not-a-number. */
static void rows_bear(const qx_family *family, double psi)
{
    static const double far[] = {-1000, -30, 0, 30, 1000};
    static const double ks[] = {0, 1, 1e9};
    for (size_t e = 0; e < QX_COUNT(far); e++) {
        for (size_t i = 0; i < QX_COUNT(ks); i++) {
            const cell c = row_at(
                family, family->default_link, ks[i], 1e9, far[e], psi, QX_ROWS_ALL);
            assert_true(!isnan(c.l));
            assert_false(isfinite(c.l) && (isnan(c.g) || isnan(c.h) || isnan(c.t)));
        }
    }
}

static void rows_bear_the_extremes(void **state)
{
    (void)state;
    walk(rows_bear);
}

static void refuses(const qx_family *family, double psi)
{
    const double k[] = {0, -1, 2.5, NAN, INFINITY, 3, 13};
    const double size[] = {0, 12, 12, 12, 12, 12, 12};
    size_t row[8];
    const char *why = NULL;
    const size_t wrong = family->serves == QX_SERVES_SHARE ? 5 : 4;
    (void)psi;
    assert_true(qx_family_refused(family, 7, k, size, 8, row, &why) == wrong);
    assert_non_null(why);
    for (size_t i = 0; i < 4; i++) {
        assert_true(row[i] == i + 1);
    }
    assert_true(wrong == 4 || row[4] == 6);
}

static void values_outside_are_refused_with_their_rows(void **state)
{
    (void)state;
    walk(refuses);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_family_says_what_it_is),
        cmocka_unit_test(score_is_the_slope_of_the_likelihood),
        cmocka_unit_test(probabilities_add_up),
        cmocka_unit_test(deviance_is_nil_at_saturation),
        cmocka_unit_test(draws_have_mean_and_variance),
        cmocka_unit_test(dispersion_there_and_back),
        cmocka_unit_test(rows_are_consistent),
        cmocka_unit_test(rows_bear_the_extremes),
        cmocka_unit_test(values_outside_are_refused_with_their_rows),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
