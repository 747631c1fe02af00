/* layout/neighbour.h - what stands beside what: pairs of neighbours, their balance, runs.
 *
 * Neighbours are two things of one unit beside each other in a row, or around their parent
 * (then the last one is the neighbour of the first). With guards in between, treated things
 * are no neighbours. m_ij is how often combinations i and j are neighbours.
 *
 * Source: Freeman 1979, J R Stat Soc B 41:88-95 (neighbour designs, from memory). */
#ifndef QX_LAYOUT_NEIGHBOUR_H
#define QX_LAYOUT_NEIGHBOUR_H

#include "layout/layout.h"

typedef struct qx_neighbours {
    size_t count;
    const size_t (*pair)[2]; /* numbers of placed things */
} qx_neighbours;

typedef struct qx_neighbour_balance {
    size_t pairs;        /* of neighbours */
    size_t same;         /* with the same combination of levels */
    size_t least, most;  /* m_ij over i < j */
    size_t runs;         /* stretches of the same combination along the rows */
    size_t shortest_run; /* things in the shortest of them; 0 without things */
} qx_neighbour_balance;

/* Neighbours among the things of `unit`; the list in `arena`. QX_E_ARG, NOMEM. */
QX_API qx_status qx_neighbours_of(qx_ctx *cx,
                                  qx_arena *arena,
                                  const qx_layout_spec *spec,
                                  const qx_layout *layout,
                                  size_t unit,
                                  qx_neighbours *out);

/* Balance of the treatments named (numbers in the spec, all on one unit). QX_E_ARG, NOMEM.*/
QX_API qx_status qx_neighbour_balance_of(qx_ctx *cx,
                                         const qx_layout_spec *spec,
                                         const qx_layout *layout,
                                         size_t treatment_count,
                                         const size_t treatment[],
                                         qx_neighbour_balance *out);

#endif
