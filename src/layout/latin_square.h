/* layout/latin_square.h - a Latin square of order n, drawn by chance.
 *
 * Orders 1 to 6: exactly uniform over all squares. Every square of order n comes from
 * exactly one reduced square (first row and first column in natural order) by one order of
 * its n columns and one of its rows 2 ... n, so a reduced square drawn uniformly (all of
 * them are counted off: 1, 1, 1, 4, 56, 9408) and two random orders do it.
 *
 * Orders 7 to 50: the Markov chain of Jacobson & Matthews, whose moves change a square a
 * little, pass through improper squares (one cell that holds a - b + c), are symmetric, and
 * reach every square; the stationary distribution over the proper ones is uniform. The
 * chain starts at the cyclic square and makes n^3 steps from proper to proper square;
 * rows, columns and symbols are then put in random order, so that the square is uniform
 * inside its isotopy class whatever the chain did. Approximately uniform overall.
 *
 * Source: Jacobson & Matthews 1996, J Combin Designs 4:405-437; reduced squares: Fisher &
 * Yates 1934, Proc Camb Philos Soc 30:492-507 (order 6: 9408).
 *
 * Inner header of the folder. */
#ifndef QX_LAYOUT_LATIN_SQUARE_H
#define QX_LAYOUT_LATIN_SQUARE_H

#include <stddef.h>
#include <stdint.h>

#include "base/ctx.h"
#include "numeric/rng.h"

/* symbol[row * n + column], each 0 ... n-1. n = 1 ... 50. QX_E_ARG, QX_E_NOMEM.
 * Cost: order 6 some 10^5 steps, above O(n^3) moves of O(n) each; n = 50 about 0.5 s. */
qx_status qx_latin_square(qx_ctx *cx, qx_rng *rng, size_t n, uint32_t symbol[]);

#endif
