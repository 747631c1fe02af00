/* trial/check.h - data held against the protocol: every problem, by line and column.
 *
 * Unknown labels of treatments and seasons (with the nearest known), numbers out of range,
 * k > n, not an integer, negative counts, classes not listed, missing columns, repeated
 * rows, two levels of a treatment inside one unit, more units than planned (problem) or
 * fewer (note), units without a column (note how they are told). */
#ifndef QX_TRIAL_CHECK_H
#define QX_TRIAL_CHECK_H

#include "base/ctx.h"
#include "base/problems.h"
#include "trial/protocol.h"
#include "trial/table.h"

/* Reads and checks data for the protocol. `layout_known`: the data belong to a trial file,
 * whose layout gives the treatments, so their columns may be missing. On QX_E_INPUT *out
 * may still be given with `bad` rows marked (see read_csv.h); else *out is complete. */
qx_status qx_data_parse(qx_ctx *cx,
                        const qx_protocol *protocol,
                        const char *file,
                        const char *bytes,
                        size_t length,
                        bool layout_known,
                        qx_problems *problems,
                        qx_table **out,
                        bool **bad);

qx_status qx_data_read(qx_ctx *cx,
                       const qx_protocol *protocol,
                       const char *path,
                       bool layout_known,
                       qx_problems *problems,
                       qx_table **out,
                       bool **bad);

#endif
