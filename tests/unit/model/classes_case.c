#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "classes_case.h"
#include "support.h"

static void *room(qx_ctx *cx, size_t count, size_t size)
{
    void *out = qx_arena_alloc(qx_ctx_scratch(cx), count, size);
    assert_non_null(out);
    return out;
}

static uint32_t place_of(size_t count, const char *const level[], const char *text)
{
    for (uint32_t l = 0; l < count; l++) {
        if (strcmp(level[l], text) == 0) {
            return l;
        }
    }
    fail_msg("%s is no level", text);
    return 0;
}

const qx_frame *classes_case_relevel(qx_ctx *cx,
                                     const qx_frame *frame,
                                     const char *name,
                                     size_t count,
                                     const char *const level[])
{
    const size_t f = model_case_factor(frame, name);
    qx_factor *factor = room(cx, frame->factor_count, sizeof *factor);
    uint32_t *code = room(cx, frame->n, sizeof *code);
    for (size_t i = 0; i < frame->n; i++) {
        code[i] =
            place_of(count, level, frame->factor[f].level[frame->factor[f].code[i]]);
    }
    memcpy(factor, frame->factor, frame->factor_count * sizeof *factor);
    factor[f].level = level;
    factor[f].code = code;
    qx_frame *changed = room(cx, 1, sizeof *changed);
    *changed = *frame;
    changed->factor = factor;
    return changed;
}

const uint32_t *classes_case_codes(qx_ctx *cx,
                                   const reference_case *c,
                                   const char *column,
                                   size_t count,
                                   const char *const level[])
{
    uint32_t *code = room(cx, reference_rows(c), sizeof *code);
    for (size_t i = 0; i < reference_rows(c); i++) {
        code[i] = place_of(count, level, reference_text(c, column, i));
    }
    return code;
}

qx_classes_spec
classes_case_spec(qx_ctx *cx, const reference_case *c, const model_spelling *how)
{
    const qx_lmm_spec from = model_case_spec(cx, c, how);
    return (qx_classes_spec){
        .frame = from.frame,
        .term_count = from.term_count,
        .term = from.term,
        .random_count = from.random_count,
        .random = from.random,
    };
}

qx_classes_spec classes_case_wine(qx_ctx *cx, const reference_case *c, const char *random)
{
    static const char *const grade[] = {"1", "2", "3", "4", "5"};
    qx_classes_spec spec = classes_case_spec(
        cx, c, &(model_spelling){"wine", "rating", "temp contact", random, NULL});
    spec.class_count = 5;
    spec.class_name = grade;
    spec.code = classes_case_codes(cx, c, "rating", 5, grade);
    return spec;
}

void classes_case_assert_coefs(const reference_case *c,
                               const char *prefix,
                               const qx_classes *fit)
{
    for (size_t j = 0; j < fit->p; j++) {
        char name[200];
        (void)snprintf(name, sizeof name, "%scoef.%s", prefix, fit->name[j]);
        for (char *at = name; *at != '\0'; at++) {
            *at = *at == ':' ? '.' : *at;
        }
        const size_t length = strlen(name);
        (void)snprintf(name + length, sizeof name - length, ".estimate");
        reference_assert(c, name, fit->coef[j]);
        (void)snprintf(name + length, sizeof name - length, ".se");
        reference_assert(c, name, sqrt(QX_AT(fit->covariance, j, j)));
    }
}

qx_classes_test classes_case_lrt(qx_ctx *cx, const qx_classes *fit, const char *term)
{
    for (size_t t = 0; t < fit->design.term_count; t++) {
        if (strcmp(fit->design.term[t].name, term) == 0) {
            qx_mat L;
            qx_classes_test test;
            assert_ok(cx, qx_design_marginal(cx, fit->arena, &fit->design, t, &L));
            assert_ok(cx, qx_classes_lrt(cx, fit, L, &test));
            return test;
        }
    }
    fail_msg("no term %s", term);
    return (qx_classes_test){0};
}

void classes_case_row(qx_ctx *cx,
                      const qx_classes *fit,
                      size_t count,
                      const char *const name[],
                      const char *const level[],
                      double row[])
{
    size_t factor[QX_TERM_FACTORS_MOST], code[QX_TERM_FACTORS_MOST];
    bool estimable = false;
    for (size_t k = 0; k < count; k++) {
        factor[k] = model_case_factor(fit->design.frame, name[k]);
        code[k] = model_case_level(&fit->design.frame->factor[factor[k]], level[k]);
    }
    assert_ok(cx, qx_design_mean(cx, &fit->design, count, factor, code, row, &estimable));
    assert_true(estimable);
}
