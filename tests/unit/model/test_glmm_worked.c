/* Worked examples of handbooks and papers, values from their pages or, where said, from R. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "model/overdispersion.h"
#include "support.h"

#define MOST 64

/* One or two factors, a response, sizes and times, as arrays. */
typedef struct example {
    qx_factor factor[3];
    uint32_t code[3][MOST];
    qx_frame frame;
    qx_term term[3];
    qx_glmm_spec spec;
} example;

static const char *const LEVEL[] = {"1", "2", "3", "4", "5", "6", "7", "8", "9"};

static void begin(example *e, size_t n, const double k[], const char *family)
{
    memset(e, 0, sizeof *e);
    e->frame = (qx_frame){.n = n, .factor = e->factor};
    e->spec = (qx_glmm_spec){.frame = &e->frame,
                             .k = k,
                             .term = e->term,
                             .family = qx_family_find(family),
                             .level = 0.95};
    e->spec.link = e->spec.family->default_link;
}

static size_t add_factor(example *e, const char *name, size_t levels)
{
    const size_t f = e->frame.factor_count++;
    e->factor[f] = (qx_factor){
        .name = name, .level_count = levels, .level = LEVEL, .code = e->code[f]};
    return f;
}

static void add_term(example *e, const char *name, size_t count, size_t a, size_t b)
{
    e->term[e->spec.term_count++] = (qx_term){
        .name = name, .factor_count = count, .factor = {a, b}, .number = QX_NO_COLUMN};
}

static qx_glmm *fit_of(qx_ctx *cx, const example *e)
{
    qx_glmm *fit = NULL;
    assert_ok(cx, qx_glmm_fit(cx, &e->spec, &fit));
    assert_true(fit->converged);
    return fit;
}

static double se_of(const qx_glmm *fit, size_t j)
{
    return sqrt(QX_AT(fit->covariance, j, j));
}

/* Source: Bliss & Fisher 1953, Biometrics 9:176-200: red mites on 150 apple leaves. k of the
 * page 1.02459; more digits, and the log-likelihoods, by R (optimize, dnbinom, dpois). */
static void bliss_fisher_1953_mites(void **state)
{
    static const double mites[] = {0, 1, 2, 3, 4, 5, 6, 7};
    static const double leaves[] = {70, 38, 17, 10, 9, 3, 2, 1};
    qx_ctx *cx = *state;
    example e;
    begin(&e, 8, mites, "poisson");
    e.spec.times = leaves;
    qx_glmm *poisson = fit_of(cx, &e);
    assert_digits(poisson->log_likelihood, "-242.8099408", 10);
    assert_true(poisson->residual_df == 149);
    e.spec.extra = QX_EXTRA_MODELLED;
    qx_glmm *wide = fit_of(cx, &e);
    assert_printed(wide->dispersion, "1.02459");
    assert_digits(wide->dispersion, "1.024592387", 8);
    assert_digits(wide->log_likelihood, "-222.4371536", 10);
    assert_printed(exp(wide->beta[0]), "1.1467");
    qx_glmm_free(poisson);
    qx_glmm_free(wide);
}

/* Source: Crowder 1978, Appl Stat 27:34-37, seeds of two kinds on two extracts, 21 plates;
 * coefficients of the binomial model as in Breslow & Clayton 1993, J Am Stat Assoc 88:9-25,
 * Table 4; more digits and quadrature by R (glm, glmer with 25 points). */
static void seeds(example *e, double k[], double n[])
{
    static const double r[] = {10, 23, 23, 26, 17, 5, 53, 55, 32, 46, 10,
                               8,  10, 8,  23, 0,  3, 22, 15, 32, 3};
    static const double of[] = {39, 62, 81, 51, 39, 6,  74, 72, 51, 79, 13,
                                16, 30, 28, 45, 4,  12, 41, 30, 51, 7};
    memcpy(k, r, sizeof r);
    memcpy(n, of, sizeof of);
    begin(e, 21, k, "binomial");
    e->spec.size = n;
    const size_t seed = add_factor(e, "seed", 2), extract = add_factor(e, "extract", 2);
    for (size_t i = 0; i < 21; i++) {
        e->code[seed][i] = i >= 11;
        e->code[extract][i] = (i >= 5 && i < 11) || i >= 16;
    }
    add_term(e, "seed", 1, seed, 0);
    add_term(e, "extract", 1, extract, 0);
    add_term(e, "seed:extract", 2, seed, extract);
}

static void crowder_1978_seeds(void **state)
{
    double k[21], n[21];
    example e;
    seeds(&e, k, n);
    qx_glmm *fit = fit_of(*state, &e);
    assert_printed(fit->beta[0], "-0.56");
    assert_digits(fit->beta[0], "-0.5581717444", 9);
    assert_digits(fit->beta[1], "0.1459269493", 9);
    assert_digits(fit->beta[2], "1.31818187", 9);
    assert_digits(fit->beta[3], "-0.7781037035", 9);
    assert_digits(se_of(fit, 0), "0.1260212558", 8);
    assert_digits(se_of(fit, 1), "0.2231659331", 8);
    assert_digits(se_of(fit, 2), "0.1774676849", 8);
    assert_digits(se_of(fit, 3), "0.3064331973", 8);
    assert_printed(fit->deviance, "33.28");
    assert_digits(fit->deviance, "33.27778569", 9);
    assert_digits(fit->pearson_chisq, "31.651145", 8);
    assert_true(fit->residual_df == 17);
    qx_glmm_free(fit);
}

/* Other links, without the interaction: by R's glm to 1e-15, standard errors from X'WX there
 * (X, W by model.matrix, mu.eta). */
static void crowder_1978_seeds_other_links(void **state)
{
    static const struct {
        qx_link link;
        const char *beta[3], *se[3], *log_likelihood, *deviance;
    } want[] = {
        {QX_LINK_PROBIT,
         {"-0.26796712016105", "-0.16585833958604", "0.66316026974038"},
         {"0.07048275149575", "0.09541100548598", "0.08894155261234"},
         "-58.148887101869",
         "39.701519244728"},
        {QX_LINK_CLOGLOG,
         {"-0.69380472985019", "-0.21918434433365", "0.77066163367591"},
         {"0.08848849821123", "0.11004353499840", "0.10416623315685"},
         "-57.624783753479",
         "38.653312547948"},
    };
    for (size_t l = 0; l < QX_COUNT(want); l++) {
        double k[21], n[21];
        example e;
        seeds(&e, k, n);
        e.spec.term_count = 2;
        e.spec.link = want[l].link;
        qx_glmm *fit = fit_of(*state, &e);
        for (size_t j = 0; j < 3; j++) {
            assert_digits(fit->beta[j], want[l].beta[j], 9);
            assert_digits(se_of(fit, j), want[l].se[j], 9);
        }
        assert_digits(fit->log_likelihood, want[l].log_likelihood, 11);
        assert_digits(fit->deviance, want[l].deviance, 11);
        qx_glmm_free(fit);
    }
}

static void crowder_1978_seeds_scaled(void **state)
{
    double k[21], n[21];
    example e;
    seeds(&e, k, n);
    e.spec.extra = QX_EXTRA_SCALED;
    qx_glmm *fit = fit_of(*state, &e);
    assert_digits(fit->dispersion, "1.861832059", 9);
    assert_true(fit->df == 17);
    assert_near(se_of(fit, 0), 0.1260212558 * sqrt(1.861832059), 1e-8);
    qx_glmm_free(fit);
}

/* Estimates: each plate's integral by R's integrate (relative 1e-13), the sum maximised by
 * optim's BFGS to 1e-15; R's glmer stops where the second coefficient has three digits
 * (0.09693). 5 digits: what a value good to 1e-13 gives of its place. Standard errors: glmer's
 * with 25 points, 4 digits for the same reason. */
static void crowder_1978_seeds_by_quadrature(void **state)
{
    double k[21], n[21];
    example e;
    seeds(&e, k, n);
    e.spec.extra = QX_EXTRA_UNIT;
    e.spec.unit_name = "plate";
    e.spec.quadrature = 25;
    qx_glmm *fit = fit_of(*state, &e);
    assert_true(fit->m == 1);
    assert_string_equal(fit->component[0].name, "plate");
    assert_digits(fit->beta[0], "-0.5484315666", 5);
    assert_digits(fit->beta[1], "0.0969888186", 5);
    assert_digits(fit->beta[2], "1.3370392178", 5);
    assert_digits(fit->beta[3], "-0.8104567558", 5);
    assert_digits(se_of(fit, 0), "0.1665980865", 4);
    assert_digits(se_of(fit, 1), "0.2780503322", 4);
    assert_digits(se_of(fit, 2), "0.2369429415", 4);
    assert_digits(se_of(fit, 3), "0.385179693", 4);
    assert_digits(fit->sd[0], "0.2362422544", 5);
    qx_glmm_free(fit);
}

/* Source: Gomez & Gomez 1984, Statistical Procedures for Agricultural Research, 2nd ed.,
 * p. 300, Table 7.16: larvae in 4 replications of 9 treatments; Poisson values by R. */
static void gomez_1984_larvae(void **state)
{
    static const double larvae[] = {9, 4,  6,  9, 27, 35, 1, 10, 4,  12, 8,  15,
                                    6, 17, 28, 0, 0,  10, 0, 5,  6,  4,  10, 2,
                                    0, 2,  15, 1, 1,  2,  5, 10, 15, 0,  1,  5};
    qx_ctx *cx = *state;
    example e;
    qx_mat L;
    qx_glmm_test test;
    begin(&e, 36, larvae, "poisson");
    e.spec.extra = QX_EXTRA_SCALED;
    const size_t rep = add_factor(&e, "rep", 4), trt = add_factor(&e, "trt", 9);
    for (size_t i = 0; i < 36; i++) {
        e.code[rep][i] = (uint32_t)(i / 9);
        e.code[trt][i] = (uint32_t)(i % 9);
    }
    add_term(&e, "rep", 1, rep, 0);
    add_term(&e, "trt", 1, trt, 0);
    qx_glmm *fit = fit_of(cx, &e);
    assert_digits(fit->deviance, "76.35957895", 9);
    assert_digits(fit->pearson_chisq, "68.7323523", 8);
    assert_true(fit->residual_df == 24);
    assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &fit->design, 1, &L));
    assert_ok(cx, qx_glmm_test_rows(cx, fit, L, &test));
    /* By R from the two deviances and Pearson's chi-squared, converged to 1e-14. Its own table
     * (6.911595003) takes the dispersion from the iteration before the last. */
    assert_digits(test.f, "6.91162135939", 9);
    assert_true(test.num_df == 8 && test.den_df == 24);
    assert_string_equal(test.method, "quasi-likelihood F");
    qx_glmm_free(fit);
}

/* The counts of Bliss & Fisher vary more than Poisson counts, whatever is asked. The ratio
 * of Pearson's chi-squared to its df is the variance over the mean, 2.273646532/1.146666667
 * (printed 2.2736 and 1.1467); the likelihood ratio follows from the two log-likelihoods
 * above. Dean's statistic of a sample without covariates, by hand from the two moments:
 * (sum (k - m)^2 - sum k + m) / sqrt(2 n m^2). */
static void mites_vary_more_than_poisson(void **state)
{
    static const double mites[] = {0, 1, 2, 3, 4, 5, 6, 7};
    static const double leaves[] = {70, 38, 17, 10, 9, 3, 2, 1};
    qx_ctx *cx = *state;
    example e;
    qx_overdispersion found;
    qx_glmm *wider = NULL;
    begin(&e, 8, mites, "poisson");
    e.spec.times = leaves;
    qx_glmm *fit = fit_of(cx, &e);
    assert_ok(cx, qx_overdispersion_test(cx, &e.spec, fit, &found, &wider));
    const double mean = 172.0 / 150.0, variance = 2.273646532;
    assert_near(found.pearson_ratio, variance / mean, 1e-9);
    assert_near(
        found.score, (149 * variance - 172 + mean) / sqrt(2 * 150 * mean * mean), 1e-9);
    assert_near(found.lrt, 2 * (242.8099408 - 222.4371536), 1e-8);
    assert_true(found.lrt_p < 1e-9 && found.score_p < 1e-9 && found.pearson_p < 1e-9);
    assert_true(found.can_show && qx_overdispersion_choose(&found, 0.05));
    assert_non_null(wider);
    assert_printed(found.dispersion, "1.02459");
    qx_glmm_free(wider);
    qx_glmm_free(fit);
}

/* Ones and noughts cannot show extra variation. */
static void single_things_show_nothing(void **state)
{
    static const double k[] = {1, 0, 1, 1, 0, 1, 0, 0};
    static const double n[] = {1, 1, 1, 1, 1, 1, 1, 1};
    example e;
    qx_overdispersion found;
    begin(&e, 8, k, "binomial");
    e.spec.size = n;
    qx_glmm *fit = fit_of(*state, &e);
    assert_ok(*state, qx_overdispersion_test(*state, &e.spec, fit, &found, NULL));
    assert_false(found.can_show);
    assert_true(isnan(found.lrt) && !qx_overdispersion_choose(&found, 0.05));
    qx_glmm_free(fit);
}

#define WITH_CTX(test)                                                                   \
    cmocka_unit_test_setup_teardown(test, support_ctx_new, support_ctx_free)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_CTX(bliss_fisher_1953_mites),
        WITH_CTX(crowder_1978_seeds),
        WITH_CTX(crowder_1978_seeds_other_links),
        WITH_CTX(crowder_1978_seeds_scaled),
        WITH_CTX(crowder_1978_seeds_by_quadrature),
        WITH_CTX(gomez_1984_larvae),
        WITH_CTX(mites_vary_more_than_poisson),
        WITH_CTX(single_things_show_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
