/* findings/cells.h - the cells of some factors and their rows of the reference grid. */
#ifndef QX_FINDINGS_CELLS_H
#define QX_FINDINGS_CELLS_H

#include "findings/work.h"

/* More cells than this are not listed pair by pair. */
#define QX_CELLS_MOST 200

/* Number of combinations of the levels of these factors. */
size_t qx_cells_count(const qx_work *w, size_t factor_count, const size_t factor[]);

/* All in scratch memory of w->cx. */
qx_status qx_cells_make(const qx_work *w,
                        size_t factor_count,
                        const size_t factor[],
                        qx_cells *out);

/* {"pinch": "early", ...} of one cell, in the findings' arena. */
qx_status
qx_cells_name(const qx_work *w, const qx_cells *cells, size_t cell, qx_cell *out);

/* Observations in a cell. */
size_t qx_cells_observations(const qx_work *w, const qx_cells *cells, size_t cell);

/* Distinct units (frame->unit number) seen in a cell. */
qx_status qx_cells_units(
    const qx_work *w, const qx_cells *cells, size_t cell, size_t unit, size_t *out);

#endif
