/* layout/place.h - every thing of every placed unit, before any treatment.
 *
 * Things are numbered unit by unit, parents before children; inside a unit by their parents
 * (the last of crossed parents runs fastest) and then by their own number. Crossed units
 * have their count in every cell of parents that agree on all units above both.
 *
 * Inner header of the folder. */
#ifndef QX_LAYOUT_PLACE_H
#define QX_LAYOUT_PLACE_H

#include "layout/plan.h"

typedef struct qx_places {
    size_t count;
    const qx_placed *placed; /* count entries */
    const size_t *first;     /* unit_count: number of a unit's first thing */
    const size_t *things;    /* unit_count: how many there are; 0 if not placed */
} qx_places;

/* Everything in `arena`. QX_E_NOMEM, QX_E_CANCELLED. Cost: O(things x units), crossed units
 * O(product of the parents' things). */
qx_status qx_place_all(qx_ctx *cx, qx_arena *arena, const qx_plan *plan, qx_places *out);

/* Number of the thing of unit `above` that stands above `thing` (or is it). */
size_t
qx_place_above(const qx_plan *plan, const qx_places *places, size_t thing, size_t above);

#endif
