/* findings/cannot_tell.h - why a difference has no verdict, as a clause of a sentence, and
 * what would let it be told.
 *
 *   no data            one of the two was never tried, or never measured
 *   leans on no data   an average needs a combination that has no data
 *   covariate          a covariate has one value for each level: the two go together
 *   no replicate       one tree for each: how much trees differ by themselves is not known
 *
 * Estimable functions alone get a number (Searle 1987, Linear Models for Unbalanced Data); a
 * reader is told which are missing, why, and how to mend it. */
#ifndef QX_FINDINGS_CANNOT_TELL_H
#define QX_FINDINGS_CANNOT_TELL_H

#include "findings/family.h"

/* Sets why_not and mend of the difference of two cells (of family->cells) that has no
 * verdict; texts in the findings' arena. QX_E_NOMEM. */
qx_status qx_cannot_tell(
    qx_work *w, const qx_pair_family *family, size_t a, size_t b, qx_difference *d);

/* A combination with levels of the other treatments that belongs to a cell and has no data, in
 * words ("product lime with rate high", in the findings' arena); NULL: there is none. */
qx_status
qx_empty_inside(qx_work *w, const qx_cells *cells, size_t cell, const char **out);

#endif
