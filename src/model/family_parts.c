#include "model/family_parts.h"

#include <math.h>

/* Counts beyond this are not exact as doubles any more. */
static const double WHOLE_MOST = 9007199254740992.0;

static bool whole(double x)
{
    return x >= 0.0 && x <= WHOLE_MOST && floor(x) == x;
}

bool qx_support_share(double k, double n, const char **why)
{
    if (!whole(k) || !whole(n)) {
        *why = "whole numbers, 0 or more, were expected";
        return false;
    }
    if (k > n) {
        *why = "at most as many as there are were expected";
        return false;
    }
    return true;
}

bool qx_support_count(double k, double n, const char **why)
{
    (void)n;
    if (!whole(k)) {
        *why = "a whole number, 0 or more, was expected";
        return false;
    }
    return true;
}

bool qx_takes_share(qx_link link)
{
    return link == QX_LINK_LOGIT || link == QX_LINK_PROBIT || link == QX_LINK_CLOGLOG;
}

bool qx_takes_count(qx_link link)
{
    return link == QX_LINK_LOG || link == QX_LINK_IDENTITY;
}

void qx_chain_add(const qx_chain *f, const double A[4], double d[4])
{
    d[0] += f->f;
    d[1] += f->f1 * A[1];
    d[2] += f->f2 * A[1] * A[1] + f->f1 * A[2];
    d[3] += f->f3 * A[1] * A[1] * A[1] + 3.0 * f->f2 * A[1] * A[2] + f->f1 * A[3];
}

void qx_chain_store(const double d[4],
                    double weight,
                    size_t j,
                    qx_rows_order order,
                    const qx_row_terms *out)
{
    if (order == QX_ROWS_VALUE) {
        return;
    }
    out->g[j] = weight * d[1];
    out->h[j] = weight * d[2];
    if (order == QX_ROWS_ALL) {
        out->t[j] = weight * d[3];
    }
}

void qx_spread_store(const double slope[3],
                     double weight,
                     size_t j,
                     qx_rows_order order,
                     const qx_row_terms *out)
{
    if (order != QX_ROWS_ALL) {
        return;
    }
    out->lp[j] = weight * slope[0];
    out->gp[j] = weight * slope[1];
    out->hp[j] = weight * slope[2];
}

double qx_spread_dispersion(double psi)
{
    return psi == 0.0 ? (double)INFINITY : 1.0 / (psi * psi);
}

double qx_spread_of(double dispersion)
{
    return dispersion > 0.0 ? 1.0 / sqrt(dispersion) : (double)NAN;
}

/* k log(k/m) - (k - m), without cancellation where k is near m: with x = (k - m)/m it is
 * m ((1 + x) log(1 + x) - x), below 0.02 by its series. */
double qx_deviance_part(double k, double mean)
{
    const double x = (k - mean) / mean;
    if (k == 0.0) {
        return mean;
    }
    if (fabs(x) > 0.02) {
        return k * log(k / mean) - (k - mean);
    }
    double sum = 0.0, power = x * x;
    for (int i = 2; i < 12; i++) {
        sum += (i % 2 == 0 ? 1.0 : -1.0) * power / ((double)i * (i - 1));
        power *= x;
    }
    return mean * sum;
}
