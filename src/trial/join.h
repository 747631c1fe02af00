/* trial/join.h - the treatments that the data left out, from the layout.
 *
 * A row's labels lead down the layout: block "1", in it tree "2", in it limb "3" (labels
 * need to be unique only inside their parent). Sampled units are not in the layout and
 * need no label here. */
#ifndef QX_TRIAL_JOIN_H
#define QX_TRIAL_JOIN_H

#include <stdbool.h>

#include "base/ctx.h"
#include "base/problems.h"
#include "layout/layout.h"
#include "trial/protocol.h"
#include "trial/table.h"

/* A copy of `in` with a label column for each treatment, whose levels are the protocol's.
 * Problems, each on the row's line: a label that the layout does not know (with the
 * nearest inside the same parent), a treatment in the data that is not what the layout
 * gave, a column of labels that is missing although a treatment hangs on it. A row in
 * which a unit has no label has no level of the treatments put on it.
 *
 * `layout` was made from this protocol (see trial/structure.h), else QX_E_SHAPE. QX_E_INPUT
 * when `problems` grew; then *out stays as it was. The caller frees *out. */
qx_status qx_table_join_layout(qx_ctx *cx,
                               const qx_protocol *protocol,
                               const qx_layout *layout,
                               const qx_table *in,
                               qx_problems *problems,
                               qx_table **out);

/* The same for data of which the good rows are wanted all the same: rows with problems are
 * marked in `bad` (in->rows entries, the caller's), and on QX_E_INPUT *out is given too,
 * unless a column is missing (then it stays as it was). */
qx_status qx_table_join_marked(qx_ctx *cx,
                               const qx_protocol *protocol,
                               const qx_layout *layout,
                               const qx_table *in,
                               qx_problems *problems,
                               bool bad[],
                               qx_table **out);

#endif
