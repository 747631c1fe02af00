/* findings/replicated.h - is there a replicate behind a number? For counts, shares, grades and
 * classes; for continuous values the mixed model itself gives no standard error
 * (model/confounded.h).
 *
 * One tree for each treatment and six limbs on each: the treatments take up all the
 * differences between trees, so that the data do not know how much trees differ by
 * themselves. The likelihood puts that variance at zero and would test by the limbs. What
 * rests on such units has no standard error and no test, whatever its kind.
 *
 * Whether the fixed terms take up a unit whole is a question of the layout alone: one vector
 * that is constant inside each unit and has a number of its own for each lies in the space of
 * X exactly when all do (but for a coincidence of probability nil). If so, a linear model of
 * the same layout is asked row by row. */
#ifndef QX_FINDINGS_REPLICATED_H
#define QX_FINDINGS_REPLICATED_H

#include "findings/work.h"

/* Sets w->unreplicated; needs w->design. NULL when every unit has replicates. Freed by
 * qx_lmm_free. Cost without: a projection on X for each random term that has no more units
 * than X has columns, nothing else. QX_E_NOMEM. */
qx_status qx_replicated_make(qx_work *w);

/* Has this random term (its number) no replicates? Then its line is emptied: the likelihood
 * puts at zero what it cannot see. */
bool qx_variance_unseen(const qx_work *w, size_t term, qx_variance_line *line);

/* A note for each such term. */
qx_status qx_tell_unreplicated(qx_work *w);

/* Is there a replicate behind row'beta (length design->p), or behind all rows of L? */
qx_status qx_replicated_row(qx_work *w, const double row[], bool *out);
qx_status qx_replicated_rows(qx_work *w, qx_mat L, bool *out);

#endif
