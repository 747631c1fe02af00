/* trial/pair_code.h - codes for pairs of codes: 0, 1, 2 ... in the order of appearance.
 *
 * How units are told apart: (parent, label) becomes one code, and so on down the path.
 * A pair with a missing member is missing. Cost: O(rows) expected. */
#ifndef QX_TRIAL_PAIR_CODE_H
#define QX_TRIAL_PAIR_CODE_H

#include <stddef.h>
#include <stdint.h>

#include "base/ctx.h"

/* `a` has codes below a_count, `b` below b_count; both may hold QX_MISSING_CODE. Writes
 * `rows` codes to `out`, which may be `a` or `b`, and their number to *count. */
qx_status qx_pair_codes(qx_ctx *cx,
                        size_t rows,
                        const uint32_t a[],
                        size_t a_count,
                        const uint32_t b[],
                        size_t b_count,
                        uint32_t out[],
                        size_t *count);

#endif
