/* findings/added_control.h - findings for a factorial with an added control.
 *
 * Beside the terms over the whole grid, most of which cannot be estimated, the result gets
 *
 *   means         "product (factorial part)" ...: equal weights over the crossed cells alone,
 *                 compared as a family of their own; "added control": the control's mean
 *   tests         "product (factorial part)", "product:dose (factorial part)" ...: each term
 *                 in the crossed part (marginal); "control against the rest:cultivar" where a
 *                 factor is crossed with the control too
 *   contrasts     "control against the rest": control less the average of the crossed cells,
 *                 on the scale of the link; planned by the layout, so it is in no family and
 *                 not adjusted. Classes without order: a test of all classes instead
 *   against       the same as a difference on the scale that was measured, with its verdict
 *
 * and a sentence. The control is found in the data, so that a protocol without the wish
 * `added_control` gets the same.
 * Source: findings/crossed_part.h. */
#ifndef QX_FINDINGS_ADDED_CONTROL_H
#define QX_FINDINGS_ADDED_CONTROL_H

#include "findings/work.h"

/* Adds to means, differences, tests, contrasts and notes; nothing without such a control. */
qx_status qx_added_control_of(qx_work *w);

/* The same for a simulated trial: only where the layout was asked for such a control. */
qx_status qx_added_control_planned(qx_work *w);

#endif
