/* findings/field_trend.h - does the place in the field matter, and how?
 *
 * Candidates, all with the same fixed part:
 *
 *   none              as the units have it
 *   rows, places      a random effect of each row of the field, of each place in a row
 *   rows and places   both
 *   neighbours        units alike the nearer they stand (model/covariance.h), their own
 *                     variation beside it
 *
 * `auto` takes the one with the least criterion -2 log restricted likelihood + 2 (variances
 * and correlations); the first of equals. A row that is a unit of the trial already (a block)
 * is no candidate.
 *
 * Source: Akaike 1974, IEEE Trans Automat Contr 19:716-723; restricted likelihoods of
 * models with one fixed part compare like likelihoods: Gilmour, Cullis & Verbyla 1997, J
 * Agric Biol Environ Stat 2:269-293. */
#ifndef QX_FINDINGS_FIELD_TREND_H
#define QX_FINDINGS_FIELD_TREND_H

#include "findings/work.h"

/* Chooses and completes w->spec, w->choice, w->covariance; w->result->field. */
qx_status qx_field_trend_of(qx_work *w);

/* What was chosen, in words, after the fit. */
qx_status qx_field_trend_tell(qx_work *w);

#endif
