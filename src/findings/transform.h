/* findings/transform.h - scales on which a variate may be analysed, and the way back.
 *
 *   log            x > 0          log10(x+1)     x > -1
 *   log10          x > 0          sqrt(x+0.5)    x >= -0.5
 *   sqrt           x >= 0         arcsine        0 <= x <= 1   asin(sqrt(x)), in radians
 *
 * Source: Bartlett 1947, Biometrics 3:39-52. */
#ifndef QX_FINDINGS_TRANSFORM_H
#define QX_FINDINGS_TRANSFORM_H

#include <stdbool.h>

#include "trial/protocol.h"

/* Is x inside the domain? */
bool qx_transform_allows(qx_transform transform, double x);

/* The value on the scale of analysis; NAN outside the domain. */
double qx_transform_apply(qx_transform transform, double x);

/* Back from the scale of analysis; values beyond the image of the scale are moved to its
 * end (a lower limit of a square root below 0 gives 0). */
double qx_transform_back(qx_transform transform, double z);

/* "a value above 0": the domain in words. */
const char *qx_transform_domain(qx_transform transform);

/* A difference of `margin` on the scale of measurement, seen on the scale of analysis
 * around the mean `z` there: the smaller of the steps up and down (so that nothing is
 * called equivalent that is not). */
double qx_transform_margin(qx_transform transform, double margin, double z);

#endif
