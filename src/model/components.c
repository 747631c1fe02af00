#include "model/components.h"

#include <math.h>
#include <string.h>

#include "model/descend.h"
#include "numeric/dist.h"

#define STEPS_MOST 60

/* The limit is found when D is this near to its target: seven digits of the limit; of a D
 * that is large (very many rows), as near as its rounding allows. */
static const double TARGET_SLACK = 1e-9;
static const double TARGET_SHARE = 1e-13;
/* Where D stays below its target up to this many times the estimate there is no limit. */
static const double FAR = 1e8;
/* The same down to this share of the estimate: the limit is nil. */
static const double NIL_SHARE = 1e-12;

typedef struct work {
    struct qx_lmm_inner *in;
    const qx_profile *profile;
    qx_profile_point room;
    double *gamma;           /* m */
    double *basis;           /* m + 1: gradient over the parts */
    qx_mat basis_h, basis_e; /* m + 1 square */
    qx_mat turn;             /* m + 1 square: parts from variances */
    double lowest;           /* D at the estimates */
    double target;           /* chi-square quantile */
} work;

static bool ratios(work *w, const double x[])
{
    const size_t m = w->profile->m;
    for (size_t k = 0; k < m; k++) {
        w->gamma[k] = x[k] / x[m];
    }
    return x[m] > 0.0;
}

static double deviance(const work *w, double s)
{
    const double df = (double)(w->profile->n - w->profile->p);
    return df * log(s) + w->room.log_a + w->room.ypy / s;
}

/* A variance of nil or a matrix that lost its definiteness: a bad place, not a failure. */
static qx_status pardon(qx_ctx *cx, qx_status status, double *f)
{
    *f = INFINITY;
    if (status == QX_E_NOT_PD || status == QX_E_NUMERIC) {
        qx_ctx_forgive(cx);
        return QX_OK;
    }
    return status;
}

static qx_status value(qx_ctx *cx, void *data, const double x[], double *f)
{
    work *w = data;
    if (!ratios(w, x)) {
        return pardon(cx, QX_OK, f);
    }
    const qx_status status = qx_profile_value(cx, w->profile, w->gamma, &w->room);
    if (status != QX_OK) {
        return pardon(cx, status, f);
    }
    *f = deviance(w, x[w->profile->m]);
    return QX_OK;
}

/* Derivatives over the parts G_1 ... G_m, V. */
static void over_parts(work *w, double s)
{
    const size_t m = w->profile->m;
    const double df = (double)(w->profile->n - w->profile->p);
    const qx_profile_point *at = &w->room;
    for (size_t k = 0; k < m; k++) {
        for (size_t l = 0; l < m; l++) {
            const double norm = QX_AT(at->norm, k, l) / (s * s);
            QX_AT(w->basis_e, k, l) = norm;
            QX_AT(w->basis_h, k, l) =
                2.0 * QX_AT(at->bilinear, k, l) / (s * s * s) - norm;
        }
        w->basis[k] = at->trace[k] / s - at->square[k] / (s * s);
        QX_AT(w->basis_e, k, m) = QX_AT(w->basis_e, m, k) = at->trace[k] / s;
        QX_AT(w->basis_h, k, m) = QX_AT(w->basis_h, m, k) =
            2.0 * at->square[k] / (s * s) - at->trace[k] / s;
    }
    w->basis[m] = df - at->ypy / s;
    QX_AT(w->basis_e, m, m) = df;
    QX_AT(w->basis_h, m, m) = 2.0 * at->ypy / s - df;
}

/* out = turn' M turn */
static void turned(const work *w, qx_mat M, qx_mat out)
{
    const size_t k = w->profile->m + 1;
    for (size_t a = 0; a < k; a++) {
        for (size_t b = 0; b < k; b++) {
            double sum = 0.0;
            for (size_t c = 0; c < k; c++) {
                for (size_t d = 0; d < k; d++) {
                    sum += QX_AT(w->turn, c, a) * QX_AT(M, c, d) * QX_AT(w->turn, d, b);
                }
            }
            QX_AT(out, a, b) = sum;
        }
    }
}

static qx_status derive(qx_ctx *cx,
                        void *data,
                        const double x[],
                        double *f,
                        double gradient[],
                        qx_mat hessian,
                        qx_mat expected)
{
    work *w = data;
    const size_t m = w->profile->m;
    const double s = x[m];
    if (!ratios(w, x)) {
        return pardon(cx, QX_OK, f);
    }
    const qx_status status = qx_profile_summary(cx, w->profile, w->gamma, &w->room);
    if (status != QX_OK) {
        return pardon(cx, status, f);
    }
    over_parts(w, s);
    for (size_t k = 0; k < m; k++) {
        QX_AT(w->turn, k, k) = 1.0;
        QX_AT(w->turn, k, m) = -w->gamma[k];
    }
    QX_AT(w->turn, m, m) = 1.0 / s;
    qx_mat_vector('t', 1.0, w->turn, w->basis, 0.0, gradient);
    turned(w, w->basis_h, hessian);
    turned(w, w->basis_e, expected);
    *f = deviance(w, s);
    return QX_OK;
}

/* D at x with parameter i held; x moves to the best of the others. slope: dD/dx_i. */
static qx_status hold(qx_ctx *cx, work *w, size_t i, double x[], double *d, double *slope)
{
    bool fixed[QX_DESCENT_MOST] = {false};
    double gradient[QX_DESCENT_MOST];
    qx_descent_end end;
    const qx_descent problem = {.m = w->profile->m + 1,
                                .data = w,
                                .value = value,
                                .derive = derive,
                                .loose = true,
                                .gradient = gradient};
    fixed[i] = true;
    QX_TRY(qx_descend(cx, &problem, fixed, x, &end));
    *d = end.converged ? end.f : (double)NAN;
    *slope = gradient[i];
    return QX_OK;
}

/* Standard error of component i, to begin the search with. */
static double rough_se(const work *w, size_t i)
{
    const struct qx_lmm_inner *in = w->in;
    const size_t m = w->profile->m;
    const double vv = QX_AT(in->spread, m, m);
    if (i == m) {
        return in->sigma2 * sqrt(vv);
    }
    const double g = in->gamma[i];
    return in->sigma2 * sqrt(fabs(QX_AT(in->spread, i, i) +
                                  2.0 * g * QX_AT(in->spread, i, m) + g * g * vv));
}

/* Next trial between the bracket's ends: Newton on the root of D - D_min, whose graph over
 * the component's root is nearly straight; halving where that leaves the bracket. */
static double
next_trial(double t, double rise, double slope, double target, double near, double far)
{
    const double z = sqrt(fmax(rise, 0.0));
    const double dz = z > 0.0 ? slope * t / z : 0.0;
    const double step = t + (sqrt(target) - z) / dz;
    const double low = fmin(near, far);
    const double high = fmax(near, far);
    if (isfinite(step) && step > low && step < high) {
        return step;
    }
    return isfinite(far) ? 0.5 * (near + far) : 2.0 * t;
}

/* The limit on one side of the estimate: above (`far` INFINITY) or below (`far` 0). */
static qx_status limit(qx_ctx *cx,
                       work *w,
                       size_t i,
                       const double best[],
                       double start,
                       double far,
                       double *out)
{
    double x[QX_DESCENT_MOST] = {0.0};
    double near = sqrt(best[i]);
    double t = sqrt(start);
    const double end = sqrt(FAR * fmax(best[i], rough_se(w, i)));
    memcpy(x, best, (w->profile->m + 1) * sizeof *x);
    *out = NAN;
    for (int step = 0; step < STEPS_MOST; step++) {
        double d, slope;
        x[i] = t * t;
        QX_TRY(hold(cx, w, i, x, &d, &slope));
        const double rise = d - w->lowest;
        if (!isfinite(rise)) {
            return QX_OK;
        }
        if (fabs(rise - w->target) < fmax(TARGET_SLACK, TARGET_SHARE * fabs(w->lowest))) {
            *out = t * t;
            return QX_OK;
        }
        if (rise < w->target) {
            near = t;
        } else {
            far = t;
        }
        t = next_trial(t, rise, slope, w->target, near, far);
        if (t * t < NIL_SHARE * best[i]) {
            *out = 0.0;
            return QX_OK;
        }
        if (t > end) {
            *out = INFINITY;
            return QX_OK;
        }
    }
    *out = t * t;
    return QX_OK;
}

static qx_status one(qx_ctx *cx, work *w, size_t i, const double best[], qx_component *c)
{
    const double square = w->in->scale * w->in->scale;
    const bool residual = i == w->profile->m;
    const double reach = sqrt(w->target) * rough_se(w, i);
    const double factor = best[i] > 0.0 ? exp(fmin(reach / best[i], 2.0)) : 0.0;
    double lower = 0.0;
    double upper;
    bool below = residual;
    if (!residual) {
        double x[QX_DESCENT_MOST] = {0.0};
        double d, slope;
        memcpy(x, best, (w->profile->m + 1) * sizeof *x);
        x[i] = 0.0;
        QX_TRY(hold(cx, w, i, x, &d, &slope));
        c->lrt = best[i] > 0.0 ? fmax(d - w->lowest, 0.0) : 0.0;
        c->p = best[i] > 0.0 ? 0.5 * qx_chisq_p(c->lrt, 1.0, QX_UPPER) : 1.0;
        below = c->lrt > w->target;
    }
    if (below) {
        QX_TRY(limit(cx, w, i, best, best[i] / factor, 0.0, &lower));
    }
    QX_TRY(limit(
        cx, w, i, best, best[i] > 0.0 ? best[i] * factor : reach, INFINITY, &upper));
    c->lower = lower * square;
    c->upper = upper * square;
    return QX_OK;
}

static qx_status room(qx_ctx *cx, work *w)
{
    const size_t k = w->profile->m + 1;
    qx_arena *scratch = qx_ctx_scratch(cx);
    QX_NEW(cx, w->gamma, k);
    QX_NEW(cx, w->basis, k);
    QX_TRY(qx_mat_new(cx, scratch, k, k, &w->basis_h));
    QX_TRY(qx_mat_new(cx, scratch, k, k, &w->basis_e));
    QX_TRY(qx_mat_new(cx, scratch, k, k, &w->turn));
    return qx_profile_search_room(cx, scratch, w->profile, &w->room);
}

static qx_status profile(qx_ctx *cx, qx_lmm *fit, double level)
{
    struct qx_lmm_inner *in = fit->inner;
    work w = {.in = in, .profile = &in->profile};
    const size_t m = in->profile.m;
    double best[QX_DESCENT_MOST] = {0.0};
    QX_TRY(room(cx, &w));
    for (size_t k = 0; k < m; k++) {
        best[k] = in->gamma[k] * in->sigma2;
    }
    best[m] = in->sigma2;
    w.target = qx_chisq_q(1.0 - level, 1.0, QX_UPPER);
    QX_TRY(value(cx, &w, best, &w.lowest));
    for (size_t k = 0; k <= m; k++) {
        qx_component *c =
            &fit->component[k < m ? in->component_of[k] : fit->random_count];
        qx_status status;
        QX_SCRATCH(cx, status, one(cx, &w, k, best, c));
        QX_TRY(status);
    }
    return QX_OK;
}

qx_status qx_components_profile(qx_ctx *cx, qx_lmm *fit, double level)
{
    struct qx_lmm_inner *in = fit->inner;
    qx_status status;
    if (!(level > 0.0 && level < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "a confidence level lies between 0 and 1");
    }
    if (!(in->sigma2 > 0.0)) {
        return QX_OK;
    }
    if (fit->random_count == 0) {
        qx_component *c = &fit->component[0];
        const double df = fit->residual_df;
        const double tail = 0.5 * (1.0 - level);
        c->lower = c->variance * (df / qx_chisq_q(tail, df, QX_UPPER));
        c->upper = c->variance * (df / qx_chisq_q(tail, df, QX_LOWER));
        return QX_OK;
    }
    QX_SCRATCH(cx, status, profile(cx, fit, level));
    return status;
}
