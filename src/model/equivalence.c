#include "model/equivalence.h"

#include <math.h>
#include <stdbool.h>

#include "numeric/dist.h"

qx_equivalence
qx_equivalence_by(double estimate, double se, double df, double margin, double t)
{
    qx_equivalence e = {NAN, NAN, NAN, NAN, NAN};
    if (!(se > 0.0) || !(df > 0.0) || !isfinite(estimate) || !(t > 0.0)) {
        return e;
    }
    e.lower = estimate - t * se;
    e.upper = estimate + t * se;
    if (margin > 0.0) {
        e.p_lower = qx_t_p((estimate + margin) / se, df, QX_UPPER);
        e.p_upper = qx_t_p((estimate - margin) / se, df, QX_LOWER);
        e.p = fmax(e.p_lower, e.p_upper);
    }
    return e;
}

qx_equivalence
qx_equivalence_test(double estimate, double se, double df, double margin, double alpha)
{
    const bool sound = df > 0.0 && alpha > 0.0 && alpha < 0.5;
    const double t = sound ? qx_t_q(alpha, df, QX_UPPER) : (double)NAN;
    return qx_equivalence_by(estimate, se, df, margin, t);
}
