/* tests/unit/layout/small.h - small specs with wishes, and whether chance is fair to them. */
#ifndef QX_TESTS_LAYOUT_SMALL_H
#define QX_TESTS_LAYOUT_SMALL_H

#include "layout/layout.h"
#include "layout/wishes.h"

/* One treatment on the last of up to three units, each within the one before. */
typedef struct small {
    qx_layout_unit unit[4];
    qx_layout_treatment treatment[2];
    qx_layout_wishes wishes;
    qx_layout_spec spec;
    const size_t *replicates[2];
    const bool *check[2];
    size_t control[2];
    bool apart[2], even[2];
    size_t guards[4];
    bool around[4];
} small;

/* `depth` units within each other, the treatment on the last. The spec points into *s. */
void chain_of(small *s, size_t levels, size_t depth, const size_t count[]);

/* Rows that cross columns, one thing in each cell. */
void crossed_of(small *s, size_t levels, size_t rows, size_t columns);

/* The layout, or the test fails; the caller frees it. */
qx_layout *small_make(qx_ctx *cx, const qx_layout_spec *spec, uint64_t seed);

uint32_t level_at(const qx_layout *l, size_t thing, size_t t);

/* Things with a level of treatment 0 inside `parent` (any if SIZE_MAX), place `which`. */
size_t count_in(const qx_layout *l, size_t parent, size_t which, uint32_t level);

/* Draws `draws` layouts; `layouts` different ones must come, equally often. */
void drawn_uniformly(
    qx_ctx *cx, const small *s, size_t layouts, size_t draws, const char *what);

#endif
