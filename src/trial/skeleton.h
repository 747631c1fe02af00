/* trial/skeleton.h - the table that a trial will fill: one row for each thing on which a
 * variate will be measured, with the labels of all units above it, the season and the
 * levels that the layout gave; the variate itself is nil everywhere.
 *
 * Planning makes its models from it, and recording sheets their rows. */
#ifndef QX_TRIAL_SKELETON_H
#define QX_TRIAL_SKELETON_H

#include "base/ctx.h"
#include "layout/layout.h"
#include "trial/protocol.h"
#include "trial/table.h"

/* samples: things measured in each parent for sampled units that have no count of their
 * own, >= 1; those of another season are other things. Rows by season, then by placed thing in the layout's order, then by number.
 * A share counts 1 of 1. Covariates that the variate's unit reaches get distinct values, so
 * that they cost their degree of freedom. The caller frees *out with qx_table_free.
 * QX_E_ARG: samples 0; QX_E_INPUT: more than 10^7 rows; QX_E_NOMEM. */
qx_status qx_skeleton_make(qx_ctx *cx,
                           const qx_protocol *protocol,
                           const qx_layout *layout,
                           size_t variate,
                           size_t samples,
                           qx_table **out);

#endif
