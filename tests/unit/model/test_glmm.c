/* Fits of counts and shares against tests/reference (values by R 4.2.2, lme4, glmmTMB, MASS;
 * SOURCE.md of each case). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "glmm_case.h"
#include "support.h"

/* Every quantity of the case that a fit answers; `least`: how many there are at least. */
static void hold(const char *name,
                 const model_spelling *how,
                 const char *size,
                 const char *family,
                 qx_extra extra,
                 size_t least)
{
    qx_ctx *cx = qx_ctx_new();
    reference_case *c = reference_open(cx, name);
    qx_glmm_spec spec = glmm_case_spec(cx, c, how, size, family);
    spec.extra = extra;
    qx_glmm *fit = glmm_case_fit(cx, &spec);
    assert_true(glmm_case_check(cx, c, fit, "") >= least);
    qx_glmm_free(fit);
    qx_ctx_free(cx);
}

static void poisson_insectsprays(void **state)
{
    const model_spelling how = {NULL, "count", "spray", "", NULL};
    (void)state;
    hold("poisson-glm-insectsprays", &how, NULL, "poisson", QX_EXTRA_NONE, 100);
}

static void binomial_cbpp(void **state)
{
    const model_spelling how = {NULL, "k", "period", "", NULL};
    (void)state;
    hold("binomial-glm-cbpp", &how, "n", "binomial", QX_EXTRA_NONE, 70);
}

static void quasibinomial_cbpp(void **state)
{
    const model_spelling how = {NULL, "k", "period", "", NULL};
    (void)state;
    hold("quasibinomial-cbpp", &how, "n", "binomial", QX_EXTRA_SCALED, 20);
}

static void betabinomial_cbpp(void **state)
{
    const model_spelling how = {NULL, "k", "period", "", NULL};
    (void)state;
    hold("betabinomial-cbpp", &how, "n", "binomial", QX_EXTRA_MODELLED, 18);
}

static void negative_binomial_quine(void **state)
{
    const model_spelling how = {NULL, "days", "ethnicity sex age learner", "", NULL};
    (void)state;
    hold("negbin-glm-quine", &how, NULL, "poisson", QX_EXTRA_MODELLED, 60);
}

static void binomial_mixed_cbpp(void **state)
{
    const model_spelling how = {NULL, "k", "period", "herd", NULL};
    (void)state;
    hold("binomial-glmm-cbpp", &how, "n", "binomial", QX_EXTRA_NONE, 70);
}

static void binomial_mixed_limbs(void **state)
{
    const model_spelling how = {
        NULL, "bloomed", "pinch angle pinch:angle", "block block:tree", NULL};
    (void)state;
    hold("binomial-glmm-limbs-simulated", &how, "spurs", "binomial", QX_EXTRA_NONE, 70);
}

static void poisson_mixed_epil(void **state)
{
    const model_spelling how = {
        NULL,
        "seizures",
        "~log_base4 treatment ~log_age ~visit4 ~log_base4:treatment",
        "subject",
        NULL};
    (void)state;
    hold("poisson-glmm-epil", &how, NULL, "poisson", QX_EXTRA_NONE, 30);
}

static void negative_binomial_mixed_epil(void **state)
{
    const model_spelling how = {
        NULL,
        "seizures",
        "~log_base4 treatment ~log_age ~visit4 ~log_base4:treatment",
        "subject",
        NULL};
    (void)state;
    hold("negbin-glmm-epil", &how, NULL, "negbin", QX_EXTRA_NONE, 25);
}

static void warpbreaks_plain_and_scaled(void **state)
{
    const model_spelling how = {NULL, "breaks", "wool tension wool:tension", "", NULL};
    qx_ctx *cx = qx_ctx_new();
    reference_case *c = reference_open(cx, "poisson-glm-warpbreaks");
    qx_glmm_spec spec = glmm_case_spec(cx, c, &how, NULL, "poisson");
    (void)state;
    qx_glmm *plain = glmm_case_fit(cx, &spec);
    assert_true(glmm_case_check(cx, c, plain, "") >= 100);
    spec.extra = QX_EXTRA_SCALED;
    qx_glmm *scaled = glmm_case_fit(cx, &spec);
    assert_true(glmm_case_check(cx, c, scaled, "quasi.") >= 28);
    qx_glmm_free(plain);
    qx_glmm_free(scaled);
    qx_ctx_free(cx);
}

static void nine_points_cbpp(void **state)
{
    const model_spelling how = {NULL, "k", "period", "herd", NULL};
    qx_ctx *cx = qx_ctx_new();
    reference_case *c = reference_open(cx, "binomial-glmm-cbpp-agq9");
    qx_glmm_spec spec = glmm_case_spec(cx, c, &how, "n", "binomial");
    (void)state;
    spec.quadrature = 9;
    qx_glmm *fit = glmm_case_fit(cx, &spec);
    assert_true(glmm_case_check(cx, c, fit, "") >= 18);
    qx_glmm_free(fit);
    qx_ctx_free(cx);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(poisson_insectsprays),
        cmocka_unit_test(binomial_cbpp),
        cmocka_unit_test(quasibinomial_cbpp),
        cmocka_unit_test(betabinomial_cbpp),
        cmocka_unit_test(negative_binomial_quine),
        cmocka_unit_test(binomial_mixed_cbpp),
        cmocka_unit_test(binomial_mixed_limbs),
        cmocka_unit_test(poisson_mixed_epil),
        cmocka_unit_test(negative_binomial_mixed_epil),
        cmocka_unit_test(warpbreaks_plain_and_scaled),
        cmocka_unit_test(nine_points_cbpp),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
