/* findings/plain_means.h - means of given cells, compared as one family, for continuous
 * values: what parts of a factorial need beside the means of whole terms (means_of.h).
 *
 * The cells need not be all combinations, and their rows need not be those of the whole
 * reference grid: the caller says what is averaged. */
#ifndef QX_FINDINGS_PLAIN_MEANS_H
#define QX_FINDINGS_PLAIN_MEANS_H

#include "findings/cells.h"

/* Adds the means of the cells, under the name `term` (in the findings' arena), to the
 * result, and their differences with letters and verdicts. Scratch memory is used and left
 * to the caller. */
qx_status qx_plain_means(qx_work *w, const char *term, const qx_cells *cells);

/* Frame unit that is the replicate of means of these factors: the smallest that one of
 * their treatments is put on, else the residual's. */
size_t qx_plain_unit(const qx_work *w, size_t count, const size_t factor[]);

#endif
