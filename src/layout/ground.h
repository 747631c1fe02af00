/* layout/ground.h - rows and neighbours of a plan's things (position.h, neighbour.h before
 * there is a layout).
 *
 * Inner header of the folder. */
#ifndef QX_LAYOUT_GROUND_H
#define QX_LAYOUT_GROUND_H

#include "layout/neighbour.h"
#include "layout/place.h"
#include "layout/plan.h"
#include "layout/position.h"

typedef struct qx_ground {
    const qx_plan *plan;
    const qx_places *places;
    size_t tree;         /* unit that stands in the rows; QX_NO_WISH: nothing is placed */
    size_t row;          /* unit whose things are rows, or QX_WHOLE_TRIAL */
    size_t trees_in_row; /* where rows are filled one after the other; else 0 */
} qx_ground;

qx_ground qx_ground_of(const qx_plan *plan, const qx_places *places);

/* Row of a thing, from 0: of the tree above it, or of its first tree. */
size_t qx_ground_row(const qx_ground *ground, size_t thing);

/* First tree at, above or below the thing. */
size_t qx_ground_tree(const qx_ground *ground, size_t thing);

/* Neighbours among the things of `unit`. */
qx_status qx_ground_neighbours(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_ground *ground,
                               size_t unit,
                               qx_neighbours *out);

/* Plan and places of a layout that is there already, in `arena`. QX_E_ARG: not the spec's. */
qx_status qx_ground_read(qx_ctx *cx,
                         qx_arena *arena,
                         const qx_layout_spec *spec,
                         const qx_layout *layout,
                         qx_plan **plan,
                         qx_places *places);

#endif
