#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/decimal.h"
#include "base/map.h"
#include "numeric/sums.h"

#include "model_case.h"

#define WORDS_MOST   16
#define FACTORS_MOST 32

static void *room(qx_ctx *cx, size_t count, size_t size)
{
    void *out = qx_arena_alloc(qx_ctx_scratch(cx), count, size);
    assert_non_null(out);
    return out;
}

/* Words of a text between marks; count of them. */
static size_t words(qx_ctx *cx, const char *text, char mark, const char *out[WORDS_MOST])
{
    char *rest = qx_arena_copy(qx_ctx_scratch(cx), text);
    size_t count = 0;
    assert_non_null(rest);
    while (rest != NULL && *rest != '\0') {
        char *next = strchr(rest, mark);
        assert_true(count < WORDS_MOST);
        out[count++] = rest;
        if (next != NULL) {
            *next++ = '\0';
        }
        rest = next;
    }
    return count;
}

static int by_level(const void *a, const void *b)
{
    const char *x = *(const char *const *)a;
    const char *y = *(const char *const *)b;
    double nx, ny;
    const bool numbers = qx_decimal_read(x, strlen(x), '.', &nx, NULL) &&
                         qx_decimal_read(y, strlen(y), '.', &ny, NULL);
    if (numbers && nx != ny) {
        return nx < ny ? -1 : 1;
    }
    return strcmp(x, y);
}

/* The label of row i over the columns that a name joins. */
static const char *label(qx_ctx *cx, const reference_case *c, const char *name, size_t i)
{
    const char *column[WORDS_MOST] = {NULL};
    const size_t count = words(cx, name, ':', column);
    const char *out = reference_text(c, column[0], i);
    for (size_t k = 1; k < count; k++) {
        out = qx_arena_printf(
            qx_ctx_scratch(cx), "%s:%s", out, reference_text(c, column[k], i));
    }
    return out;
}

static qx_factor make_factor(qx_ctx *cx, const reference_case *c, const char *name)
{
    const size_t n = reference_rows(c);
    uint32_t *code = room(cx, n, sizeof *code);
    const char **level = room(cx, n, sizeof *level);
    qx_map *seen = qx_map_new(qx_ctx_scratch(cx));
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        const char *text = label(cx, c, name, i);
        const size_t at = (size_t)qx_map_add(seen, text, strlen(text));
        if (at == count) {
            level[count++] = text;
        }
    }
    qsort(level, count, sizeof *level, by_level);
    for (size_t i = 0; i < n; i++) {
        const char *text = label(cx, c, name, i);
        while (strcmp(level[code[i]], text) != 0) {
            code[i]++;
        }
    }
    return (qx_factor){.name = name, .level_count = count, .level = level, .code = code};
}

/* Number of a factor, added if it is not there yet. */
static size_t factor_number(qx_ctx *cx,
                            const reference_case *c,
                            qx_factor list[],
                            size_t *count,
                            const char *name)
{
    for (size_t f = 0; f < *count; f++) {
        if (strcmp(list[f].name, name) == 0) {
            return f;
        }
    }
    assert_true(*count < FACTORS_MOST);
    list[*count] = make_factor(cx, c, name);
    return (*count)++;
}

static void response(qx_ctx *cx,
                     const reference_case *c,
                     const model_spelling *how,
                     qx_lmm_spec *spec)
{
    const size_t n = reference_rows(c);
    double *y = room(cx, n, sizeof *y);
    double *value = room(cx, n, sizeof *value);
    qx_decimal *exact = room(cx, n, sizeof *exact);
    for (size_t i = 0; i < n; i++) {
        const char *text = reference_text(c, how->response, i);
        assert_true(qx_decimal_read(text, strlen(text), '.', &value[i], &exact[i]));
        if (how->transform != NULL) {
            value[i] = how->transform(value[i]);
            exact[i].scale = QX_DECIMAL_INEXACT;
        }
    }
    qx_shift_exactly(n, exact, value, y, &spec->shift);
    spec->y = y;
}

qx_lmm_spec
model_case_spec(qx_ctx *cx, const reference_case *c, const model_spelling *how)
{
    qx_lmm_spec spec = {.level = 0.95};
    qx_frame *frame = room(cx, 1, sizeof *frame);
    qx_factor *factor = room(cx, FACTORS_MOST, sizeof *factor);
    qx_number *number = room(cx, WORDS_MOST, sizeof *number);
    qx_term *term = room(cx, WORDS_MOST, sizeof *term);
    qx_random_term *random = room(cx, WORDS_MOST, sizeof *random);
    const char *word[WORDS_MOST] = {NULL};
    *frame = (qx_frame){.n = reference_rows(c), .factor = factor, .number = number};
    spec.term_count = words(cx, how->fixed, ' ', word);
    for (size_t t = 0; t < spec.term_count; t++) {
        const char *part[WORDS_MOST] = {NULL};
        const size_t parts = words(cx, word[t], ':', part);
        term[t] = (qx_term){.name = word[t], .number = QX_NO_COLUMN};
        for (size_t k = 0; k < parts; k++) {
            if (part[k][0] == '~') {
                term[t].number = frame->number_count;
                number[frame->number_count++] =
                    (qx_number){part[k] + 1, reference_numbers(c, part[k] + 1)};
                term[t].name = word[t] + 1;
                continue;
            }
            term[t].factor[term[t].factor_count++] =
                factor_number(cx, c, factor, &frame->factor_count, part[k]);
        }
    }
    spec.random_count = words(cx, how->random, ' ', word);
    for (size_t k = 0; k < spec.random_count; k++) {
        random[k].name = word[k];
        random[k].factor = factor_number(cx, c, factor, &frame->factor_count, word[k]);
    }
    spec.frame = frame;
    spec.term = term;
    spec.random = random;
    response(cx, c, how, &spec);
    return spec;
}

size_t model_case_factor(const qx_frame *frame, const char *name)
{
    for (size_t f = 0; f < frame->factor_count; f++) {
        if (strcmp(frame->factor[f].name, name) == 0) {
            return f;
        }
    }
    fail_msg("no factor %s", name);
    return 0;
}

size_t model_case_level(const qx_factor *factor, const char *level)
{
    for (size_t l = 0; l < factor->level_count; l++) {
        if (strcmp(factor->level[l], level) == 0) {
            return l;
        }
    }
    fail_msg("%s has no level %s", factor->name, level);
    return 0;
}
