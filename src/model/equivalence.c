#include "model/equivalence.h"

#include <math.h>

#include "numeric/dist.h"

qx_equivalence
qx_equivalence_test(double estimate, double se, double df, double margin, double alpha)
{
    qx_equivalence e = {NAN, NAN, NAN, NAN, NAN};
    if (!(se > 0.0) || !(df > 0.0) || !isfinite(estimate) ||
        !(alpha > 0.0 && alpha < 0.5)) {
        return e;
    }
    const double t = qx_t_q(alpha, df, QX_UPPER);
    e.lower = estimate - t * se;
    e.upper = estimate + t * se;
    if (margin > 0.0) {
        e.p_lower = qx_t_p((estimate + margin) / se, df, QX_UPPER);
        e.p_upper = qx_t_p((estimate - margin) / se, df, QX_LOWER);
        e.p = fmax(e.p_lower, e.p_upper);
    }
    return e;
}
