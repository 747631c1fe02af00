/* layout/position.h - where each placed thing stands in the orchard: row and place.
 *
 * The unit that stands in the rows ("tree" below) is the one that was wished; without a wish
 * the smallest one that is placed, but for units that stand around their parent (limbs):
 * then their parent. Rows are the things
 * of the unit that was wished as row; without a wish the first of two crossed parents; else
 * the outermost unit above (each block is a row); else there is one row. A wished number of
 * rows is filled one after the other instead, as equally as it goes. Places are counted from
 * 1 in each row, in the order of the placed things. Things above a tree stand where their first tree stands, things around a
 * tree where it stands.
 *
 * Not here: positions from a list of trees (they replace these, one struct for each thing).*/
#ifndef QX_LAYOUT_POSITION_H
#define QX_LAYOUT_POSITION_H

#include "layout/layout.h"
#include "layout/wishes.h"

typedef struct qx_position {
    uint32_t row;   /* 1, 2, ... */
    uint32_t place; /* in the row, 1, 2, ... */
    bool guard;     /* untreated, or at the edge of a treated plot: not to be measured */
} qx_position;

/* out: layout->placed_count entries. QX_E_ARG (a spec that is not the layout's), NOMEM.
 * Cost: O(things x units). */
QX_API qx_status qx_positions_of(qx_ctx *cx,
                                 const qx_layout_spec *spec,
                                 const qx_layout *layout,
                                 qx_position out[]);

#endif
