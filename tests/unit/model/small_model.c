#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "numeric/rng.h"

#include "small_model.h"

static void *room(qx_ctx *cx, size_t count, size_t size)
{
    void *out = qx_arena_alloc(qx_ctx_scratch(cx), count, size);
    assert_non_null(out);
    return out;
}

small_model *small_new(qx_ctx *cx, size_t n)
{
    small_model *m = room(cx, 1, sizeof *m);
    m->n = n;
    m->y = room(cx, n, sizeof *m->y);
    m->frame = (qx_frame){.n = n, .factor = m->factor, .number = m->number};
    m->spec = (qx_lmm_spec){.frame = &m->frame,
                            .y = m->y,
                            .term = m->term,
                            .random = m->random,
                            .df = QX_KENWARD_ROGER,
                            .level = 0.95};
    return m;
}

size_t
small_factor(qx_ctx *cx, small_model *m, const char *name, size_t levels, size_t every)
{
    const size_t at = m->frame.factor_count++;
    const char **level = room(cx, levels, sizeof *level);
    assert_true(at < SMALL_FACTORS);
    m->code[at] = room(cx, m->n, sizeof **m->code);
    for (size_t i = 0; i < m->n; i++) {
        m->code[at][i] = (uint32_t)((i / every) % levels);
    }
    for (size_t l = 0; l < levels; l++) {
        level[l] = qx_arena_printf(qx_ctx_scratch(cx), "%zu", l + 1);
        assert_non_null(level[l]);
    }
    m->factor[at] = (qx_factor){
        .name = name, .level_count = levels, .level = level, .code = m->code[at]};
    return at;
}

void small_term(small_model *m, const char *name, size_t factor_count, size_t a, size_t b)
{
    assert_true(m->spec.term_count < SMALL_TERMS);
    m->term[m->spec.term_count++] = (qx_term){.name = name,
                                              .factor_count = factor_count,
                                              .factor = {a, b},
                                              .number = QX_NO_COLUMN};
}

void small_covariate(qx_ctx *cx, small_model *m, const char *name)
{
    m->x = room(cx, m->n, sizeof *m->x);
    m->number[m->frame.number_count] = (qx_number){name, m->x};
    m->term[m->spec.term_count++] =
        (qx_term){.name = name, .number = m->frame.number_count++};
}

void small_random(small_model *m, const char *name, size_t factor)
{
    assert_true(m->spec.random_count < 4);
    m->random[m->spec.random_count++] = (qx_random_term){name, factor};
}

small_model *small_split_plot(
    qx_ctx *cx, uint64_t seed, double sd_block, double sd_plot, double sd_rest)
{
    small_model *m = small_new(cx, 24);
    qx_rng rng = qx_rng_seeded(seed);
    double block[4], plot[12];
    const size_t b = small_factor(cx, m, "block", 4, 6);
    const size_t a = small_factor(cx, m, "a", 3, 2);
    const size_t s = small_factor(cx, m, "b", 2, 1);
    const size_t p = small_factor(cx, m, "block:plot", 12, 2);
    small_term(m, "a", 1, a, 0);
    small_term(m, "b", 1, s, 0);
    small_term(m, "a:b", 2, a, s);
    small_random(m, "block", b);
    small_random(m, "block:plot", p);
    for (size_t k = 0; k < 4; k++) {
        block[k] = sd_block * qx_rng_normal(&rng);
    }
    for (size_t k = 0; k < 12; k++) {
        plot[k] = sd_plot * qx_rng_normal(&rng);
    }
    for (size_t i = 0; i < m->n; i++) {
        m->y[i] = 10.0 + 2.0 * m->code[a][i] + m->code[s][i] + block[m->code[b][i]] +
                  plot[m->code[p][i]] + sd_rest * qx_rng_normal(&rng);
    }
    return m;
}
