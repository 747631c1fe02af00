/* trial/trees_runs.h - groups of trees that stand beside each other in a row, for layouts
 * that care who is whose neighbour.
 *
 * Inner header of trees_place.c. */
#ifndef QX_TRIAL_TREES_RUNS_H
#define QX_TRIAL_TREES_RUNS_H

#include "base/ctx.h"
#include "layout/layout.h"
#include "trial/protocol.h"

typedef struct qx_run_tree {
    double row, place;
} qx_run_tree;

/* `groups` groups of `each` of the `count` trees: group[i] is a number from 0, in no order, or
 * QX_NO_BLOCK. As many as can be without a gap, then inside one row, then going on in the
 * next row. `own_row`: no two groups in one row, none beyond its row. *broken: groups with a
 * gap or in two rows. *found false, and group[] of no account: there are not so many (with
 * own_row), or too few trees. QX_E_NOMEM. */
qx_status qx_trees_runs(qx_ctx *cx,
                        size_t count,
                        const qx_run_tree tree[],
                        size_t groups,
                        size_t each,
                        bool own_row,
                        size_t group[],
                        size_t *broken,
                        bool *found);

/* The thing of `unit` above `thing`, or it itself; QX_NONE: none (trees_apart.c). */
size_t
qx_thing_above(const qx_protocol *p, const qx_layout *layout, size_t thing, size_t unit);

#endif
