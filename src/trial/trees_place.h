/* trial/trees_place.h - real trees for the trees of a layout: which of the list take part,
 * and which block each belongs to.
 *
 * The unit that the list is about is the one named "tree", else the smallest one that is
 * placed. Chance has drawn the layout by numbers; here the numbers get trees, before anybody
 * knows what they will be given:
 *
 *   blocks   the outermost unit, if it is one: blocks of trees that are alike in trunk area
 *            and near (layout/alike.h); inside a block along the rows, so that what stands
 *            together in the layout (plots of several trees) stands together outside
 *   rows and columns that cross: a rectangle of the list whose only gaps are the things that
 *            the protocol leaves out
 *   no blocks: the trees nearest to each other in trunk area are all one group
 *
 * Trees that are missing, guards or odd by the list's own word are never taken. Where the
 * layout says anything of rows and neighbours (layout/wishes.h), or treatments are put on
 * plots of several trees, blocks are runs of trees beside each other (trees_runs.h), so that
 * neighbours in the layout are neighbours outside. */
#ifndef QX_TRIAL_TREES_PLACE_H
#define QX_TRIAL_TREES_PLACE_H

#include "layout/alike.h"
#include "layout/layout.h"
#include "trial/protocol.h"
#include "trial/trees.h"

typedef struct qx_odd_tree {
    size_t tree;           /* number in the list */
    double z;              /* the larger of the two */
    bool among_neighbours; /* unlike its neighbours rather than unlike all */
    bool used;
} qx_odd_tree;

/* What the list came to, for people. */
typedef struct qx_trees_placed {
    size_t usable, needed;
    bool by_place; /* blocks by place alone */
    bool in_runs;  /* blocks of trees beside each other */
    size_t broken; /* of these, how many have a gap or go on in another row */
    double within, within_by_place; /* variance of trunk area inside blocks, of 1; NAN */
    double farthest_m, farthest_by_place_m, reach_m;
    const size_t
        *block; /* of each tree of the list, 0: the layout's block 1, the first along
                            the rows; QX_NO_BLOCK: takes no part */
    const size_t *block_by_place; /* the same by place alone */
    size_t block_count;
    size_t odd_count;
    const qx_odd_tree *odd; /* by oddness */
} qx_trees_placed;

/* Gives the layout's trees their labels and places (layout->stand) from the list. Texts of
 * the layout move to its own arena; *out lives in `arena`. reach_m: greatest distance inside
 * a block, 0: found. QX_E_INPUT with a message that says what would fit: too few trees, no
 * rectangle, blocks out of reach. Same list, same seed, same trees. */
qx_status qx_trees_place(qx_ctx *cx,
                         qx_arena *arena,
                         const qx_protocol *protocol,
                         const qx_trees *trees,
                         double reach_m,
                         qx_layout *layout,
                         qx_trees_placed *out);

/* Do neighbours in the orchard (same row, next place) keep the treatments apart that
 * `layout: {apart: [...]}` names? True without such a wish, or before trees have places
 * (layout->stand). Cost: pairs of trees. */
bool qx_trees_keep_apart(const qx_protocol *protocol, const qx_layout *layout);

#endif
