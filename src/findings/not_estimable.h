/* findings/not_estimable.h - the means that a factorial with empty cells cannot give, by
 * name. Estimable functions alone are reported (Searle 1987, Linear Models for Unbalanced
 * Data); a reader is told which are missing and why. */
#ifndef QX_FINDINGS_NOT_ESTIMABLE_H
#define QX_FINDINGS_NOT_ESTIMABLE_H

#include "findings/cells.h"

/* A note with the cells of `term` that are empty, or whose equal-weighted mean leans on an
 * empty one; none when all can be estimated. */
qx_status qx_tell_not_estimable(qx_work *w, const char *term, const qx_cells *cells);

#endif
