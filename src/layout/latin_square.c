#include "layout/latin_square.h"

#include <string.h>

#include "layout/plan.h"

#define EXACT_MOST 6 /* order 7 has 16,942,080 reduced squares: too many to count off */

/* --- orders up to 6: count off the reduced squares --- */

typedef struct search {
    size_t n;
    size_t wanted; /* stop at this one, counted from 0 */
    size_t found;
    uint32_t cell[EXACT_MOST * EXACT_MOST];
} search;

/* May `symbol` stand at (row, column) beside what is there already? */
static bool allowed(const search *s, size_t row, size_t column, uint32_t symbol)
{
    for (size_t k = 0; k < column; k++) {
        if (s->cell[row * s->n + k] == symbol) {
            return false;
        }
    }
    for (size_t k = 0; k < row; k++) {
        if (s->cell[k * s->n + column] == symbol) {
            return false;
        }
    }
    return true;
}

/* Goes through the reduced squares in lexical order, cell by cell, until the wanted one.
 * At most 36 deep. True when it was found. */
static bool next_cell(search *s, size_t at) /* NOLINT(misc-no-recursion) */
{
    if (at == s->n * s->n) {
        return s->found++ == s->wanted;
    }
    const size_t row = at / s->n;
    const size_t column = at % s->n;
    const bool given = row == 0 || column == 0;
    const uint32_t from = given ? (uint32_t)(row + column) : 0;
    const uint32_t to = given ? from + 1 : (uint32_t)s->n;
    for (uint32_t symbol = from; symbol < to; symbol++) {
        if (allowed(s, row, column, symbol)) {
            s->cell[at] = symbol;
            if (next_cell(s, at + 1)) {
                return true;
            }
        }
    }
    return false;
}

static void draw_reduced(qx_rng *rng, size_t n, uint32_t symbol[])
{
    static const size_t reduced[EXACT_MOST + 1] = {0, 1, 1, 1, 4, 56, 9408};
    search s = {.n = n, .wanted = (size_t)qx_rng_below(rng, reduced[n])};
    const bool found = next_cell(&s, 0);
    QX_ASSERT(found);
    (void)found;
    memcpy(symbol, s.cell, n * n * sizeof symbol[0]);
}

/* --- larger orders: the chain --- */

/* The incidence cube: one[(row * n + column) * n + symbol] is 1 in the square's cells. A
 * proper square has one 1 in each line of the cube; an improper one has a single -1. */
typedef struct chain {
    size_t n;
    signed char *cube;
    bool proper;
    size_t bad[3]; /* row, column, symbol of the -1 */
} chain;

static signed char *cube_at(const chain *c, size_t row, size_t column, size_t symbol)
{
    return &c->cube[(row * c->n + column) * c->n + symbol];
}

/* A coordinate where the line through (at) along `axis` holds a 1. A proper square has one;
 * on the three lines through the -1 of an improper one there are two: either by chance. */
static size_t find_one(const chain *c, qx_rng *rng, const size_t at[3], size_t axis)
{
    size_t where[3] = {at[0], at[1], at[2]};
    size_t found[2] = {0, 0};
    size_t count = 0;
    for (size_t k = 0; k < c->n && count < 2; k++) {
        where[axis] = k;
        if (*cube_at(c, where[0], where[1], where[2]) == 1) {
            found[count++] = k;
        }
    }
    return count == 2 && qx_rng_below(rng, 2) == 1 ? found[1] : found[0];
}

/* One move of the chain: adds 1 at `a` and at the three cells that differ from it in two
 * coordinates by (b); takes 1 from the others of that little cube of eight. */
static void move(chain *c, qx_rng *rng)
{
    size_t a[3];
    if (c->proper) {
        do {
            for (size_t i = 0; i < 3; i++) {
                a[i] = (size_t)qx_rng_below(rng, c->n);
            }
        } while (*cube_at(c, a[0], a[1], a[2]) != 0);
    } else {
        memcpy(a, c->bad, sizeof a);
    }
    size_t b[3];
    for (size_t axis = 0; axis < 3; axis++) {
        b[axis] = find_one(c, rng, a, axis);
    }
    for (unsigned corner = 0; corner < 8; corner++) {
        size_t at[3];
        int sign = 1;
        for (unsigned axis = 0; axis < 3; axis++) {
            const bool other = (corner >> axis & 1U) != 0;
            at[axis] = other ? b[axis] : a[axis];
            sign = other ? -sign : sign;
        }
        signed char *cell = cube_at(c, at[0], at[1], at[2]);
        *cell = (signed char)(*cell + sign);
    }
    c->proper = *cube_at(c, b[0], b[1], b[2]) >= 0;
    memcpy(c->bad, b, sizeof b);
}

static qx_status draw_chain(qx_ctx *cx, qx_rng *rng, size_t n, uint32_t symbol[])
{
    chain c = {.n = n, .proper = true};
    QX_NEW(cx, c.cube, n * n * n);
    for (size_t i = 0; i < n * n; i++) {
        *cube_at(&c, i / n, i % n, (i / n + i % n) % n) = 1;
    }
    for (size_t steps = 0; steps < n * n * n;) {
        move(&c, rng);
        steps += c.proper ? 1 : 0;
        if (steps % (n * n) == 0 && qx_ctx_cancelled(cx)) {
            return qx_fail(cx, QX_E_CANCELLED, "stopped while drawing a Latin square");
        }
    }
    for (size_t i = 0; i < n * n; i++) {
        for (size_t k = 0; k < n; k++) {
            if (*cube_at(&c, i / n, i % n, k) == 1) {
                symbol[i] = (uint32_t)k;
            }
        }
    }
    return QX_OK;
}

/* --- random orders --- */

/* `fixed` first items stay; the rest are shuffled. */
static void random_order(qx_rng *rng, size_t n, size_t fixed, size_t order[])
{
    for (size_t i = 0; i < n; i++) {
        order[i] = i;
    }
    qx_rng_shuffle(rng, n - fixed, order + fixed);
}

static void
reorder(qx_rng *rng, size_t n, bool exact, const uint32_t from[], uint32_t to[])
{
    size_t row[QX_LATIN_ORDER_MOST];
    size_t column[QX_LATIN_ORDER_MOST];
    size_t name[QX_LATIN_ORDER_MOST];
    random_order(rng, n, exact ? 1 : 0, row);
    random_order(rng, n, 0, column);
    for (size_t i = 0; i < n; i++) {
        name[i] = i;
    }
    if (!exact) {
        qx_rng_shuffle(rng, n, name);
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            to[i * n + j] = (uint32_t)name[from[row[i] * n + column[j]]];
        }
    }
}

static qx_status draw(qx_ctx *cx, qx_rng *rng, size_t n, uint32_t symbol[])
{
    uint32_t *square = NULL;
    QX_NEW(cx, square, n * n);
    if (n <= EXACT_MOST) {
        draw_reduced(rng, n, square);
    } else {
        QX_TRY(draw_chain(cx, rng, n, square));
    }
    reorder(rng, n, n <= EXACT_MOST, square, symbol);
    return QX_OK;
}

qx_status qx_latin_square(qx_ctx *cx, qx_rng *rng, size_t n, uint32_t symbol[])
{
    if (n == 0 || n > QX_LATIN_ORDER_MOST) {
        return qx_fail(cx, QX_E_ARG, "a Latin square of order %zu is not drawn", n);
    }
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, draw(cx, rng, n, symbol));
    return status;
}
