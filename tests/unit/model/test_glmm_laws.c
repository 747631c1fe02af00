/* Laws that fits of counts and shares obey, and data that leave little or nothing to
 * estimate. Invented data from a seeded generator. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/glmm_bootstrap.h"
#include "numeric/dist.h"
#include "support.h"

#define BLOCKS 5
#define LEVELS 3
#define SHOOTS 4
#define ROWS   (BLOCKS * LEVELS * SHOOTS)
#define OF     8.0

/* Blocks of three treatments, a tree each with four limbs. */
typedef struct layout {
    qx_factor factor[4];
    uint32_t treatment[ROWS], block[ROWS], tree[ROWS];
    qx_frame frame;
    qx_term term;
    qx_random_term random[2];
    double k[ROWS], size[ROWS], times[ROWS];
    qx_glmm_spec spec;
} layout;

static const char *const LEVEL[] = {"none", "early", "late"};

static void lay_out(layout *l, const char *family)
{
    qx_rng rng = qx_rng_seeded(11);
    double tree = 0.0;
    memset(l, 0, sizeof *l);
    for (size_t i = 0; i < ROWS; i++) {
        l->tree[i] = (uint32_t)(i / SHOOTS);
        l->block[i] = l->tree[i] / LEVELS;
        l->treatment[i] = l->tree[i] % LEVELS;
        tree = i % SHOOTS == 0 ? 0.6 * qx_rng_normal(&rng) : tree;
        const double eta = tree + 0.3 * l->block[i] + (l->treatment[i] == 1 ? 1 : -0.3);
        l->size[i] = OF;
        l->times[i] = 1.0;
        l->k[i] =
            qx_family_binomial.simulate(&rng, OF, qx_link_mean(QX_LINK_LOGIT, eta), 0.0);
    }
    l->factor[0] = (qx_factor){
        .name = "treatment", .level_count = LEVELS, .level = LEVEL, .code = l->treatment};
    l->factor[1] = (qx_factor){.name = "block", .level_count = BLOCKS, .code = l->block};
    l->factor[2] = (qx_factor){
        .name = "block:tree", .level_count = BLOCKS * LEVELS, .code = l->tree};
    l->frame = (qx_frame){.n = ROWS, .factor_count = 3, .factor = l->factor};
    l->term = (qx_term){.name = "treatment", .factor_count = 1, .number = QX_NO_COLUMN};
    l->random[0] = (qx_random_term){"block", 1};
    l->random[1] = (qx_random_term){"block:tree", 2};
    l->spec = (qx_glmm_spec){.frame = &l->frame,
                             .k = l->k,
                             .size = l->size,
                             .term_count = 1,
                             .term = &l->term,
                             .random_count = 2,
                             .random = l->random,
                             .family = qx_family_find(family),
                             .level = 0.95};
    l->spec.link = l->spec.family->default_link;
}

static qx_glmm *fit_of(qx_ctx *cx, const layout *l)
{
    qx_glmm *fit = NULL;
    assert_ok(cx, qx_glmm_fit(cx, &l->spec, &fit));
    return fit;
}

static void finite(const qx_glmm *fit)
{
    assert_true(isfinite(fit->log_likelihood) && isfinite(fit->deviance));
    for (size_t j = 0; j < fit->p; j++) {
        assert_true(isfinite(fit->beta[j]) && isfinite(QX_AT(fit->covariance, j, j)));
    }
    for (size_t i = 0; i < fit->n; i++) {
        assert_true(isfinite(fit->eta[i]) && isfinite(fit->fitted[i]));
    }
}

static void same(const qx_glmm *a, const qx_glmm *b)
{
    assert_near(b->log_likelihood, a->log_likelihood, 1e-10);
    for (size_t j = 0; j < a->p; j++) {
        assert_near(b->beta[j], a->beta[j], 1e-6);
        assert_near(QX_AT(b->covariance, j, j), QX_AT(a->covariance, j, j), 1e-5);
    }
    for (size_t k = 0; k < a->m; k++) {
        assert_near(b->sd[k], a->sd[k], 1e-6);
    }
}

/* ---- laws ------------------------------------------------------------------------------ */

static void order_of_rows_changes_nothing(void **state)
{
    layout a, b;
    lay_out(&a, "betabin");
    lay_out(&b, "betabin");
    for (size_t i = 0; i < ROWS; i++) {
        const size_t from = (i * 7) % ROWS;
        b.k[i] = a.k[from];
        b.treatment[i] = a.treatment[from];
        b.block[i] = a.block[from];
        b.tree[i] = a.tree[from];
    }
    qx_glmm *x = fit_of(*state, &a), *y = fit_of(*state, &b);
    assert_true(x->converged && y->converged);
    same(x, y);
    qx_glmm_free(x);
    qx_glmm_free(y);
}

/* A row that stands for two says what two rows say. */
static void times_is_so_many_rows(void **state)
{
    static const char *const family[] = {"poisson", "negbin", "binomial"};
    for (size_t f = 0; f < QX_COUNT(family); f++) {
        layout a, b;
        lay_out(&a, family[f]);
        lay_out(&b, family[f]);
        a.spec.random_count = b.spec.random_count = 0;
        a.frame.n = b.frame.n = ROWS / 2;
        a.spec.times = a.times;
        for (size_t i = 0; i < ROWS / 2; i++) {
            a.times[i] = 2.0;
            a.k[i] = b.k[i];
        }
        b.frame.n = ROWS;
        for (size_t i = 0; i < ROWS / 2; i++) {
            b.k[ROWS / 2 + i] = b.k[i];
            b.treatment[ROWS / 2 + i] = b.treatment[i];
        }
        qx_glmm *x = fit_of(*state, &a), *y = fit_of(*state, &b);
        same(x, y);
        assert_true(x->residual_df == y->residual_df);
        qx_glmm_free(x);
        qx_glmm_free(y);
    }
}

/* An effect for each thing: three alike things are three effects. */
static void times_with_effects_is_so_many_rows(void **state)
{
    layout a, b;
    lay_out(&a, "poisson");
    lay_out(&b, "poisson");
    a.spec.random_count = b.spec.random_count = 0;
    a.spec.extra = b.spec.extra = QX_EXTRA_UNIT;
    a.frame.n = ROWS / 3;
    a.spec.times = a.times;
    for (size_t i = 0; i < ROWS; i++) {
        a.times[i] = 3.0;
        b.k[i] = a.k[i / 3];
        b.treatment[i] = a.treatment[i / 3];
    }
    qx_glmm *x = fit_of(*state, &a), *y = fit_of(*state, &b);
    same(x, y);
    qx_glmm_free(x);
    qx_glmm_free(y);
}

/* k of n and n - k of n: all signs turn. */
static void what_is_not_is_the_mirror(void **state)
{
    layout a, b;
    lay_out(&a, "binomial");
    lay_out(&b, "binomial");
    for (size_t i = 0; i < ROWS; i++) {
        b.k[i] = OF - a.k[i];
    }
    qx_glmm *x = fit_of(*state, &a), *y = fit_of(*state, &b);
    assert_near(y->log_likelihood, x->log_likelihood, 1e-10);
    for (size_t j = 0; j < x->p; j++) {
        assert_near(-y->beta[j], x->beta[j], 1e-6);
    }
    qx_glmm_free(x);
    qx_glmm_free(y);
}

/* Two units that always go together: the larger has no estimate, and that is said. */
static void doubled_unit_is_given_up(void **state)
{
    qx_ctx *cx = *state;
    layout a, b;
    lay_out(&a, "binomial");
    lay_out(&b, "binomial");
    a.spec.random_count = 1;
    a.random[0] = b.random[0] = a.random[1];
    b.factor[1] = b.factor[2];
    b.random[1].factor = 1;
    qx_glmm *x = fit_of(cx, &a);
    const size_t before = qx_ctx_note_count(cx);
    qx_glmm *y = fit_of(cx, &b);
    assert_true(qx_ctx_note_count(cx) == before + 1);
    assert_near(y->log_likelihood, x->log_likelihood, 1e-10);
    assert_true(isnan(y->component[0].variance));
    assert_near(y->component[1].variance, x->component[0].variance, 1e-6);
    qx_glmm_free(x);
    qx_glmm_free(y);
}

/* ---- means ----------------------------------------------------------------------------- */

/* Averaged over effects by a plain sum over a fine grid; the standard error by differences of
 * the mean in every parameter. */
static void mean_over_units(void **state)
{
    qx_ctx *cx = *state;
    layout l;
    lay_out(&l, "binomial");
    qx_glmm *fit = fit_of(cx, &l);
    const double row[] = {1, 1, 0};
    double numbers[3], slope[8];
    qx_glmm_mean seen, typical;
    memcpy(numbers, row, sizeof row);
    const qx_mat one = qx_mat_of(numbers, 3, 1);
    assert_ok(cx, qx_glmm_mean_of(cx, fit, one, true, slope, &seen));
    assert_ok(cx, qx_glmm_mean_of(cx, fit, one, false, NULL, &typical));
    const double eta = fit->beta[0] + fit->beta[1];
    const double s = sqrt(fit->sd[0] * fit->sd[0] + fit->sd[1] * fit->sd[1]);
    double sum = 0.0;
    for (int i = -4000; i <= 4000; i++) {
        const double z = i * 0.002;
        sum += 0.002 * qx_normal_density(z) / (1 + exp(-eta - s * z));
    }
    assert_near(seen.estimate, sum, 1e-9);
    assert_near(typical.estimate, 1 / (1 + exp(-eta)), 1e-12);
    assert_true(seen.lower < seen.estimate && seen.estimate < seen.upper);
    assert_true(seen.lower > 0 && seen.upper < 1);
    assert_near(seen.se, sqrt(qx_glmm_slopes_covariance(fit, slope, slope)), 1e-12);
    const double width = qx_normal_q(0.025, QX_UPPER) * seen.link_se;
    assert_near(
        seen.upper, qx_link_mean(QX_LINK_LOGIT, seen.link_estimate + width), 1e-12);
    qx_glmm_free(fit);
}

/* ---- again, drawn and bootstrapped ----------------------------------------------------- */

static void refit_is_a_fit(void **state)
{
    static const char *const family[] = {"binomial", "betabin", "poisson"};
    qx_ctx *cx = *state;
    for (size_t f = 0; f < QX_COUNT(family); f++) {
        layout l;
        double other[ROWS], beta[LEVELS], sd[2];
        qx_glmm_quick quick = {.beta = beta, .sd = sd};
        lay_out(&l, family[f]);
        qx_glmm *fit = fit_of(cx, &l);
        for (size_t i = 0; i < ROWS; i++) {
            other[i] = l.k[(i + SHOOTS * LEVELS) % ROWS];
        }
        assert_ok(cx, qx_glmm_refit(cx, fit, other, true, &quick));
        l.spec.k = other;
        qx_glmm *direct = fit_of(cx, &l);
        assert_true(quick.converged);
        assert_true(fabs(quick.log_likelihood - direct->log_likelihood) < 1e-6);
        for (size_t j = 0; j < fit->p; j++) {
            const double se = sqrt(QX_AT(direct->covariance, j, j));
            assert_true(fabs(beta[j] - direct->beta[j]) < 1e-2 * se);
        }
        other[3] = -1;
        assert_fails(cx,
                     qx_glmm_refit(cx, fit, other, true, &quick),
                     QX_E_INPUT,
                     "row 4 cannot be");
        qx_glmm_free(fit);
        qx_glmm_free(direct);
    }
}

static void bootstrap_counts_the_extremes(void **state)
{
    qx_ctx *cx = *state;
    layout l;
    double ratio[199];
    qx_glmm_bootstrap found, again;
    qx_glmm_test test;
    qx_mat L;
    size_t above = 0;
    lay_out(&l, "binomial");
    qx_glmm *fit = fit_of(cx, &l);
    assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &fit->design, 0, &L));
    assert_ok(cx, qx_glmm_test_rows(cx, fit, L, &test));
    assert_ok(cx, qx_glmm_bootstrap_rows(cx, fit, L, 199, 5, ratio, &found));
    assert_near(found.observed, test.chisq, 1e-9);
    for (size_t i = 0; i < 199; i++) {
        above += ratio[i] >= found.observed;
    }
    assert_true(found.failed == 0 && found.replicates == 199);
    assert_near(found.p, (1.0 + (double)above) / 200.0, 1e-15);
    assert_ok(cx, qx_glmm_bootstrap_rows(cx, fit, L, 199, 5, NULL, &again));
    assert_true(again.p == found.p);
    assert_fails(cx,
                 qx_glmm_bootstrap_rows(cx, fit, L, 0, 5, NULL, &again),
                 QX_E_ARG,
                 "no replicates");
    qx_glmm_free(fit);
}

/* Under the hypothesis the ratio is near chi-squared: its mean is the df. Five standard
 * errors of a chi-squared mean with 2 df over 400 draws, and half again for small samples. */
static void bootstrap_ratios_are_like_chi_squared(void **state)
{
    qx_ctx *cx = *state;
    layout l;
    double ratio[400], sum = 0;
    qx_glmm_bootstrap found;
    qx_mat L;
    lay_out(&l, "binomial");
    l.spec.random_count = 0;
    qx_glmm *fit = fit_of(cx, &l);
    assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &fit->design, 0, &L));
    assert_ok(cx, qx_glmm_bootstrap_rows(cx, fit, L, 400, 9, ratio, &found));
    for (size_t i = 0; i < 400; i++) {
        assert_true(ratio[i] >= 0);
        sum += ratio[i];
    }
    assert_true(fabs(sum / 400 - 2) < 5 * 2 / 20.0 * 1.5);
    qx_glmm_free(fit);
}

/* ---- little or nothing to estimate ----------------------------------------------------- */

/* Every bud of one treatment broke: the others keep their estimates. */
static void separation_is_told(void **state)
{
    qx_ctx *cx = *state;
    for (size_t mixed = 0; mixed < 2; mixed++) {
        layout l;
        lay_out(&l, "binomial");
        l.spec.random_count = mixed * 2;
        for (size_t i = 0; i < ROWS; i++) {
            l.k[i] = l.treatment[i] == 1 ? OF : l.k[i];
        }
        qx_glmm *fit = fit_of(cx, &l);
        assert_true(fit->separated);
        assert_false(fit->separated_column[0]);
        assert_true(fit->separated_column[1]);
        assert_false(fit->separated_column[2]);
        assert_true(fabs(fit->beta[1]) < 50);
        finite(fit);
        l.spec.penalise = true;
        qx_glmm *kept = fit_of(cx, &l);
        assert_false(kept->separated);
        assert_true(kept->converged);
        assert_true(kept->beta[1] > 2 && kept->beta[1] < 12);
        assert_true(sqrt(QX_AT(kept->covariance, 1, 1)) < 5);
        qx_glmm_free(fit);
        qx_glmm_free(kept);
    }
}

/* One share: Jeffreys' prior is (k + 1/2)/(n + 1) by hand (Firth 1993). */
static void penalty_of_one_share_is_half_a_thing(void **state)
{
    layout l;
    lay_out(&l, "binomial");
    l.frame.n = 1;
    l.spec.term_count = l.spec.random_count = 0;
    l.spec.penalise = true;
    l.k[0] = OF;
    qx_glmm *fit = fit_of(*state, &l);
    assert_near(fit->fitted[0], (OF + 0.5) / (OF + 1), 1e-9);
    const double w = OF * fit->fitted[0] * (1 - fit->fitted[0]);
    assert_near(fit->penalty, 0.5 * log(w), 1e-9);
    assert_near(fit->log_likelihood, OF * log(fit->fitted[0]), 1e-9);
    qx_glmm_free(fit);
}

static void all_alike(const char *family, double k)
{
    qx_ctx *cx = qx_ctx_new();
    for (size_t mixed = 0; mixed < 2; mixed++) {
        layout l;
        lay_out(&l, family);
        l.spec.random_count = 2 * mixed;
        for (size_t i = 0; i < ROWS; i++) {
            l.k[i] = k;
        }
        qx_glmm *fit = fit_of(cx, &l);
        if (!fit->separated) {
            fail_msg("%s of %g, mixed %zu: not told", family, k, mixed);
        }
        finite(fit);
        assert_true(fit->log_likelihood <= 1e-9);
        qx_glmm_free(fit);
    }
    qx_ctx_free(cx);
}

static void all_none_and_all_whole(void **state)
{
    (void)state;
    all_alike("binomial", 0);
    all_alike("binomial", OF);
    all_alike("poisson", 0);
    all_alike("betabin", 0);
    all_alike("negbin", 0);
}

static void rows_of_nothing_say_nothing(void **state)
{
    layout a, b;
    lay_out(&a, "binomial");
    lay_out(&b, "binomial");
    a.frame.n = ROWS - 1;
    b.k[ROWS - 1] = b.size[ROWS - 1] = 0;
    qx_glmm *x = fit_of(*state, &a), *y = fit_of(*state, &b);
    same(x, y);
    assert_true(x->residual_df == y->residual_df);
    double residual[ROWS];
    assert_ok(*state, qx_glmm_residuals(*state, y, QX_RESIDUAL_PEARSON, 1, residual));
    assert_true(isnan(residual[ROWS - 1]) && isfinite(residual[0]));
    qx_glmm_free(x);
    qx_glmm_free(y);
}

/* A thousand million things a row: log-odds are those of the sums, the standard error of an
 * empty model sqrt(1/(N p q)). */
static void huge_numbers(void **state)
{
    layout l;
    lay_out(&l, "binomial");
    l.spec.term_count = l.spec.random_count = 0;
    for (size_t i = 0; i < ROWS; i++) {
        l.size[i] = 1e9;
        l.k[i] = 3e8;
    }
    qx_glmm *fit = fit_of(*state, &l);
    assert_true(fit->converged);
    assert_near(fit->beta[0], log(3.0 / 7.0), 1e-12);
    assert_near(sqrt(QX_AT(fit->covariance, 0, 0)), 1 / sqrt(ROWS * 1e9 * 0.21), 1e-9);
    qx_glmm_free(fit);
    lay_out(&l, "negbin");
    l.spec.random_count = 0;
    for (size_t i = 0; i < ROWS; i++) {
        l.k[i] = 1e9 + 1e8 * (double)(i % 5);
    }
    qx_glmm *wide = fit_of(*state, &l);
    assert_true(wide->converged);
    finite(wide);
    assert_near(exp(wide->beta[0]), 1.2e9, 1e-6);
    qx_glmm_free(wide);
}

/* Counts so large that log L is a small difference of large terms: the same answer, scaled,
 * as long as it can be had (sums of 10^3 and of 10^6 differ by Poisson chance alone, which is
 * nothing beside the variation between units), and a refusal in words beyond. */
static void large_counts_lose_nothing(void **state)
{
    qx_ctx *cx = *state;
    static const double by[] = {1e3, 1e4, 1e6};
    double slope = NAN;
    for (size_t i = 0; i < QX_COUNT(by); i++) {
        layout l;
        lay_out(&l, "negbin");
        for (size_t r = 0; r < ROWS; r++) {
            l.k[r] = by[i] * (double)(2 + r * 7 % 11);
        }
        qx_glmm *fit = fit_of(cx, &l);
        assert_true(fit->converged);
        finite(fit);
        if (i > 0) {
            assert_near(fit->beta[1], slope, i == 1 ? 1e-2 : 1e-3);
        }
        slope = fit->beta[1];
        qx_glmm_free(fit);
    }
    layout l;
    lay_out(&l, "negbin");
    for (size_t r = 0; r < ROWS; r++) {
        l.k[r] = 1e15 + (double)r;
    }
    qx_glmm *fit;
    assert_fails(cx, qx_glmm_fit(cx, &l.spec, &fit), QX_E_INPUT, "1e+15");
}

static void one_row_and_two_rows(void **state)
{
    static const char *const family[] = {"binomial", "poisson", "negbin", "betabin"};
    for (size_t f = 0; f < QX_COUNT(family); f++) {
        for (size_t n = 1; n <= 2; n++) {
            layout l;
            lay_out(&l, family[f]);
            l.frame.n = n;
            l.spec.term_count = 0;
            l.k[0] = 3;
            qx_glmm *fit = fit_of(*state, &l);
            finite(fit);
            qx_glmm_free(fit);
        }
    }
}

/* Counts that vary less than Poisson counts: the spread is nil, theta has no bound. */
static void too_even_for_extra_variation(void **state)
{
    layout l;
    lay_out(&l, "negbin");
    l.spec.random_count = 0;
    for (size_t i = 0; i < ROWS; i++) {
        l.k[i] = 5 + (double)(i % 2);
    }
    qx_glmm *fit = fit_of(*state, &l);
    assert_true(fit->converged && fit->dispersion_at_bound);
    assert_true(fit->dispersion == (double)INFINITY && isnan(fit->dispersion_se));
    l.spec.family = &qx_family_poisson;
    qx_glmm *plain = fit_of(*state, &l);
    assert_near(fit->log_likelihood, plain->log_likelihood, 1e-10);
    qx_glmm_free(fit);
    qx_glmm_free(plain);
}

static void what_cannot_be_is_refused(void **state)
{
    qx_ctx *cx = *state;
    layout l;
    qx_glmm *fit = NULL;
    lay_out(&l, "binomial");
    l.k[4] = 9;
    l.k[6] = -1;
    l.k[7] = 1.5;
    assert_fails(cx,
                 qx_glmm_fit(cx, &l.spec, &fit),
                 QX_E_INPUT,
                 "3 values cannot be (rows 5, 7, 8): at most as many");
    lay_out(&l, "binomial");
    l.spec.link = QX_LINK_LOG;
    assert_fails(cx,
                 qx_glmm_fit(cx, &l.spec, &fit),
                 QX_E_ARG,
                 "the link log is not for binomial responses");
    lay_out(&l, "binomial");
    l.spec.size = NULL;
    assert_fails(cx, qx_glmm_fit(cx, &l.spec, &fit), QX_E_ARG, "of how many");
    lay_out(&l, "poisson");
    l.spec.times = l.times;
    l.times[2] = 0;
    assert_fails(cx, qx_glmm_fit(cx, &l.spec, &fit), QX_E_ARG, "row 3 stands for no");
    lay_out(&l, "negbin");
    l.spec.extra = QX_EXTRA_SCALED;
    assert_fails(cx, qx_glmm_fit(cx, &l.spec, &fit), QX_E_ARG, "spread of their own");
    lay_out(&l, "binomial");
    l.spec.quadrature = 7;
    assert_fails(cx, qx_glmm_fit(cx, &l.spec, &fit), QX_E_ARG, "one random term");
    assert_null(fit);
}

static void hypotheses_that_cannot_be_are_refused(void **state)
{
    qx_ctx *cx = *state;
    layout l;
    qx_glmm_test test;
    double twice[] = {0, 0, 1, 1, 0, 0};
    lay_out(&l, "binomial");
    qx_glmm *fit = fit_of(cx, &l);
    assert_fails(cx,
                 qx_glmm_test_rows(cx, fit, qx_mat_of(twice, 2, 3), &test),
                 QX_E_RANK,
                 "depend on each other");
    assert_fails(cx,
                 qx_glmm_test_rows(cx, fit, qx_mat_of(twice, 3, 2), &test),
                 QX_E_SHAPE,
                 "rows of 3 columns");
    qx_glmm_free(fit);
}

/* Spread and trees explain much the same, and often one of them is nil: every search ends,
 * and no start among three comes higher than the fit. */
static void every_search_ends_at_the_top(void **state)
{
    static const char *const family[] = {"binomial", "betabin", "poisson", "negbin"};
    qx_ctx *cx = *state;
    for (size_t seed = 0; seed < 80; seed++) {
        layout l;
        lay_out(&l, family[seed % 4]);
        qx_rng rng = qx_rng_seeded(seed);
        const double spread = l.spec.family->parameters > 0 ? 0.4 : 0.0;
        const double between = seed % 3 == 0 ? 0.0 : 0.8;
        double tree = 0.0;
        for (size_t i = 0; i < ROWS; i++) {
            tree = i % SHOOTS == 0 ? between * qx_rng_normal(&rng) : tree;
            const double mean = qx_link_mean(l.spec.link, tree + 0.3 * l.treatment[i]);
            l.k[i] = l.spec.family->simulate(&rng, OF, mean, spread);
        }
        qx_glmm *fit = fit_of(cx, &l);
        assert_true(fit->converged && !fit->separated);
        for (size_t k = 0; k < fit->m; k++) {
            qx_glmm_quick quick = {0};
            assert_ok(cx, qx_glmm_refit(cx, fit, l.k, k == 0, &quick));
            assert_true(quick.log_likelihood <= fit->log_likelihood + 1e-6);
        }
        qx_glmm_free(fit);
    }
}

/* One bud each: trees of one bud, and a spread of such shares, cannot be seen. */
static void single_things_show_no_variation(void **state)
{
    qx_ctx *cx = *state;
    layout l;
    lay_out(&l, "binomial");
    for (size_t i = 0; i < ROWS; i++) {
        l.size[i] = 1;
        l.k[i] = l.k[i] > OF / 2;
    }
    l.spec.random_count = 1;
    l.spec.extra = QX_EXTRA_UNIT;
    l.spec.unit_name = "block:tree:bud";
    const size_t before = qx_ctx_note_count(cx);
    qx_glmm *fit = fit_of(cx, &l);
    assert_true(qx_ctx_note_count(cx) == before + 1);
    assert_true(isnan(fit->component[1].variance) && !isnan(fit->component[0].variance));
    l.spec.extra = QX_EXTRA_MODELLED;
    qx_glmm *wide = fit_of(cx, &l);
    assert_true(qx_ctx_note_count(cx) == before + 2);
    assert_true(wide->dispersion_at_bound && wide->converged);
    assert_near(wide->log_likelihood, fit->log_likelihood, 1e-9);
    qx_glmm_free(fit);
    qx_glmm_free(wide);
}

/* ---- residuals ------------------------------------------------------------------------- */

/* Randomised quantiles of the right model are standard normal: mean and variance within five
 * standard errors over many rows. Drawn without units, so that nothing is shrunk. */
static void quantile_residuals_are_normal(void **state)
{
    static const char *const family[] = {"binomial", "betabin", "poisson", "negbin"};
    qx_ctx *cx = *state;
    for (size_t f = 0; f < QX_COUNT(family); f++) {
        layout l;
        double out[ROWS], sum = 0, square = 0;
        size_t count = 0;
        lay_out(&l, family[f]);
        l.spec.random_count = 0;
        qx_glmm *fit = fit_of(cx, &l);
        for (uint64_t seed = 1; seed <= 20; seed++) {
            qx_rng rng = qx_rng_seeded(seed);
            double k[ROWS];
            assert_ok(cx, qx_glmm_simulate(cx, fit, &rng, k));
            l.spec.k = k;
            qx_glmm *again = fit_of(cx, &l);
            assert_ok(cx, qx_glmm_residuals(cx, again, QX_RESIDUAL_QUANTILE, seed, out));
            for (size_t i = 0; i < ROWS; i++, count++) {
                sum += out[i];
                square += out[i] * out[i];
            }
            qx_glmm_free(again);
        }
        const double mean = sum / (double)count;
        const double variance = square / (double)count - mean * mean;
        assert_true(fabs(mean) < 5 / sqrt((double)count));
        /* Three or four parameters are fitted to each 60 rows: down by a fifteenth. */
        assert_true(fabs(variance - 1) < 5 * sqrt(2.0 / (double)count) + 4.0 / ROWS);
        qx_glmm_free(fit);
    }
}

static void residuals_add_up(void **state)
{
    layout l;
    double pearson[ROWS], deviance[ROWS], response[ROWS], sum = 0, parts = 0;
    lay_out(&l, "negbin");
    qx_glmm *fit = fit_of(*state, &l);
    assert_ok(*state, qx_glmm_residuals(*state, fit, QX_RESIDUAL_PEARSON, 0, pearson));
    assert_ok(*state, qx_glmm_residuals(*state, fit, QX_RESIDUAL_DEVIANCE, 0, deviance));
    assert_ok(*state, qx_glmm_residuals(*state, fit, QX_RESIDUAL_RESPONSE, 0, response));
    for (size_t i = 0; i < ROWS; i++) {
        sum += pearson[i] * pearson[i];
        parts += deviance[i] * deviance[i];
        assert_near(response[i], l.k[i] - fit->fitted[i], 1e-12);
        assert_true(response[i] * deviance[i] >= 0);
    }
    assert_near(sum, fit->pearson_chisq, 1e-10);
    assert_near(parts, fit->deviance, 1e-10);
    qx_glmm_free(fit);
}

/* ---- memory ---------------------------------------------------------------------------- */

static qx_status whole_way(qx_ctx *cx, void *given)
{
    const layout *l = given;
    qx_glmm *fit;
    qx_glmm_test test;
    qx_mat L;
    QX_TRY(qx_glmm_fit(cx, &l->spec, &fit));
    qx_status status = qx_design_marginal(cx, fit->arena, &fit->design, 0, &L);
    if (status == QX_OK) {
        status = qx_glmm_test_rows(cx, fit, L, &test);
    }
    if (status == QX_OK) {
        status = qx_glmm_profile_components(cx, fit);
    }
    qx_glmm_free(fit);
    return status;
}

static void no_memory_is_told(void **state)
{
    layout l;
    (void)state;
    lay_out(&l, "binomial");
    assert_true(fail_each_allocation(whole_way, &l) > 100);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(order_of_rows_changes_nothing),
        WITH_CTX(times_is_so_many_rows),
        WITH_CTX(times_with_effects_is_so_many_rows),
        WITH_CTX(what_is_not_is_the_mirror),
        WITH_CTX(doubled_unit_is_given_up),
        WITH_CTX(mean_over_units),
        WITH_CTX(refit_is_a_fit),
        WITH_CTX(bootstrap_counts_the_extremes),
        WITH_CTX(bootstrap_ratios_are_like_chi_squared),
        WITH_CTX(separation_is_told),
        WITH_CTX(penalty_of_one_share_is_half_a_thing),
        WITH_CTX(all_none_and_all_whole),
        WITH_CTX(rows_of_nothing_say_nothing),
        WITH_CTX(huge_numbers),
        WITH_CTX(large_counts_lose_nothing),
        WITH_CTX(one_row_and_two_rows),
        WITH_CTX(too_even_for_extra_variation),
        WITH_CTX(what_cannot_be_is_refused),
        WITH_CTX(hypotheses_that_cannot_be_are_refused),
        WITH_CTX(every_search_ends_at_the_top),
        WITH_CTX(single_things_show_no_variation),
        WITH_CTX(quantile_residuals_are_normal),
        WITH_CTX(residuals_add_up),
        WITH_CTX(no_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
