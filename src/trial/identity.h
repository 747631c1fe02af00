/* trial/identity.h - which unit each row belongs to (contract section 2, rule 1 and 2).
 *
 * A unit is told by its parents' labels and its own label; without a column of its name, by
 * its parents and the levels of the treatments put on it; without such treatments by its
 * parents alone when it lies in crossed units, by the row when it is the lowest; `columns`
 * of the protocol tell it together. The lowest unit is told by treatments only if no two
 * rows of one season then coincide; otherwise each row is a unit. */
#ifndef QX_TRIAL_IDENTITY_H
#define QX_TRIAL_IDENTITY_H

#include "base/ctx.h"
#include "base/problems.h"
#include "trial/protocol.h"
#include "trial/table.h"

typedef struct qx_identity {
    size_t unit;  /* unit number in the protocol */
    size_t count; /* distinct units in the data */
    const uint32_t
        *code; /* rows entries, 0 ... count-1; QX_MISSING_CODE where it cannot be told */
    const size_t *first; /* count entries: first row of each unit */
    const char *how;     /* sentence when it has no column ("plot has no column: told by
                              block and variety"), else NULL */
} qx_identity;

/* Identities of `variate`'s unit and all units above it, by unit number: out[u].unit is
 * QX_NONE for units that do not apply. `out` has protocol->unit_count entries. Rows where
 * keep[row] is false are left out (QX_MISSING_CODE); keep may be NULL. Arrays in `arena`. */
qx_status qx_identify(qx_ctx *cx,
                      qx_arena *arena,
                      const qx_protocol *protocol,
                      const qx_table *table,
                      size_t variate,
                      const bool keep[],
                      qx_identity out[]);

/* The first unit above `variate`'s own that the table's columns cannot tell one from the
 * other, so that qx_identify would fail with QX_E_INPUT; QX_NONE if there is none. */
size_t qx_unit_untold(const qx_protocol *protocol, const qx_table *table, size_t variate);

#endif
