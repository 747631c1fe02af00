/* findings/lost_units.h - units of the layout that no value was recorded for: with a trial file
 * they have no row that could be missing, and would be lost without a word. */
#ifndef QX_FINDINGS_LOST_UNITS_H
#define QX_FINDINGS_LOST_UNITS_H

#include "findings/work.h"

/* Notes how many of the smallest placed units above or at the variate's have no value, and
 * which. Nothing without a layout. Cost: planned units times units with a value. */
qx_status qx_lost_units_of(qx_work *w, const struct qx_layout *layout);

#endif
