/* report/blank_sheet.h - the recording sheet of one unit: a table to fill in and to record as
 * it is.
 *
 * A row for each thing to be measured, in walking order: up one row of the orchard, down the
 * next. Columns: the season (where the protocol separates seasons), the labels of the thing and
 * of all above it, the date (where something is measured on several), every covariate and every
 * variate of the unit with its `of` and `times`. Labels and season are filled in; what is to be
 * measured is empty. Treatments do not stand in it: who measures need not know them, and the
 * layout does. Left out: guards, trees that are left out of the layout. Sampled units get as
 * many rows in each parent as were planned (`planning: {samples:}`, else QX_SHEET_SAMPLES).
 *
 * Not here: where the file goes (tasks/sheets.h). */
#ifndef QX_REPORT_BLANK_SHEET_H
#define QX_REPORT_BLANK_SHEET_H

#include "base/ctx.h"
#include "base/text.h"
#include "layout/layout.h"
#include "trial/protocol.h"

#define QX_SHEET_SAMPLES 4 /* rows for each parent of a sampled unit */

/* Is anything measured on the unit: a variate or a covariate? */
bool qx_sheet_wanted(const qx_protocol *protocol, size_t unit);

/* CSV (RFC 4180) of `unit` for one season (number in the protocol; QX_NONE: not separated),
 * added to `out`. *rows: things in it. QX_E_INPUT: a unit that no single column names, QX_E_ARG,
 * QX_E_NOMEM. Cost: O(things x units). */
qx_status qx_blank_sheet(qx_ctx *cx,
                         const qx_protocol *protocol,
                         const qx_layout *layout,
                         size_t unit,
                         size_t season,
                         qx_text *out,
                         size_t *rows);

#endif
