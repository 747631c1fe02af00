/* findings/looks_of.h - several looks at one trial: which one this is, and at what level
 * differences may be called out now.
 *
 * The information is counted in things: the placed units (trees, limbs) with a value, in
 * each season once. Its share is that of what the layout planned. Looks that the protocol
 * declared (`looks: 2`) are paid for by the levels of model/looks.h; a look that was not
 * declared tests at the protocol's level, as people do, and is told with the error rate that
 * this really has, by simulation of the t tests with their degrees of freedom.
 *
 * Not here: where looks are kept (store/looks.h). */
#ifndef QX_FINDINGS_LOOKS_OF_H
#define QX_FINDINGS_LOOKS_OF_H

#include "findings/work.h"

/* The lowest frame unit that the layout placed, and how many it placed; QX_NO_COLUMN: none. */
size_t
qx_lowest_placed(const qx_work *w, const struct qx_layout *layout, size_t *planned);

/* Counts things, sets level and alpha of the work, result->look, and tells by notes what a
 * reader must know. Without a layout (data from elsewhere) nothing happens. */
qx_status
qx_looks_of(qx_work *w, const struct qx_layout *layout, const qx_look_history *history);

/* After the fit: the true error rate where looks were not declared (needs the df). */
qx_status qx_looks_error_of(qx_work *w, const qx_look_history *history);

#endif
