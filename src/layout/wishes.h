/* layout/wishes.h - what the units do not tell by themselves: how often, beside what, where.
 *
 * Everything is by number of the spec's units and treatments; what is NULL or zero was not
 * wished. The lists live as long as the spec. */
#ifndef QX_LAYOUT_WISHES_H
#define QX_LAYOUT_WISHES_H

#include <stdbool.h>
#include <stddef.h>

#include "layout/layout.h"

#define QX_NO_WISH           ((size_t)-1)
#define QX_LAYOUT_DEPTH_MOST 8 /* units above each other where things are left out */

/* A thing that is there but not to be treated: missing, sick or odd. Told by the numbers of
 * all units above it, larger ones first, and its own: block 3, tree 5. */
typedef struct qx_left_out {
    size_t unit;
    size_t depth;                        /* numbers given */
    size_t number[QX_LAYOUT_DEPTH_MOST]; /* each from 1 inside its parent */
} qx_left_out;

typedef struct qx_layout_wishes {
    /* Key of kinds.def that the units are meant to make; NULL: whatever they make. */
    const char *kind;
    /* treatment_count lists of level_count numbers: how often each level, or in what
     * proportion (2 beside 1: twice as often); NULL list: all alike. */
    const size_t *const *replicates;
    /* treatment_count lists of level_count flags: the level is a check, which stands in
     * every block, while the others stand once in the whole trial; NULL list: no checks. */
    const bool *const *check;
    /* treatment_count level numbers, QX_NO_WISH elsewhere: these levels go together, and
     * with no other level of the treatments named. */
    const size_t *added_control;
    /* treatment_count: the same level (the same combination, if several treatments of one
     * unit are named) never side by side. */
    const bool *apart;
    /* treatment_count: every two levels (combinations of the unit) side by side about
     * equally often. */
    const bool *even_neighbours;
    /* treatment_count: the same level on that many trees beside each other at least; 0. */
    const size_t *run;
    /* unit_count: untreated things after each treated one; 0: none. */
    const size_t *guards;
    /* unit_count: the things stand around their parent in a circle (limbs, sectors). */
    const bool *around;
    /* Things that stay untreated; blocks then hold what is left. */
    size_t left_out_count;
    const qx_left_out *left_out;
    /* The unit that stands in the rows; QX_NO_WISH: see position.h. */
    size_t tree;
    /* The unit whose things are the rows of the orchard; QX_NO_WISH: see position.h. */
    size_t row;
    /* Rows that the trial takes, filled one after the other; 0: by `row`. */
    size_t rows;
} qx_layout_wishes;

#define QX_LAYOUT_WISHES_DEFAULTS                                                        \
    {                                                                                    \
        .tree = QX_NO_WISH, .row = QX_NO_WISH                                            \
    }

#endif
