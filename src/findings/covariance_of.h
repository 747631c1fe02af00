/* findings/covariance_of.h - how observations hang together beyond their units: what the
 * protocol asks for and the data allow, put into the spec and told.
 *
 *   dates            the lowest unit measured on several dates: the dates are a factor of
 *                    the fixed part, the unit's own variation is carried across, its dates
 *                    are correlated the more the nearer they are
 *   residual by      the residual has a variance of its own in each season
 *   field trend      rows, places or neighbours (findings/field_trend.h)
 *
 * The model itself: model/covariance.h. */
#ifndef QX_FINDINGS_COVARIANCE_OF_H
#define QX_FINDINGS_COVARIANCE_OF_H

#include "findings/work.h"

/* After the choice: completes w->spec (and w->choice: a field's random rows and places).
 * Notes on cx. QX_E_INPUT: dates that differ from season to season. */
qx_status qx_covariance_of(qx_work *w);

/* After the fit: correlations into the result, what they mean as notes, and the check
 * whether residuals differ between seasons as a line of w->result->check. */
qx_status qx_correlations_of(qx_work *w);

#endif
