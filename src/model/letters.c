#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "model/compare.h"

/* A letter's column is the set of means that carry it, as bits by their place in `order`
 * (bit 0: the largest mean). Insert-and-absorb (Piepho 2004) starts with one column that
 * holds all; for each pair that differs, every column with both is split in two that each
 * lack one of them, and a column inside another is dropped. What stays are the maximal
 * sets of means no two of which differ. */

#define WORD_BITS 64U

typedef struct columns {
    size_t words; /* of one column */
    size_t count;
    uint64_t
        *bits; /* room for 2 QX_LETTERS_MOST columns: one splitting doubles at most */
} columns;

static uint64_t *column_of(const columns *c, size_t i)
{
    return c->bits + i * c->words;
}

static bool has(const uint64_t column[], size_t mean)
{
    return (column[mean / WORD_BITS] >> (mean % WORD_BITS) & 1U) != 0;
}

static void take_out(uint64_t column[], size_t mean)
{
    column[mean / WORD_BITS] &= ~(UINT64_C(1) << (mean % WORD_BITS));
}

static bool is_inside(const columns *c, size_t inner, size_t outer)
{
    for (size_t w = 0; w < c->words; w++) {
        if ((column_of(c, inner)[w] & ~column_of(c, outer)[w]) != 0) {
            return false;
        }
    }
    return true;
}

static void drop(columns *c, size_t i)
{
    c->count--;
    memmove(column_of(c, i),
            column_of(c, i + 1),
            (c->count - i) * c->words * sizeof(uint64_t));
}

static bool lies_in_another(const columns *c, size_t i)
{
    for (size_t j = 0; j < c->count; j++) {
        if (j != i && is_inside(c, i, j)) {
            return true;
        }
    }
    return false;
}

/* From the back, so that of two equal columns the earlier stays. */
static void absorb(columns *c)
{
    for (size_t i = c->count; i-- > 0;) {
        if (lies_in_another(c, i)) {
            drop(c, i);
        }
    }
}

static void insert(columns *c, size_t a, size_t b)
{
    const size_t before = c->count;
    for (size_t i = 0; i < before; i++) {
        uint64_t *old = column_of(c, i);
        if (has(old, a) && has(old, b)) {
            uint64_t *new = column_of(c, c->count++);
            memcpy(new, old, c->words * sizeof *new);
            take_out(old, a);
            take_out(new, b);
        }
    }
    if (c->count > before) {
        absorb(c);
    }
}

/* False when too many columns are needed. */
static bool split_all(columns *c, size_t k, const bool differ[], const size_t order[])
{
    for (size_t a = 0; a < k; a++) {
        for (size_t b = a + 1; b < k; b++) {
            if (differ[order[a] + order[b] * k]) {
                insert(c, a, b);
            }
            if (c->count > QX_LETTERS_MOST) {
                return false;
            }
        }
    }
    return true;
}

/* Does column i come before column j: at the first mean where they part, the one that has
 * it. Then `a` stands at the largest mean. */
static bool precedes(const columns *c, size_t k, size_t i, size_t j)
{
    for (size_t mean = 0; mean < k; mean++) {
        const bool in_i = has(column_of(c, i), mean);
        if (in_i != has(column_of(c, j), mean)) {
            return in_i;
        }
    }
    return i < j;
}

/* rank[i]: which letter column i becomes. */
static void rank_columns(const columns *c, size_t k, size_t rank[])
{
    for (size_t i = 0; i < c->count; i++) {
        rank[i] = 0;
        for (size_t j = 0; j < c->count; j++) {
            rank[i] += j != i && precedes(c, k, j, i) ? 1U : 0U;
        }
    }
}

static void add_letter(qx_text *text, size_t letter)
{
    if (letter < 26) {
        qx_text_printf(text, "%c", (char)('a' + (int)letter));
    } else if (letter < 52) {
        qx_text_printf(text, "%c", (char)('A' + (int)(letter - 26)));
    } else {
        qx_text_printf(text, "(%zu)", letter + 1);
    }
}

static qx_status write_letters(qx_ctx *cx,
                               qx_arena *arena,
                               const columns *c,
                               size_t k,
                               const size_t order[],
                               const char *out[])
{
    size_t *rank, *column;
    QX_NEW(cx, rank, c->count);
    QX_NEW(cx, column, c->count);
    rank_columns(c, k, rank);
    for (size_t i = 0; i < c->count; i++) {
        column[rank[i]] = i;
    }
    for (size_t mean = 0; mean < k; mean++) {
        qx_text *text = qx_text_new(qx_ctx_scratch(cx));
        for (size_t letter = 0; text != NULL && letter < c->count; letter++) {
            if (has(column_of(c, column[letter]), mean)) {
                add_letter(text, letter);
            }
        }
        char *copy = text == NULL || qx_text_failed(text)
                         ? NULL
                         : qx_arena_copy(arena, qx_text_get(text));
        if (copy == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for letters");
        }
        out[order[mean]] = copy;
    }
    return QX_OK;
}

static qx_status check_order(qx_ctx *cx, size_t k, const size_t order[])
{
    bool *seen;
    QX_NEW(cx, seen, k);
    for (size_t i = 0; i < k; i++) {
        if (order[i] >= k || seen[order[i]]) {
            return qx_fail(cx, QX_E_ARG, "the order of %zu means names one twice", k);
        }
        seen[order[i]] = true;
    }
    return QX_OK;
}

static qx_status letters(qx_ctx *cx,
                         qx_arena *arena,
                         size_t k,
                         const bool differ[],
                         const size_t order[],
                         const char *out[])
{
    columns c = {.words = (k + WORD_BITS - 1) / WORD_BITS, .count = 1};
    QX_TRY(check_order(cx, k, order));
    QX_NEW(cx, c.bits, (size_t)2 * QX_LETTERS_MOST * c.words);
    for (size_t mean = 0; mean < k; mean++) {
        c.bits[mean / WORD_BITS] |= UINT64_C(1) << (mean % WORD_BITS);
    }
    if (split_all(&c, k, differ, order)) {
        return write_letters(cx, arena, &c, k, order, out);
    }
    for (size_t i = 0; i < k; i++) {
        out[i] = NULL;
    }
    return qx_note(cx,
                   "Letters are left out for a term of %zu means: more than %d would be "
                   "needed. The differences say which pairs differ.",
                   k,
                   QX_LETTERS_MOST);
}

qx_status qx_letters(qx_ctx *cx,
                     qx_arena *arena,
                     size_t k,
                     const bool differ[],
                     const size_t order[],
                     const char *out[])
{
    qx_status status;
    if (k == 0) {
        return QX_OK;
    }
    if (arena == qx_ctx_scratch(cx)) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "letters need an arena of their own: the scratch arena gives up "
                       "their room at once");
    }
    QX_SCRATCH(cx, status, letters(cx, arena, k, differ, order, out));
    return status;
}
