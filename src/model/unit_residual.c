#include "model/unit_residual.h"

#include <math.h>

#include "model/lmm_inner.h"
#include "model/weighting.h"
#include "numeric/chol.h"

/* Below this share of its own variance a unit is held by the fixed part. */
#define HELD 1e-10

/* Degrees of freedom of a balanced layout are whole numbers but for this; a unit that alone
 * carries all variation leaves this share of it. */
#define ROUNDING 1e-9

/* Rows beyond which T is not formed: every pair of rows is looked at. */
#define ROWS_MOST 2000

/* Units while they are worked on: rows of unit k are row[start[k]] ... */
typedef struct units {
    size_t count;
    size_t *start; /* count + 1 */
    size_t *row;   /* n */
    double *total, *v, *standardised, *studentised, *leverage, *cook;
} units;

static qx_status sort_rows(qx_ctx *cx, size_t n, const qx_factor *f, units *u)
{
    size_t *next;
    u->count = f->level_count;
    QX_NEW(cx, u->start, u->count + 1);
    QX_NEW(cx, u->row, n);
    QX_NEW(cx, next, u->count);
    QX_NEW(cx, u->total, u->count);
    QX_NEW(cx, u->v, u->count);
    for (size_t i = 0; i < n; i++) {
        u->start[f->code[i] + 1]++;
    }
    for (size_t k = 0; k < u->count; k++) {
        u->start[k + 1] += u->start[k];
        next[k] = u->start[k];
    }
    for (size_t i = 0; i < n; i++) {
        u->row[next[f->code[i]]++] = i;
    }
    return QX_OK;
}

/* z_k'Q z_l and, in `fixed`, the part of it that the fixed effects take. */
static double
between(const qx_weighting *w, const units *u, size_t k, size_t l, double *fixed)
{
    double rest = 0.0;
    *fixed = 0.0;
    for (size_t a = u->start[k]; a < u->start[k + 1]; a++) {
        for (size_t b = u->start[l]; b < u->start[l + 1]; b++) {
            const size_t i = u->row[a], j = u->row[b];
            rest += (i == j ? 1.0 : 0.0) - qx_weighting_shrunk(w, i, j);
            *fixed += qx_weighting_pull(w, i, j);
        }
    }
    return rest - *fixed;
}

static void measure(const qx_lmm *fit, const qx_weighting *w, units *u)
{
    for (size_t k = 0; k < u->count; k++) {
        double fixed;
        u->v[k] = between(w, u, k, k, &fixed);
        u->leverage[k] = fixed / (u->v[k] + fixed);
        for (size_t a = u->start[k]; a < u->start[k + 1]; a++) {
            u->total[k] += fit->residual[u->row[a]];
        }
        if (!(u->v[k] > HELD * (u->v[k] + fixed))) {
            u->v[k] = NAN;
        }
    }
}

/* (tr T)^2 / |T|^2 */
static double stratum_df(const qx_lmm *fit, const qx_weighting *w, const units *u)
{
    double trace = 0.0, norm = 0.0;
    if (u->count > QX_UNITS_MOST || w->n > ROWS_MOST) {
        return (double)u->count - (double)fit->p;
    }
    for (size_t k = 0; k < u->count; k++) {
        trace += isnan(u->v[k]) ? 0.0 : u->v[k];
        for (size_t l = 0; l <= k; l++) {
            double fixed;
            const double t = between(w, u, k, l, &fixed);
            norm += (l < k ? 2.0 : 1.0) * t * t;
        }
    }
    const double df = trace * trace / norm;
    return norm > 0.0 ? (fabs(df - round(df)) < ROUNDING * df ? round(df) : df)
                      : (double)NAN;
}

static void studentise(units *u, double df)
{
    double square = 0.0, v = 0.0;
    for (size_t k = 0; k < u->count; k++) {
        if (!isnan(u->v[k])) {
            square += u->total[k] * u->total[k];
            v += u->v[k];
        }
    }
    for (size_t k = 0; k < u->count; k++) {
        const double r = u->total[k] / sqrt(u->v[k] * (square / v));
        const double rest = df - r * r;
        u->standardised[k] = square > 0.0 ? r : (double)NAN;
        u->studentised[k] = square > 0.0 && df >= 2.0 && rest > ROUNDING * df
                                ? r * sqrt((df - 1.0) / rest)
                                : (double)NAN;
    }
}

/* D of the rows of unit k; Q_SS without an inverse: beta is lost without the unit. */
static qx_status
leave_out(qx_ctx *cx, const qx_lmm *fit, const qx_weighting *w, const units *u, size_t k)
{
    const size_t rows = u->start[k + 1] - u->start[k];
    const double sigma2 = fit->component[fit->component_count - 1].variance;
    qx_mat q, delta, along;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), rows, rows, &q));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), rows, 1, &delta));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->p, 1, &along));
    double least = INFINITY;
    for (size_t a = 0; a < rows; a++) {
        const size_t i = u->row[u->start[k] + a];
        QX_AT(delta, a, 0) = fit->residual[i];
        for (size_t b = 0; b < rows; b++) {
            QX_AT(q, a, b) = qx_weighting_q(w, i, u->row[u->start[k] + b]);
        }
    }
    const qx_status status = qx_chol_factor(cx, q);
    if (status == QX_E_NOT_PD) {
        qx_ctx_forgive(cx);
        return QX_OK;
    }
    QX_TRY(status);
    for (size_t a = 0; a < rows; a++) {
        least = fmin(least, QX_AT(q, a, a) * QX_AT(q, a, a));
    }
    if (least < HELD) {
        return QX_OK;
    }
    QX_TRY(qx_chol_solve(cx, q, delta));
    for (size_t a = 0; a < rows; a++) {
        const size_t i = u->row[u->start[k] + a];
        for (size_t j = 0; j < fit->p; j++) {
            QX_AT(along, j, 0) += QX_AT(delta, a, 0) * QX_AT(w->g, j, i);
        }
    }
    u->cook[k] = qx_dot(fit->p, along.at, along.at) / ((double)fit->p * sigma2);
    return QX_OK;
}

static qx_status all_units(qx_ctx *cx, const qx_lmm *fit, units *u, double *df)
{
    qx_weighting w;
    *df = NAN;
    QX_TRY(qx_weighting_make(cx, fit, &w));
    if (w.lost || !(fit->component[fit->component_count - 1].variance > 0.0)) {
        return QX_OK;
    }
    measure(fit, &w, u);
    *df = stratum_df(fit, &w, u);
    studentise(u, *df);
    for (size_t k = 0; k < u->count; k++) {
        qx_status status = QX_OK;
        if (u->start[k + 1] - u->start[k] <= QX_UNIT_ROWS_MOST) {
            QX_SCRATCH(cx, status, leave_out(cx, fit, &w, u, k));
        }
        QX_TRY(status);
    }
    return QX_OK;
}

static qx_status
make(qx_ctx *cx, const qx_lmm *fit, const qx_factor *f, units *u, double *df)
{
    *df = NAN;
    if (fit->inner != NULL && fit->inner->general != NULL) {
        return QX_OK;
    }
    QX_TRY(sort_rows(cx, fit->n, f, u));
    return all_units(cx, fit, u, df);
}

qx_status qx_unit_residuals_make(
    qx_ctx *cx, qx_arena *arena, const qx_lmm *fit, size_t factor, qx_unit_residuals *out)
{
    units u = {0};
    double df;
    qx_status status;
    if (factor >= fit->design.frame->factor_count) {
        return qx_fail(cx, QX_E_ARG, "the frame has no factor number %zu", factor);
    }
    const qx_factor *f = &fit->design.frame->factor[factor];
    QX_NEW_IN(cx, arena, u.standardised, f->level_count);
    QX_NEW_IN(cx, arena, u.studentised, f->level_count);
    QX_NEW_IN(cx, arena, u.leverage, f->level_count);
    QX_NEW_IN(cx, arena, u.cook, f->level_count);
    for (size_t k = 0; k < f->level_count; k++) {
        u.standardised[k] = u.studentised[k] = u.leverage[k] = u.cook[k] = NAN;
    }
    QX_SCRATCH(cx, status, make(cx, fit, f, &u, &df));
    QX_TRY(status);
    *out = (qx_unit_residuals){.count = f->level_count,
                               .df = df,
                               .standardised = u.standardised,
                               .studentised = u.studentised,
                               .leverage = u.leverage,
                               .cook = u.cook};
    return QX_OK;
}
