/* Box-Cox with random parts: see boxcox.h. */
#include <math.h>

#include "model/boxcox.h"
#include "model/refit.h"
#include "numeric/dist.h"
#include "numeric/root.h"
#include "numeric/sums.h"

/* Steps in which the powers are first looked through, and the grain of the estimate. */
#define GRID_STEP 0.5
#define GRAIN     1e-5

typedef struct profile {
    qx_ctx *cx;
    const qx_lmm_plan *plan;
    size_t n;
    const double *u; /* n: log(y / g) */
    double *z;       /* n, work */
    double cut;
    qx_status status; /* of the first fit that failed for want of memory */
} profile;

/* Minus twice the restricted log-likelihood; INFINITY where the data cannot be fitted. */
static double criterion(void *data, double lambda)
{
    profile *f = data;
    double found = NAN;
    double value = INFINITY;
    for (size_t i = 0; i < f->n; i++) {
        f->z[i] = lambda == 0.0 ? f->u[i] : expm1(lambda * f->u[i]) / lambda;
        if (!isfinite(f->z[i])) {
            return INFINITY;
        }
    }
    const qx_status status = qx_lmm_refit_criterion(f->cx, f->plan, f->z, &found);
    if (status == QX_OK) {
        value = isfinite(found) ? found : (double)INFINITY;
    } else if (status == QX_E_NOMEM || status == QX_E_CANCELLED) {
        f->status = f->status == QX_OK ? status : f->status;
    } else {
        qx_ctx_forgive(f->cx);
    }
    return value;
}

static double above_cut(void *data, double lambda)
{
    const profile *f = data;
    return f->cut - criterion(data, lambda);
}

static bool search_grid(profile *f, double *best, double *least)
{
    const int steps = (int)(QX_BOX_COX_RESTRICTED_MOST / GRID_STEP);
    *least = INFINITY;
    *best = 0.0;
    for (int i = -steps; i <= steps; i++) {
        const double value = criterion(f, i * GRID_STEP);
        if (value < *least) {
            *least = value;
            *best = i * GRID_STEP;
        }
    }
    return isfinite(*least) && fabs(*best) < QX_BOX_COX_RESTRICTED_MOST;
}

static qx_status find_end(profile *f, double from, double step, double *end)
{
    double inner = from, outer = from + step;
    *end = NAN;
    while (fabs(outer) <= QX_BOX_COX_RESTRICTED_MOST && above_cut(f, outer) > 0.0) {
        inner = outer;
        outer += step;
    }
    if (!(fabs(outer) <= QX_BOX_COX_RESTRICTED_MOST) || !isfinite(above_cut(f, outer))) {
        return QX_OK;
    }
    const qx_status status =
        qx_root(f->cx, above_cut, f, fmin(inner, outer), fmax(inner, outer), GRAIN, end);
    if (status == QX_E_ARG || status == QX_E_NUMERIC) {
        qx_ctx_forgive(f->cx);
        *end = NAN;
        return QX_OK;
    }
    return status;
}

static qx_status find_all(profile *f, double level, qx_box_cox *out)
{
    double best, least;
    if (!search_grid(f, &best, &least)) {
        return f->status;
    }
    QX_TRY(qx_minimum(
        f->cx, criterion, f, best - GRID_STEP, best + GRID_STEP, GRAIN, &out->lambda));
    f->cut = criterion(f, out->lambda) + qx_chisq_q(1.0 - level, 1.0, QX_UPPER);
    QX_TRY(find_end(f, out->lambda, -GRID_STEP, &out->lower));
    QX_TRY(find_end(f, out->lambda, GRID_STEP, &out->upper));
    return f->status;
}

static qx_status search(qx_ctx *cx,
                        const qx_lmm_plan *plan,
                        size_t n,
                        const double y[],
                        double level,
                        qx_box_cox *out)
{
    profile f = {.cx = cx, .plan = plan, .n = n};
    double *u;
    QX_NEW(cx, u, n);
    QX_NEW(cx, f.z, n);
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
    return find_all(&f, level, out);
}

qx_status qx_box_cox_by_plan(qx_ctx *cx,
                             const qx_lmm_plan *plan,
                             size_t n,
                             const double y[],
                             double level,
                             qx_box_cox *out)
{
    qx_box_cox found = {NAN, NAN, NAN};
    qx_status status;
    if (!(level > 0.0 && level < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "level must lie between 0 and 1");
    }
    QX_SCRATCH(cx, status, search(cx, plan, n, y, level, &found));
    QX_TRY(status);
    *out = found;
    return QX_OK;
}

qx_status qx_box_cox_restricted(
    qx_ctx *cx, const qx_lmm_spec *spec, const double y[], double level, qx_box_cox *out)
{
    qx_lmm_plan *plan = NULL;
    qx_lmm_spec plain = *spec;
    plain.df = QX_SATTERTHWAITE; /* nothing of Kenward and Roger's is asked for */
    QX_TRY(qx_lmm_plan_new(cx, &plain, &plan));
    const qx_status status = qx_box_cox_by_plan(cx, plan, spec->frame->n, y, level, out);
    qx_lmm_plan_free(plan);
    return status;
}
