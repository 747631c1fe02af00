/* layout/alike.h - blocks of trees that are alike and stand near each other.
 *
 * n trees, each with its place and its size (trunk area, last year's crop). Wanted: B blocks
 * of k trees. Treatments will be compared inside blocks, so what counts is the variance of
 * the size inside blocks, and, since soil and light change from place to place, also that
 * of the place:
 *
 *     f = S_size / V_size + w S_place / V_place,     no two trees of a block further apart
 *                                                    than `reach_m`
 *
 * S: pooled variance inside blocks, B (k - 1) df; V: variance over the trees that blocks by
 * place take (surplus trees are left out by oddness); for the place both are mean squared
 * distances. Trees that are left over are chosen
 * along with the blocks. Start: blocks by place (a walk up one row and down the next).
 * Search: exchange of two trees, annealed (Kirkpatrick, Gelatt & Vecchi 1983, Science
 * 220:671-680), from the seed; a pure descent at the end.
 *
 * What it is worth: with correlation r between size and what will be measured, the variance
 * left inside blocks is 1 - r^2 (1 - S/V) of the whole. The ratio of two such numbers is
 * the relative efficiency: so many times the replicates (Cochran & Cox 1957, Experimental
 * Designs, sec. 2.3, on the reduction of error by grouping).
 *
 * Not here: which trees are odd (layout/odd.h), reading lists (trial/trees.h). */
#ifndef QX_LAYOUT_ALIKE_H
#define QX_LAYOUT_ALIKE_H

#include <stddef.h>
#include <stdint.h>

#include "base/ctx.h"

#define QX_ALIKE_MOST   ((size_t)20000)
#define QX_ALIKE_WEIGHT 0.25 /* w: place counts a quarter of size */
#define QX_NO_BLOCK     SIZE_MAX

typedef struct qx_alike_tree {
    double x_m, y_m; /* across and along the rows */
    double size;     /* > 0; all NAN: by place alone */
} qx_alike_tree;

typedef struct qx_alike_wish {
    size_t count; /* usable trees */
    const qx_alike_tree *tree;
    size_t blocks, per_block; /* blocks * per_block <= count; per_block >= 2 */
    double reach_m;           /* 0: one and a half times what blocks by place need */
    double weight;            /* w, >= 0 */
    uint64_t seed;
} qx_alike_wish;

typedef struct qx_alike {
    const size_t *block;            /* count: 0 ... blocks - 1, or QX_NO_BLOCK */
    const size_t *by_place;         /* the same for blocks by place alone */
    double within, within_by_place; /* S_size / V_size; NAN without sizes */
    double farthest_m, farthest_by_place_m;
    double reach_m; /* the limit that was held */
} qx_alike;

/* In `arena`. QX_E_INPUT: fewer trees than asked for, or no blocks found inside reach_m
 * (the message says which reach would do). QX_E_ARG: nonsense, sizes not above 0. Cost:
 * some 2000 exchanges a tree, each O(per_block). */
QX_API qx_status qx_alike_make(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_alike_wish *wish,
                               qx_alike *out);

/* Variance left inside blocks over that by place, the other way round: how many times the
 * replicates the alike blocks are worth when size and measure correlate by r, |r| <= 1. */
QX_API double qx_alike_worth(double within, double within_by_place, double r);

#endif
