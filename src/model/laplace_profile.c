/* model/laplace_profile.c - what a fit says about how well its parameters are known:
 * covariance from the Hessian, profile likelihood of a standard deviation. */
#include <math.h>
#include <string.h>

#include "model/laplace_inner.h"
#include "numeric/chol.h"
#include "numeric/dist.h"
#include "numeric/eigen.h"
#include "numeric/root.h"

/* Curvature below this share of its own scale is none: a direction that data leave open. */
static const double NO_CURVATURE = 1e-10;
/* Standard deviations on a link scale beyond this tell nothing from each other. */
static const double FAR = 1e3;
/* Profile: half the squared step of the inner fits, and width of the bracket over the sd. */
static const double INNER_PRECISION = 1e-11, END_TOLERANCE = 1e-9;

/* Directions with curvature only: sum of e e' / value over eigenvalues of A. */
static qx_status open_inverse(qx_ctx *cx, qx_mat A, qx_mat out)
{
    const size_t n = A.rows;
    double *value;
    qx_mat U;
    QX_NEW(cx, value, n);
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), n, n, &U));
    QX_TRY(qx_eigen_symmetric(cx, A, value, U));
    qx_mat_zero(out);
    for (size_t e = 0; e < n; e++) {
        for (size_t j = 0; value[e] > NO_CURVATURE && j < n; j++) {
            for (size_t i = 0; i < n; i++) {
                QX_AT(out, i, j) += QX_AT(U, i, e) * QX_AT(U, j, e) / value[e];
            }
        }
    }
    return QX_OK;
}

/* The Hessian of the free parameters, each in units of its own curvature. What is not finite,
 * where estimates ran away under separation, has no curvature to tell of. */
static void
take_free(qx_mat hessian, size_t count, const size_t free[], double scale[], qx_mat out)
{
    for (size_t j = 0; j < count; j++) {
        const double own = QX_AT(hessian, free[j], free[j]);
        scale[j] = own > 0.0 && isfinite(own) ? 1.0 / sqrt(own) : 1.0;
    }
    for (size_t j = 0; j < count; j++) {
        for (size_t i = 0; i < count; i++) {
            const double bend = QX_AT(hessian, free[i], free[j]) * scale[i] * scale[j];
            QX_AT(out, i, j) = isfinite(bend) ? bend : 0.0;
        }
    }
}

static qx_status covariance(
    qx_ctx *cx, const qx_laplace_fit *fit, const bool held[], qx_mat out, bool *whole)
{
    const size_t n = fit->hessian.rows;
    size_t *free, count = 0;
    double *scale;
    qx_mat A, L, inverse;
    QX_NEW(cx, free, n);
    QX_NEW(cx, scale, n);
    for (size_t j = 0; j < n; j++) {
        /* A parameter that was held in the fit has a nil row. */
        if ((held == NULL || !held[j]) && QX_AT(fit->hessian, j, j) != 0.0) {
            free[count++] = j;
        }
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), count, count, &A));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), count, count, &L));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), count, count, &inverse));
    take_free(fit->hessian, count, free, scale, A);
    qx_mat_copy(L, A);
    *whole = qx_chol_factor(cx, L) == QX_OK;
    if (*whole) {
        QX_TRY(qx_chol_inverse(cx, L, inverse));
    } else {
        qx_ctx_forgive(cx);
        QX_TRY(open_inverse(cx, A, inverse));
    }
    qx_mat_zero(out);
    for (size_t j = 0; j < count; j++) {
        for (size_t i = 0; i < count; i++) {
            QX_AT(out, free[i], free[j]) = QX_AT(inverse, i, j) * scale[i] * scale[j];
        }
    }
    return QX_OK;
}

qx_status qx_laplace_covariance(qx_ctx *cx,
                                const qx_laplace_plan *plan,
                                const qx_laplace_fit *fit,
                                const bool held[],
                                qx_mat out,
                                bool *whole)
{
    const size_t n = qx_laplace_length(&plan->problem);
    bool all = false;
    qx_status status;
    if (fit->hessian.rows != n || out.rows != n || out.cols != n) {
        return qx_fail(cx, QX_E_SHAPE, "a covariance of %zu parameters is asked for", n);
    }
    QX_SCRATCH(cx, status, covariance(cx, fit, held, out, &all));
    if (whole != NULL && status == QX_OK) {
        *whole = all;
    }
    return status;
}

typedef struct profile {
    qx_ctx *cx;
    const qx_laplace_plan *plan;
    const void *data;
    const qx_laplace_fit *fit;
    size_t at; /* the parameter */
    double *x;
    bool *fixed;
    double critical;
    qx_status status;
} profile;

static qx_status best_value(profile *f, double sd, double *value)
{
    const qx_laplace_options options = {.fixed = f->fixed,
                                        .precision = INNER_PRECISION,
                                        .no_curvature = true,
                                        .rounding = f->fit->rounding};
    qx_arena *arena = qx_arena_inside(qx_ctx_scratch(f->cx));
    qx_laplace_fit fit;
    if (arena == NULL) {
        return qx_fail(f->cx, QX_E_NOMEM, "no memory for a profile");
    }
    memcpy(f->x, f->fit->x, qx_laplace_length(&f->plan->problem) * sizeof *f->x);
    f->x[f->at] = sd;
    QX_TRY(qx_laplace_maximise(f->cx, arena, f->plan, f->data, f->x, &options, &fit));
    *value = fit.value;
    return QX_OK;
}

/* 2 (log L at the estimate - best log L with the sd held) - critical. */
static double fall(void *data, double sd)
{
    profile *f = data;
    double value = NAN;
    qx_status status;
    if (f->status != QX_OK) {
        return NAN;
    }
    QX_SCRATCH(f->cx, status, best_value(f, sd, &value));
    f->status = status;
    return 2.0 * (f->fit->value - value) - f->critical;
}

/* Where the fall is the critical one. A failed fit is what failed, not the search. */
static qx_status find_end(profile *f, double low, double high, double *end)
{
    const qx_status status = qx_root(f->cx, fall, f, low, high, END_TOLERANCE, end);
    return f->status != QX_OK ? f->status : status;
}

static qx_status find_upper(profile *f, double *upper)
{
    const double sd = f->fit->x[f->at];
    double inside = sd, beyond = sd > 0.0 ? 2.0 * sd : 0.5;
    while (beyond < FAR && fall(f, beyond) < 0.0) {
        inside = beyond;
        beyond *= 2.0;
    }
    QX_TRY(f->status);
    if (!(beyond < FAR)) {
        *upper = INFINITY;
        return QX_OK;
    }
    return find_end(f, inside, beyond, upper);
}

static qx_status profile_sd(qx_ctx *cx, profile *f, double level, qx_laplace_profile *out)
{
    const size_t length = qx_laplace_length(&f->plan->problem);
    qx_laplace_profile found = {0};
    QX_NEW(cx, f->x, length);
    QX_NEW(cx, f->fixed, length);
    /* Those that came out at nil stay there: they were looked at, and beside them the
     * likelihood is flat. */
    for (size_t k = 0; k < f->plan->problem.random_count; k++) {
        f->fixed[f->plan->problem.d * f->plan->problem.p + k] = f->fit->at_zero[k];
    }
    f->fixed[f->at] = true;
    found.lrt = f->fit->x[f->at] == 0.0 ? 0.0 : fmax(fall(f, 0.0), 0.0);
    QX_TRY(f->status);
    found.p = found.lrt > 0.0 ? 0.5 * qx_chisq_p(found.lrt, 1.0, QX_UPPER) : 1.0;
    f->critical = qx_chisq_q(1.0 - level, 1.0, QX_UPPER);
    if (found.lrt > f->critical) {
        QX_TRY(find_end(f, 0.0, f->fit->x[f->at], &found.lower));
    }
    QX_TRY(find_upper(f, &found.upper));
    *out = found;
    return QX_OK;
}

qx_status qx_laplace_profile_sd(qx_ctx *cx,
                                const qx_laplace_plan *plan,
                                const void *data,
                                const qx_laplace_fit *fit,
                                size_t k,
                                double level,
                                qx_laplace_profile *out)
{
    profile f = {.cx = cx, .plan = plan, .data = data, .fit = fit};
    qx_status status;
    if (k >= plan->problem.random_count || !(level > 0.0 && level < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "no random term %zu, or a level outside 0 to 1", k);
    }
    f.at = plan->problem.d * plan->problem.p + k;
    QX_SCRATCH(cx, status, profile_sd(cx, &f, level, out));
    return status;
}
