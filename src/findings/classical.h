/* findings/classical.h - the classical table of a balanced layout, in the words of its units;
 * for other layouts, why there is none. */
#ifndef QX_FINDINGS_CLASSICAL_H
#define QX_FINDINGS_CLASSICAL_H

#include "findings/work.h"

/* Fills w->result->classical; after the fit and w->strata. A component that the mixed model
 * has at zero is told with what the mean squares say. */
qx_status qx_classical_of(qx_work *w);

#endif
