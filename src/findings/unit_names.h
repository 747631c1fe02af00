/* findings/unit_names.h - the labels of a unit, in an order that the rows do not change.
 *
 * Blocks that stand in the fixed part are levels of a factor: the first is the reference of
 * their coefficients. Labels that are numbers ascend and come first, others follow in C
 * order, parents before what lies within them. */
#ifndef QX_FINDINGS_UNIT_NAMES_H
#define QX_FINDINGS_UNIT_NAMES_H

#include <stdint.h>

#include "base/ctx.h"
#include "trial/protocol.h"
#include "trial/table.h"

/* One unit of a frame. */
typedef struct qx_unit_codes {
    size_t unit;          /* protocol unit number */
    size_t n;             /* rows of the frame */
    const size_t *source; /* n: their rows of the table */
    size_t count;         /* units, every one seen */
    uint32_t *code;       /* n: 0 ... count - 1, renumbered by the labels */
} qx_unit_codes;

/* Renumbers the codes and gives the labels by number, "2" or "east:2", in `arena`; *label is
 * NULL, and the codes stay, for a unit that has no column of labels. QX_E_NOMEM. */
qx_status qx_unit_names(qx_ctx *cx,
                        qx_arena *arena,
                        const qx_protocol *protocol,
                        const qx_table *table,
                        const qx_unit_codes *codes,
                        const char *const **label);

#endif
