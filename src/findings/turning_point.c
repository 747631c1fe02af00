#include "findings/turning_point.h"

#include <math.h>

qx_turn qx_turning_point(const qx_parabola *p, double t)
{
    const double a = p->b2 * p->b2 - t * t * p->v22;
    const double half_b = (p->b1 * p->b2 - t * t * p->v12) / 2.0;
    const double c = (p->b1 * p->b1 - t * t * p->v11) / 4.0;
    const double root = half_b * half_b - a * c;
    if (!(a > 0.0) || !(root >= 0.0)) { /* not-a-number ends here too */
        return (qx_turn){NAN, NAN, NAN};
    }
    return (qx_turn){
        -p->b1 / (2.0 * p->b2), (-half_b - sqrt(root)) / a, (-half_b + sqrt(root)) / a};
}
