/* findings/cell_means.h - means of given cells, compared as one family, for every kind of
 * variate: whole terms (means_of.h), and what parts of a factorial need beside them.
 *
 * The cells need not be all combinations, and their rows need not be those of the whole
 * reference grid: the caller says what is averaged. */
#ifndef QX_FINDINGS_CELL_MEANS_H
#define QX_FINDINGS_CELL_MEANS_H

#include "base/array.h"
#include "findings/cells.h"

/* Adds the means of the cells, under the name `term` (in the findings' arena), to `means`
 * (qx_mean), and their differences with letters and verdicts to `differences`
 * (qx_difference). Scratch memory is used and left to the caller. */
qx_status qx_cell_means_add(qx_work *w,
                            const char *term,
                            const qx_cells *cells,
                            qx_array *means,
                            qx_array *differences);

/* The same, added to those of the result. */
qx_status qx_cell_means(qx_work *w, const char *term, const qx_cells *cells);

/* A list of the result again as an array that grows. */
qx_status qx_list_reopen(qx_work *w, const void *items, size_t count, qx_array *out);

/* Frame unit that is the replicate of means of these factors: the smallest that one of
 * their treatments is put on; for seasons alone the largest that was there in each. */
size_t qx_replicate_unit(const qx_work *w, size_t count, const size_t factor[]);

/* Level number of a treatment's control in the data, or QX_NO_COLUMN. */
size_t qx_control_level(const qx_work *w, size_t factor);

#endif
