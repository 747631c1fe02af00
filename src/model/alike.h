/* model/alike.h - which rows are alike: numbered sets of rows with equal codes. Private to
 * model/.
 *
 * Numbers run from 0 in the order in which the sets are first seen, so that rows that stand
 * together stay together in memory. */
#ifndef QX_MODEL_ALIKE_H
#define QX_MODEL_ALIKE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/ctx.h"

typedef struct qx_alike {
    size_t n, count;
    const uint32_t *of; /* n: the set of each row */
} qx_alike;

/* All rows in one set. */
qx_status qx_alike_all(qx_ctx *cx, qx_arena *arena, size_t n, qx_alike *out);

/* Rows that agree in both: `a` and codes b[i] < levels. Where b tells a (each level of b
 * lies in one set of a), or a tells b, one pass without a table. Cost O(n). */
qx_status qx_alike_and(qx_ctx *cx,
                       qx_arena *arena,
                       const qx_alike *a,
                       size_t levels,
                       const uint32_t b[],
                       qx_alike *out);

/* Rows that agree in a and in numbers x (bit for bit; 0 and -0 are one). */
qx_status qx_alike_and_number(
    qx_ctx *cx, qx_arena *arena, const qx_alike *a, const double x[], qx_alike *out);

/* Does each set of `fine` lie in one level of `coarse` (n codes)? sets: sets of `fine`. */
qx_status qx_alike_tells(qx_ctx *cx,
                         size_t n,
                         size_t sets,
                         const uint32_t fine[],
                         const uint32_t coarse[],
                         bool *out);

/* A row of each set: its first. In `arena`. */
qx_status
qx_alike_first(qx_ctx *cx, qx_arena *arena, const qx_alike *a, const uint32_t **out);

#endif
