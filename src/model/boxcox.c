#include "model/boxcox.h"

#include <math.h>

#include "model/design_rows.h"
#include "numeric/dist.h"
#include "numeric/root.h"
#include "numeric/sums.h"

/* Steps in which the powers are first looked through. */
#define GRID_STEP 0.25

/* Below this |lambda u|, the derivative of z is taken from its series: the closed form
 * loses digits as (lambda u)^-2. Eight terms of the series are exact to rounding there. */
#define SERIES_BELOW 0.05

typedef struct profile {
    const qx_design *design;
    const double *u; /* n: log(y / g) */
    double *z, *dz;  /* n, work */
    double *room;    /* of the projections */
    double cut;      /* what l must reach to be inside the interval */
} profile;

static double transform(double u, double lambda)
{
    return lambda == 0.0 ? u : expm1(lambda * u) / lambda;
}

/* d z / d lambda = (lambda u e^(lambda u) - e^(lambda u) + 1) / lambda^2
 *                = u^2 sum_k (k + 1) (lambda u)^k / (k + 2)!                          */
static double transform_slope(double u, double lambda)
{
    const double v = lambda * u;
    if (fabs(v) >= SERIES_BELOW) {
        return (v * exp(v) - expm1(v)) / (lambda * lambda);
    }
    double term = 0.5, sum = 0.0; /* v^k / (k + 2)! */
    for (int k = 0; k < 9; k++) {
        sum += (k + 1) * term;
        term *= v / (k + 3);
    }
    return u * u * sum;
}

/* What the fixed part leaves. */
static void project(const profile *f, double x[])
{
    qx_design_project(f->design, x, f->room);
}

static double leftover(const profile *f, const double a[], const double b[])
{
    return qx_dot(f->design->n, a, b);
}

static double log_likelihood(const profile *f, double lambda)
{
    const size_t n = f->design->n;
    for (size_t i = 0; i < n; i++) {
        f->z[i] = transform(f->u[i], lambda);
    }
    project(f, f->z);
    return -0.5 * (double)n * log(leftover(f, f->z, f->z));
}

/* The sign of dl/dlambda is that of minus d RSS / d lambda. */
static double slope(void *data, double lambda)
{
    const profile *f = data;
    const size_t n = f->design->n;
    for (size_t i = 0; i < n; i++) {
        f->z[i] = transform(f->u[i], lambda);
        f->dz[i] = transform_slope(f->u[i], lambda);
    }
    project(f, f->z);
    project(f, f->dz);
    return -leftover(f, f->z, f->dz) / leftover(f, f->z, f->z);
}

static double above_cut(void *data, double lambda)
{
    const profile *f = data;
    return log_likelihood(f, lambda) - f->cut;
}

/* The best power of the grid; false when there is none. */
static bool search_grid(const profile *f, double *best)
{
    *best = 0.0;
    const int steps = (int)(QX_BOX_COX_MOST / GRID_STEP);
    double most = -INFINITY;
    for (int i = -steps; i <= steps; i++) {
        const double l = log_likelihood(f, i * GRID_STEP);
        if (isfinite(l) && l > most) {
            most = l;
            *best = i * GRID_STEP;
        }
    }
    return isfinite(most) && fabs(*best) < QX_BOX_COX_MOST;
}

/* One end of the interval: outward from the estimate until l falls below the cut. */
static qx_status find_end(qx_ctx *cx, profile *f, double from, double step, double *end)
{
    double inner = from, outer = from + step;
    *end = NAN;
    while (fabs(outer) <= QX_BOX_COX_MOST && above_cut(f, outer) > 0.0) {
        inner = outer;
        outer += step;
    }
    if (!(fabs(outer) <= QX_BOX_COX_MOST) || !isfinite(above_cut(f, outer))) {
        return QX_OK;
    }
    return qx_root(cx, above_cut, f, fmin(inner, outer), fmax(inner, outer), 0.0, end);
}

static qx_status find_all(qx_ctx *cx, profile *f, double level, qx_box_cox *out)
{
    double best;
    if (!search_grid(f, &best)) {
        return QX_OK;
    }
    const double low = best - GRID_STEP, high = best + GRID_STEP;
    if (!(slope(f, low) > 0.0) || !(slope(f, high) < 0.0)) {
        return QX_OK; /* flat or not computable: no power stands out */
    }
    QX_TRY(qx_root(cx, slope, f, low, high, 0.0, &out->lambda));
    f->cut =
        log_likelihood(f, out->lambda) - qx_chisq_q(1.0 - level, 1.0, QX_UPPER) / 2.0;
    QX_TRY(find_end(cx, f, out->lambda, -GRID_STEP, &out->lower));
    return find_end(cx, f, out->lambda, GRID_STEP, &out->upper);
}

static qx_status box_cox(
    qx_ctx *cx, const qx_design *design, const double y[], double level, qx_box_cox *out)
{
    const size_t n = design->n;
    profile f = {.design = design};
    qx_box_cox found = {NAN, NAN, NAN};
    double *u;
    QX_NEW(cx, u, n);
    QX_NEW(cx, f.z, n);
    QX_NEW(cx, f.dz, n);
    QX_NEW(cx, f.room, qx_design_room(design));
    for (size_t i = 0; i < n; i++) {
        if (!(y[i] > 0.0) || !isfinite(y[i])) {
            return qx_fail(cx, QX_E_ARG, "value %zu is not above zero", i + 1);
        }
        u[i] = log(y[i]);
    }
    const double middle = qx_mean(n, u);
    for (size_t i = 0; i < n; i++) {
        u[i] -= middle;
    }
    f.u = u;
    if (n > design->qr.rank) {
        QX_TRY(find_all(cx, &f, level, &found));
    }
    *out = found;
    return QX_OK;
}

qx_status qx_box_cox_profile(
    qx_ctx *cx, const qx_design *design, const double y[], double level, qx_box_cox *out)
{
    qx_status status;
    if (!(level > 0.0 && level < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "level must lie between 0 and 1");
    }
    QX_SCRATCH(cx, status, box_cox(cx, design, y, level, out));
    return status;
}
