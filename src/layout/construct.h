/* layout/construct.h - starts for the search that are known to be good or best.
 *
 *   differences  v treatments in m v blocks of k, every pair equally often: m base blocks
 *                whose differences mod v hold every residue equally often, developed mod v
 *                (Bose 1939, Ann Eugen 9:353-399); found by going through base blocks in
 *                lexical order, so that each is the first of its kind. Projective planes
 *                of order 2, 3, 4, 5, 7 (Singer 1938, Trans Am Math Soc 43:377-385) are
 *                among them. k > v/2: the blocks' complements.
 *   all          every choice of k among v once (or several times): balanced.
 *   squares      v = s^2 in blocks of s: rows, columns and the classes i + a j of the field
 *                of s elements; s prime or a power of one: up to s + 1 replicates, which
 *                are then balanced (Yates 1936, J Agric Sci 26:424-455). Other s: rows,
 *                columns and as many of the cyclic squares as are orthogonal.
 *   alpha        v = k s, k < s: the first k rows of the same arrays, so that no pair meets
 *                twice when s is a prime or a power of one (Patterson & Williams 1976,
 *                Biometrika 63:83-92). Other k, s: the array i a mod s.
 *   Youden       base block + column: k rows that hold every treatment, columns of k
 *                (Youden 1940, Contrib Boyce Thompson Inst 11:219-228).
 *
 * Blocks follow one another, plot by plot. No chance in here: randomisation follows.
 *
 * Inner header of the folder. */
#ifndef QX_LAYOUT_CONSTRUCT_H
#define QX_LAYOUT_CONSTRUCT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/ctx.h"

/* b blocks of k of v treatments, each pair together equally often; treatment[block*k + i].
 * *found is false where none of the constructions gives one. */
qx_status qx_construct_balanced(
    qx_ctx *cx, size_t v, size_t k, size_t b, uint32_t treatment[], bool *found);

/* `sets` sets of s blocks of k, v = k s, every treatment once in each set. Always there. */
qx_status
qx_construct_sets(qx_ctx *cx, size_t k, size_t s, size_t sets, uint32_t treatment[]);

/* rows x v cells, row by row: every treatment once in every row, columns balanced. */
qx_status
qx_construct_youden(qx_ctx *cx, size_t v, size_t rows, uint32_t treatment[], bool *found);

#endif
