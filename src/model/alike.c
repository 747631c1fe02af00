#include "model/alike.h"

#include <string.h>

#define NONE UINT32_MAX

/* A table of all pairs is used up to this many entries for each row. */
#define TABLE_SHARE 4
#define TABLE_LEAST 65536

static qx_status check_count(qx_ctx *cx, size_t n)
{
    return n < NONE
               ? QX_OK
               : qx_fail(cx, QX_E_SHAPE, "%zu rows are more than can be numbered", n);
}

/* n numbers that are all NONE, in scratch. */
static qx_status unseen(qx_ctx *cx, size_t n, uint32_t **out)
{
    QX_NEW(cx, *out, n);
    memset(*out, 0xff, n * sizeof **out);
    return QX_OK;
}

qx_status qx_alike_all(qx_ctx *cx, qx_arena *arena, size_t n, qx_alike *out)
{
    uint32_t *of;
    QX_TRY(check_count(cx, n));
    QX_NEW_IN(cx, arena, of, n);
    *out = (qx_alike){n, n > 0 ? 1 : 0, of};
    return QX_OK;
}

/* The sets of `fine` numbered as first seen, if each lies in one set of `coarse`. */
static qx_status nested(qx_ctx *cx,
                        size_t n,
                        size_t sets,
                        const uint32_t fine[],
                        const uint32_t coarse[],
                        uint32_t of[],
                        size_t *count,
                        bool *found)
{
    uint32_t *holder, *number;
    uint32_t next = 0;
    QX_TRY(unseen(cx, sets, &holder));
    QX_NEW(cx, number, sets);
    *found = false;
    for (size_t i = 0; i < n; i++) {
        const uint32_t f = fine[i];
        if (holder[f] == NONE) {
            holder[f] = coarse[i];
            number[f] = next++;
        } else if (holder[f] != coarse[i]) {
            return QX_OK;
        }
        of[i] = number[f];
    }
    *count = next;
    *found = true;
    return QX_OK;
}

static qx_status by_table(qx_ctx *cx,
                          const qx_alike *a,
                          size_t levels,
                          const uint32_t b[],
                          uint32_t of[],
                          size_t *count)
{
    uint32_t *number;
    uint32_t next = 0;
    QX_TRY(unseen(cx, a->count * levels, &number));
    for (size_t i = 0; i < a->n; i++) {
        uint32_t *at = &number[a->of[i] * levels + b[i]];
        if (*at == NONE) {
            *at = next++;
        }
        of[i] = *at;
    }
    *count = next;
    return QX_OK;
}

/* Mixes the bits of a key (the finaliser of MurmurHash3, public domain, A. Appleby). */
static uint64_t mix(uint64_t x)
{
    x ^= x >> 33;
    x *= 0xff51afd7ed558ccdULL;
    x ^= x >> 33;
    x *= 0xc4ceb9fe1a85ec53ULL;
    return x ^ (x >> 33);
}

/* Open addressing; a row of the set tells its pair. */
static qx_status
by_hash(qx_ctx *cx, const qx_alike *a, const uint64_t b[], uint32_t of[], size_t *count)
{
    uint32_t *first, *number;
    size_t room = 16;
    uint32_t next = 0;
    while (room < 2 * a->n) {
        room *= 2;
    }
    QX_TRY(unseen(cx, room, &first));
    QX_NEW(cx, number, a->n);
    for (size_t i = 0; i < a->n; i++) {
        size_t at = (size_t)mix(b[i] + mix(a->of[i] + 1)) & (room - 1);
        while (first[at] != NONE &&
               (b[first[at]] != b[i] || a->of[first[at]] != a->of[i])) {
            at = (at + 1) & (room - 1);
        }
        if (first[at] == NONE) {
            first[at] = (uint32_t)i;
            number[i] = next++;
        }
        of[i] = number[first[at]];
    }
    *count = next;
    return QX_OK;
}

static qx_status by_wide_hash(
    qx_ctx *cx, const qx_alike *a, const uint32_t b[], uint32_t of[], size_t *count)
{
    uint64_t *wide;
    QX_NEW(cx, wide, a->n);
    for (size_t i = 0; i < a->n; i++) {
        wide[i] = b[i];
    }
    return by_hash(cx, a, wide, of, count);
}

static qx_status both(qx_ctx *cx,
                      const qx_alike *a,
                      size_t levels,
                      const uint32_t b[],
                      uint32_t of[],
                      size_t *count)
{
    bool found;
    QX_TRY(nested(cx, a->n, levels, b, a->of, of, count, &found));
    if (!found) {
        QX_TRY(nested(cx, a->n, a->count, a->of, b, of, count, &found));
    }
    if (found) {
        return QX_OK;
    }
    if (levels <= (TABLE_LEAST + TABLE_SHARE * a->n) / a->count) {
        return by_table(cx, a, levels, b, of, count);
    }
    return by_wide_hash(cx, a, b, of, count);
}

qx_status qx_alike_and(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_alike *a,
                       size_t levels,
                       const uint32_t b[],
                       qx_alike *out)
{
    uint32_t *of;
    size_t count = 0;
    qx_status status;
    QX_NEW_IN(cx, arena, of, a->n);
    if (a->n > 0) {
        QX_SCRATCH(cx, status, both(cx, a, levels, b, of, &count));
        QX_TRY(status);
    }
    *out = (qx_alike){a->n, count, of};
    return QX_OK;
}

static qx_status
numbers(qx_ctx *cx, const qx_alike *a, const double x[], uint32_t of[], size_t *count)
{
    uint64_t *bits;
    QX_NEW(cx, bits, a->n);
    for (size_t i = 0; i < a->n; i++) {
        const double plain = x[i] + 0.0; /* -0 becomes 0 */
        memcpy(&bits[i], &plain, sizeof plain);
    }
    return by_hash(cx, a, bits, of, count);
}

qx_status qx_alike_and_number(
    qx_ctx *cx, qx_arena *arena, const qx_alike *a, const double x[], qx_alike *out)
{
    uint32_t *of;
    size_t count = 0;
    qx_status status;
    QX_NEW_IN(cx, arena, of, a->n);
    QX_SCRATCH(cx, status, numbers(cx, a, x, of, &count));
    QX_TRY(status);
    *out = (qx_alike){a->n, count, of};
    return QX_OK;
}

static qx_status tells(qx_ctx *cx,
                       size_t n,
                       size_t sets,
                       const uint32_t fine[],
                       const uint32_t coarse[],
                       bool *out)
{
    uint32_t *holder;
    QX_TRY(unseen(cx, sets, &holder));
    *out = false;
    for (size_t i = 0; i < n; i++) {
        uint32_t *at = &holder[fine[i]];
        if (*at == NONE) {
            *at = coarse[i];
        } else if (*at != coarse[i]) {
            return QX_OK;
        }
    }
    *out = true;
    return QX_OK;
}

qx_status qx_alike_tells(qx_ctx *cx,
                         size_t n,
                         size_t sets,
                         const uint32_t fine[],
                         const uint32_t coarse[],
                         bool *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, tells(cx, n, sets, fine, coarse, out));
    return status;
}

qx_status
qx_alike_first(qx_ctx *cx, qx_arena *arena, const qx_alike *a, const uint32_t **out)
{
    uint32_t *first;
    QX_NEW_IN(cx, arena, first, a->count);
    for (size_t i = a->n; i-- > 0;) {
        first[a->of[i]] = (uint32_t)i;
    }
    *out = first;
    return QX_OK;
}
