#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

#include "base/map.h"
#include "numeric/dist.h"
#include "small.h"
#include "specs.h"
#include "support.h"

/* A test over chance is wrong once in 10,000 runs of new seeds; ours are fixed. */
#define CHANCE 1e-4

void chain_of(small *s, size_t levels, size_t depth, const size_t count[])
{
    static const char *const names[] = {"site", "block", "tree", "limb"};
    memset(s, 0, sizeof *s);
    for (size_t u = 0; u < depth; u++) {
        s->unit[u] = (qx_layout_unit){.name = names[4 - depth + u],
                                      .parent_count = u > 0 ? 1 : 0,
                                      .parent = {u > 0 ? u - 1 : 0},
                                      .count = count[u]};
    }
    s->treatment[0] = (qx_layout_treatment){"spray", levels, letters, depth - 1};
    s->wishes = (qx_layout_wishes)QX_LAYOUT_WISHES_DEFAULTS;
    s->spec = (qx_layout_spec){depth, s->unit, 1, s->treatment, &s->wishes};
    s->control[0] = s->control[1] = QX_NO_WISH;
}

void crossed_of(small *s, size_t levels, size_t rows, size_t columns)
{
    const size_t count[] = {rows, columns, 1};
    chain_of(s, levels, 3, count);
    s->unit[1].parent_count = 0;
    s->unit[2].parent_count = 2;
    s->unit[2].parent[0] = 0;
    s->unit[2].parent[1] = 1;
}

qx_layout *small_make(qx_ctx *cx, const qx_layout_spec *spec, uint64_t seed)
{
    qx_layout *layout = NULL;
    assert_ok(cx, qx_layout_make(cx, spec, seed, &layout));
    return layout;
}

uint32_t level_at(const qx_layout *l, size_t thing, size_t t)
{
    return l->level[thing * l->treatment_count + t];
}

size_t count_in(const qx_layout *l, size_t parent, size_t which, uint32_t level)
{
    size_t n = 0;
    for (size_t i = 0; i < l->placed_count; i++) {
        n += level_at(l, i, 0) == level &&
                     (parent == SIZE_MAX || l->placed[i].parent[which] == parent)
                 ? 1
                 : 0;
    }
    return n;
}

/* Sanitizers look at the way, not at the law: a few draws of it, and nothing is held. */
#if defined(__SANITIZE_ADDRESS__)
#define MOST ((size_t)30)
#else
#define MOST SIZE_MAX
#endif

void drawn_uniformly(
    qx_ctx *cx, const small *s, size_t layouts, size_t draws, const char *what)
{
    qx_arena *arena = qx_arena_new();
    qx_map *map = qx_map_new(arena);
    size_t *seen = qx_arena_alloc(arena, layouts, sizeof *seen);
    for (size_t i = 0; i < draws && i < MOST; i++) {
        qx_layout *l = small_make(cx, &s->spec, 1000 + i);
        const size_t bytes = l->placed_count * l->treatment_count * sizeof l->level[0];
        const size_t k = qx_map_add(map, (const char *)l->level, bytes);
        if (k >= layouts) {
            fail_msg("%s: more than %zu layouts", what, layouts);
        }
        seen[k]++;
        qx_layout_free(l);
    }
    if (MOST < draws) {
        qx_arena_free(arena);
        return;
    }
    assert_int_equal(qx_map_count(map), layouts);
    const double want = (double)draws / (double)layouts;
    double chisq = 0;
    for (size_t i = 0; i < layouts; i++) {
        chisq += ((double)seen[i] - want) * ((double)seen[i] - want) / want;
    }
    const double p = qx_chisq_p(chisq, (double)layouts - 1, QX_UPPER);
    if (p < CHANCE || p > 1 - CHANCE) {
        fail_msg("%s: chi-squared %g of %zu layouts, p = %g", what, chisq, layouts, p);
    }
    qx_arena_free(arena);
}
