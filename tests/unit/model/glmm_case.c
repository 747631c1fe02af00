#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "numeric/dist.h"

#include "glmm_case.h"
#include "support.h"

qx_glmm_spec glmm_case_spec(qx_ctx *cx,
                            const reference_case *c,
                            const model_spelling *how,
                            const char *size,
                            const char *family)
{
    const qx_lmm_spec spec = model_case_spec(cx, c, how);
    const qx_family *found = qx_family_find(family);
    assert_non_null(found);
    return (qx_glmm_spec){.frame = spec.frame,
                          .k = reference_numbers(c, how->response),
                          .size = size == NULL ? NULL : reference_numbers(c, size),
                          .term_count = spec.term_count,
                          .term = spec.term,
                          .random_count = spec.random_count,
                          .random = spec.random,
                          .family = found,
                          .link = found->default_link,
                          .level = 0.95};
}

qx_glmm *glmm_case_fit(qx_ctx *cx, const qx_glmm_spec *spec)
{
    qx_glmm *fit = NULL;
    assert_ok(cx, qx_glmm_fit(cx, spec, &fit));
    assert_true(fit->converged);
    return fit;
}

size_t glmm_case_term(const qx_glmm *fit, const char *name)
{
    for (size_t t = 0; t < fit->design.term_count; t++) {
        if (strcmp(fit->design.term[t].name, name) == 0) {
            return t;
        }
    }
    fail_msg("no term %s", name);
    return 0;
}

/* A name's part up to the last point; *last receives what follows. */
static const char *head_of(qx_ctx *cx, const char *name, const char **last)
{
    const char *point = strrchr(name, '.');
    assert_non_null(point);
    *last = point + 1;
    char *out = qx_arena_text(qx_ctx_scratch(cx), name, (size_t)(point - name));
    assert_non_null(out);
    return out;
}

static double of_estimate(qx_estimate e, const char *what)
{
    if (strcmp(what, "estimate") == 0 || strcmp(what, "link_estimate") == 0) {
        return e.estimate;
    }
    if (strcmp(what, "se") == 0 || strcmp(what, "link_se") == 0) {
        return e.se;
    }
    if (strcmp(what, "z") == 0 || strcmp(what, "t") == 0) {
        return e.estimate / e.se;
    }
    return strcmp(what, "p") == 0 ? qx_t_two_sided(e.estimate / e.se, e.df) : (double)NAN;
}

/* "a:b" is "b:a". */
static bool same_name(qx_ctx *cx, const char *a, const char *b)
{
    const char *colon = strchr(a, ':');
    if (colon == NULL || strcmp(a, b) == 0) {
        return strcmp(a, b) == 0;
    }
    const char *turned =
        qx_arena_printf(qx_ctx_scratch(cx), "%s:%.*s", colon + 1, (int)(colon - a), a);
    assert_non_null(turned);
    return strcmp(turned, b) == 0;
}

/* coef.NAME.WHAT */
static double coefficient(qx_ctx *cx, const qx_glmm *fit, const char *rest)
{
    const char *what;
    const char *name = head_of(cx, rest, &what);
    double *row = qx_arena_alloc(qx_ctx_scratch(cx), fit->p, sizeof *row);
    assert_non_null(row);
    for (size_t j = 0; j < fit->p; j++) {
        if (same_name(cx, name, fit->design.name[j])) {
            qx_estimate e;
            row[j] = 1.0;
            if (strcmp(what, "conditional_se") == 0) {
                return sqrt(QX_AT(fit->conditional, j, j));
            }
            assert_ok(cx, qx_glmm_contrast(cx, fit, row, &e));
            return of_estimate(e, what);
        }
    }
    fail_msg("no coefficient %s", name);
    return NAN;
}

static double of_fit(const qx_glmm *fit, const char *what)
{
    if (strncmp(what, "log_likelihood", 14) == 0) {
        return fit->log_likelihood;
    }
    if (strcmp(what, "deviance") == 0) {
        return fit->deviance;
    }
    if (strcmp(what, "residual_df") == 0) {
        return fit->residual_df;
    }
    if (strcmp(what, "pearson_chisq") == 0) {
        return fit->pearson_chisq;
    }
    return fit->dispersion;
}

static double component(const qx_glmm *fit, const char *name)
{
    for (size_t k = 0; k < fit->m; k++) {
        if (strcmp(fit->component[k].name, name) == 0) {
            return fit->component[k].variance;
        }
    }
    fail_msg("no component %s", name);
    return NAN;
}

/* TERM.WHAT */
static double test_of(qx_ctx *cx, const qx_glmm *fit, const char *rest)
{
    const char *what;
    const size_t term = glmm_case_term(fit, head_of(cx, rest, &what));
    qx_glmm_test test;
    qx_mat L;
    assert_ok(cx, qx_design_marginal(cx, qx_ctx_scratch(cx), &fit->design, term, &L));
    assert_ok(cx, qx_glmm_test_rows(cx, fit, L, &test));
    assert_true(test.converged);
    if (strcmp(what, "chisq") == 0 || strcmp(what, "F") == 0) {
        return *what == 'F' ? test.f : test.chisq;
    }
    return strcmp(what, "p") == 0 ? test.p : test.num_df;
}

/* The row of a cell "early:30" of the factors of a term. */
static double *
cell_row(qx_ctx *cx, const qx_glmm *fit, const char *factors, const char *levels)
{
    const qx_frame *frame = fit->design.frame;
    const size_t t = glmm_case_term(fit, factors);
    const qx_term *term = &fit->design.term[t];
    size_t level[QX_TERM_FACTORS_MOST];
    double *row = qx_arena_alloc(qx_ctx_scratch(cx), fit->p, sizeof *row);
    bool estimable;
    assert_non_null(row);
    for (size_t k = 0; k < term->factor_count; k++) {
        const char *end = strchr(levels, ':');
        const size_t length = end == NULL ? strlen(levels) : (size_t)(end - levels);
        const char *text = qx_arena_text(qx_ctx_scratch(cx), levels, length);
        level[k] = model_case_level(&frame->factor[term->factor[k]], text);
        levels += end == NULL ? length : length + 1;
    }
    assert_ok(
        cx,
        qx_design_mean(
            cx, &fit->design, term->factor_count, term->factor, level, row, &estimable));
    assert_true(estimable);
    return row;
}

/* mean.TERM.LEVELS.WHAT */
static double mean_of(qx_ctx *cx, const qx_glmm *fit, const char *rest)
{
    const char *what, *levels;
    const char *term = head_of(cx, head_of(cx, rest, &what), &levels);
    double *row = cell_row(cx, fit, term, levels);
    qx_glmm_mean mean;
    qx_estimate e;
    assert_ok(cx, qx_glmm_contrast(cx, fit, row, &e));
    if (strncmp(what, "link_", 5) == 0) {
        return of_estimate(e, what);
    }
    const bool population = strcmp(what, "population") == 0;
    assert_ok(
        cx, qx_glmm_mean_of(cx, fit, qx_mat_of(row, fit->p, 1), population, NULL, &mean));
    if (strcmp(what, "se") == 0) {
        return mean.se;
    }
    if (strcmp(what, "lower") == 0 || strcmp(what, "upper") == 0) {
        return *what == 'l' ? mean.lower : mean.upper;
    }
    return mean.estimate;
}

/* diff.TERM.A-B.WHAT */
static double difference_of(qx_ctx *cx, const qx_glmm *fit, const char *rest)
{
    const char *what, *pair;
    const char *term = head_of(cx, head_of(cx, rest, &what), &pair);
    const char *dash = strchr(pair, '-');
    assert_non_null(dash);
    const char *first = qx_arena_text(qx_ctx_scratch(cx), pair, (size_t)(dash - pair));
    double *a = cell_row(cx, fit, term, first);
    const double *b = cell_row(cx, fit, term, dash + 1);
    qx_estimate e;
    for (size_t j = 0; j < fit->p; j++) {
        a[j] -= b[j];
    }
    assert_ok(cx, qx_glmm_contrast(cx, fit, a, &e));
    return of_estimate(e, what);
}

static bool starts(const char *text, const char *with, const char **rest)
{
    const size_t length = strlen(with);
    if (strncmp(text, with, length) != 0) {
        return false;
    }
    *rest = text + length;
    return true;
}

size_t glmm_case_check(qx_ctx *cx,
                       const reference_case *c,
                       const qx_glmm *fit,
                       const char *section)
{
    size_t held = 0;
    for (size_t i = 0; i < reference_count(c); i++) {
        const char *quantity = reference_quantity(c, i), *name, *rest;
        double got;
        if (!starts(quantity, section, &name) || strstr(name, "tukey") != NULL ||
            strstr(name, "deviance_like") != NULL ||
            strstr(name, "theta_se") != NULL) { /* with the means held: not ours */
            continue;
        }
        if (starts(name, "coef.", &rest)) {
            got = coefficient(cx, fit, rest);
        } else if (starts(name, "fit.", &rest)) {
            got = of_fit(fit, rest);
        } else if (starts(name, "varcomp.", &rest)) {
            got = component(fit, rest);
        } else if (starts(name, "lrt.", &rest) || starts(name, "test.", &rest)) {
            got = test_of(cx, fit, rest);
        } else if (starts(name, "mean.", &rest)) {
            got = mean_of(cx, fit, rest);
        } else if (starts(name, "diff.", &rest)) {
            got = difference_of(cx, fit, rest);
        } else {
            continue;
        }
        reference_assert(c, quantity, got);
        held++;
    }
    return held;
}
