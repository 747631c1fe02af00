#include "findings/transform.h"

#include <math.h>

bool qx_transform_allows(qx_transform transform, double x)
{
    switch (transform) {
    case QX_TRANSFORM_NONE:
        return isfinite(x) != 0;
    case QX_TRANSFORM_LOG:
    case QX_TRANSFORM_LOG10:
        return x > 0.0;
    case QX_TRANSFORM_LOG10_1:
        return x > -1.0;
    case QX_TRANSFORM_SQRT:
        return x >= 0.0;
    case QX_TRANSFORM_SQRT_HALF:
        return x >= -0.5;
    case QX_TRANSFORM_ARCSINE:
        return x >= 0.0 && x <= 1.0;
    }
    return false;
}

double qx_transform_apply(qx_transform transform, double x)
{
    if (!qx_transform_allows(transform, x)) {
        return NAN;
    }
    switch (transform) {
    case QX_TRANSFORM_LOG:
        return log(x);
    case QX_TRANSFORM_LOG10:
        return log10(x);
    case QX_TRANSFORM_LOG10_1:
        return log1p(x) / log(10.0);
    case QX_TRANSFORM_SQRT:
        return sqrt(x);
    case QX_TRANSFORM_SQRT_HALF:
        return sqrt(x + 0.5);
    case QX_TRANSFORM_ARCSINE:
        return asin(sqrt(x));
    case QX_TRANSFORM_NONE:
        break;
    }
    return x;
}

double qx_transform_back(qx_transform transform, double z)
{
    const double quarter_turn = 2.0 * atan(1.0);
    switch (transform) {
    case QX_TRANSFORM_LOG:
        return exp(z);
    case QX_TRANSFORM_LOG10:
        return exp(z * log(10.0));
    case QX_TRANSFORM_LOG10_1:
        return expm1(z * log(10.0));
    case QX_TRANSFORM_SQRT:
        return z > 0.0 ? z * z : z * 0.0;
    case QX_TRANSFORM_SQRT_HALF:
        return (z > 0.0 ? z * z : z * 0.0) - 0.5;
    case QX_TRANSFORM_ARCSINE: {
        const double inside = z < 0.0 ? 0.0 : z > quarter_turn ? quarter_turn : z;
        return isnan(z) ? z : sin(inside) * sin(inside);
    }
    case QX_TRANSFORM_NONE:
        break;
    }
    return z;
}

const char *qx_transform_domain(qx_transform transform)
{
    switch (transform) {
    case QX_TRANSFORM_LOG:
    case QX_TRANSFORM_LOG10:
        return "a value above 0";
    case QX_TRANSFORM_LOG10_1:
        return "a value above -1";
    case QX_TRANSFORM_SQRT:
        return "0 or more";
    case QX_TRANSFORM_SQRT_HALF:
        return "-0.5 or more";
    case QX_TRANSFORM_ARCSINE:
        return "a share from 0 to 1";
    case QX_TRANSFORM_NONE:
        break;
    }
    return "a number";
}

double qx_transform_margin(qx_transform transform, double margin, double z)
{
    if (transform == QX_TRANSFORM_NONE) {
        return margin;
    }
    const double x = qx_transform_back(transform, z);
    const double up = qx_transform_apply(transform, x + margin) - z;
    const double down = z - qx_transform_apply(transform, x - margin);
    if (isnan(up)) {
        return down; /* beyond the end of the scale: only the other side exists */
    }
    return isnan(down) || up < down ? up : down;
}
