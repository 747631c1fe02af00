#include "report/scale.h"

#include <math.h>

double qx_scale_at(const qx_scale *scale, double x)
{
    if (isnan(x)) {
        return x;
    }
    if (x <= scale->low) {
        return scale->from;
    }
    if (x >= scale->high) {
        return scale->to;
    }
    /* Halves, so that a span of the largest doubles does not overflow. */
    const double span = scale->high / 2.0 - scale->low / 2.0;
    return scale->from +
           (scale->to - scale->from) * ((x / 2.0 - scale->low / 2.0) / span);
}

void qx_extent_take(qx_extent *extent, double x)
{
    if (!isfinite(x)) {
        return;
    }
    if (extent->low > extent->high) {
        extent->low = x;
        extent->high = x;
    } else if (x < extent->low) {
        extent->low = x;
    } else if (x > extent->high) {
        extent->high = x;
    }
}
