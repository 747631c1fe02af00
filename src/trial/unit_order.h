/* trial/unit_order.h - the units as a partial order: parents before children, paths,
 * circles and crossings without sense told (inner header of the protocol reader).
 *
 * A path holds every unit above once and then the unit itself, in the order in which the
 * parents are written: "block:strip:cross_strip:well" (contract section 2, rule 2). */
#ifndef QX_TRIAL_UNIT_ORDER_H
#define QX_TRIAL_UNIT_ORDER_H

#include "trial/reading.h"

/* Fills p->unit_order and every unit's path. False when units stand within themselves;
 * then neither may be used. */
bool qx_units_arrange(qx_reading *r);

/* Unit numbers of the path of `unit`, itself last, into `out` (unit_count entries at the
 * most); gives their number. The units must be without circles. */
size_t qx_unit_path(const qx_protocol *p, size_t unit, size_t out[]);

/* How many of the unit there are in the whole trial; 0 if a count is not given (crossed
 * units: one a cell). Saturates at SIZE_MAX. */
size_t qx_unit_total(const qx_protocol *p, size_t unit);

#endif
