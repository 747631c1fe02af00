#include "trial/pair_code.h"

#include "trial/table.h"

/* Pairs are looked up by position while that table stays near the size of the data. */
static bool small_enough(size_t rows, size_t a_count, size_t b_count)
{
    const size_t limit = 4 * rows + 1024;
    return b_count == 0 || a_count <= limit / b_count;
}

static qx_status by_position(qx_ctx *cx,
                             size_t rows,
                             const uint32_t a[],
                             size_t a_count,
                             const uint32_t b[],
                             size_t b_count,
                             uint32_t out[],
                             size_t *count)
{
    uint32_t *number = NULL; /* code + 1; 0: not seen */
    QX_NEW(cx, number, a_count * b_count + 1);
    uint32_t next = 0;
    for (size_t i = 0; i < rows; i++) {
        if (a[i] == QX_MISSING_CODE || b[i] == QX_MISSING_CODE) {
            out[i] = QX_MISSING_CODE;
            continue;
        }
        uint32_t *slot = &number[(size_t)a[i] * b_count + b[i]];
        if (*slot == 0) {
            next++;
            *slot = next;
        }
        out[i] = *slot - 1;
    }
    *count = next;
    return QX_OK;
}

typedef struct slot {
    uint64_t pair;
    uint32_t number; /* code + 1; 0: free */
} slot;

/* Fibonacci hashing: the upper bits of a product choose the slot (Knuth, TAOCP 3, 6.4). */
static size_t start_slot(uint64_t pair, unsigned shift)
{
    return (size_t)((pair * UINT64_C(0x9e3779b97f4a7c15)) >> shift);
}

static qx_status by_hash(qx_ctx *cx,
                         size_t rows,
                         const uint32_t a[],
                         const uint32_t b[],
                         uint32_t out[],
                         size_t *count)
{
    unsigned bits = 4;
    while (((size_t)1 << bits) < 2 * rows) {
        bits++;
    }
    const size_t mask = ((size_t)1 << bits) - 1;
    slot *slots = NULL;
    QX_NEW(cx, slots, mask + 1);
    uint32_t next = 0;
    for (size_t i = 0; i < rows; i++) {
        if (a[i] == QX_MISSING_CODE || b[i] == QX_MISSING_CODE) {
            out[i] = QX_MISSING_CODE;
            continue;
        }
        const uint64_t pair = ((uint64_t)a[i] << 32) | b[i];
        size_t at = start_slot(pair, 64 - bits);
        while (slots[at].number != 0 && slots[at].pair != pair) {
            at = (at + 1) & mask;
        }
        if (slots[at].number == 0) {
            next++;
            slots[at].pair = pair;
            slots[at].number = next;
        }
        out[i] = slots[at].number - 1;
    }
    *count = next;
    return QX_OK;
}

qx_status qx_pair_codes(qx_ctx *cx,
                        size_t rows,
                        const uint32_t a[],
                        size_t a_count,
                        const uint32_t b[],
                        size_t b_count,
                        uint32_t out[],
                        size_t *count)
{
    qx_status status = QX_OK;
    if (small_enough(rows, a_count, b_count)) {
        QX_SCRATCH(cx, status, by_position(cx, rows, a, a_count, b, b_count, out, count));
    } else {
        QX_SCRATCH(cx, status, by_hash(cx, rows, a, b, out, count));
    }
    return status;
}
