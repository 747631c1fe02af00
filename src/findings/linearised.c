#include "findings/linearised.h"

#include <math.h>
#include <string.h>

#include "findings/linearised_inner.h"

/* Steps to the restricted estimates: at most, ending where one promises less than CLOSE of log
 * L (a variance is then right to a thousandth of its standard error), shorter ones where the
 * full ones overshoot. */
#define STEPS_MOST 40
#define CLOSE      1e-6
#define SHORTEST   0.125

/* Derivatives of the restricted log-likelihood by the variances: log L at m->variance, and what
 * the estimation of the effects adds. */
static qx_status restricted_slope(qx_linear_maker *m, double u[], bool *done)
{
    const qx_status status = m->score(m->cx, m->fit, m->variance, u);
    *done = status == QX_OK;
    if (status == QX_E_NUMERIC) {
        qx_ctx_forgive(m->cx);
        return QX_OK;
    }
    QX_TRY(status);
    for (size_t k = 0; k < m->parts; k++) {
        u[k] += 0.5 * (qx_linear_trace(m, m->inverse, k) - qx_linear_trace(m, m->P, k));
        *done = *done && isfinite(u[k]);
    }
    return QX_OK;
}

/* One scoring step along the variances that may move; *promise: what it would gain, nearly. */
static qx_status
step(qx_linear_maker *m, qx_mat I, const double u[], double length, double *promise)
{
    bool moves[QX_LINEARISED_TERMS_MOST] = {false}, done;
    double by[QX_LINEARISED_TERMS_MOST] = {0.0};
    qx_mat A;
    QX_TRY(qx_linear_room(m, m->parts, m->parts, &A));
    for (size_t k = 0; k < m->parts; k++) {
        moves[k] = m->variance[k] > 0.0 || u[k] > 0.0;
    }
    QX_TRY(qx_linear_invert(m, I, moves, A, &done));
    *promise = 0.0;
    for (size_t k = 0; done && k < m->parts; k++) {
        for (size_t j = 0; j < m->parts; j++) {
            by[k] += QX_AT(A, k, j) * u[j];
        }
        *promise += 0.5 * u[k] * by[k];
    }
    for (size_t k = 0; k < m->parts; k++) {
        m->variance[k] = fmax(m->variance[k] + length * by[k], 0.0);
    }
    return QX_OK;
}

/* To the restricted estimates from where the variances are. */
static qx_status climb(qx_linear_maker *m, bool *done)
{
    double before = HUGE_VAL, length = 1.0;
    for (size_t i = 0; i < STEPS_MOST; i++) {
        double u[QX_LINEARISED_TERMS_MOST], promise;
        qx_mat I;
        QX_TRY(qx_linear_room(m, m->parts, m->parts, &I));
        QX_TRY(restricted_slope(m, u, done));
        if (!*done) {
            return QX_OK;
        }
        QX_TRY(qx_linear_information(m, I));
        QX_TRY(step(m, I, u, length, &promise));
        QX_TRY(qx_linear_solve(m, done));
        if (!*done || promise < CLOSE) {
            return QX_OK;
        }
        length = promise > before ? fmax(0.5 * length, SHORTEST) : length;
        before = promise;
    }
    return QX_OK;
}

/* Derivatives of C: C W' S_k W C. */
static qx_status slopes(qx_linear_maker *m, qx_arena *arena, qx_linearised *l)
{
    qx_mat SW;
    double *unit;
    QX_TRY(qx_linear_unit_room(m, &unit));
    QX_TRY(qx_linear_room(m, m->n, m->p, &SW));
    for (size_t k = 0; k < m->parts; k++) {
        QX_TRY(qx_mat_new(m->cx, arena, m->p, m->p, &l->slope[k]));
        qx_linear_times(m, k, m->WC, unit, SW);
        QX_TRY(qx_mat_multiply(m->cx, 't', 'n', 1.0, m->WC, SW, 0.0, l->slope[k]));
    }
    return QX_OK;
}

/* How far the variances would go without the bound at nil: one scoring step of all of them from
 * the bounded estimates, where only what lies at nil still has a slope. */
static qx_status beyond(qx_linear_maker *m, qx_mat I, double by[], bool *done)
{
    bool all[QX_LINEARISED_TERMS_MOST] = {false}, any = false;
    double u[QX_LINEARISED_TERMS_MOST];
    qx_mat A;
    for (size_t k = 0; k < m->parts; k++) {
        all[k] = true;
        by[k] = 0.0;
        any = any || m->variance[k] == 0.0;
    }
    if (!any) {
        return QX_OK;
    }
    QX_TRY(qx_linear_room(m, m->parts, m->parts, &A));
    QX_TRY(restricted_slope(m, u, done));
    if (!*done) {
        return QX_OK;
    }
    QX_TRY(qx_linear_invert(m, I, all, A, done));
    for (size_t k = 0; k < m->parts; k++) {
        for (size_t j = 0; j < m->parts; j++) {
            by[k] += QX_AT(A, k, j) * u[j];
        }
    }
    return QX_OK;
}

static qx_status make(qx_linear_maker *m, qx_arena *arena, qx_linearised *l, bool *done)
{
    qx_mat I;
    QX_TRY(qx_linear_rooms(m));
    QX_TRY(qx_linear_room(m, m->parts, m->parts, &I));
    for (size_t k = 0; k < m->parts; k++) {
        m->variance[k] = m->part[k].told;
    }
    QX_TRY(qx_linear_solve(m, done));
    if (!*done) {
        return QX_OK;
    }
    QX_TRY(qx_mat_new(m->cx, arena, m->p, m->p, &l->plain));
    QX_TRY(qx_mat_new(m->cx, arena, m->p, m->p, &l->C));
    QX_TRY(qx_mat_new(m->cx, arena, m->parts, m->parts, &l->A));
    qx_mat_copy(l->plain, m->C);
    for (size_t k = 0; k < m->parts; k++) {
        m->variance[k] = m->part[k].variance;
    }
    QX_TRY(qx_linear_solve(m, done));
    if (*done) {
        QX_TRY(climb(m, done));
    }
    if (!*done) {
        return QX_OK;
    }
    memcpy(l->variance, m->variance, sizeof l->variance);
    qx_mat_copy(l->C, m->C);
    QX_TRY(qx_linear_information(m, I));
    QX_TRY(beyond(m, I, l->beyond, done));
    if (!*done) {
        return QX_OK;
    }
    QX_TRY(qx_linear_covariance(m, I, l->A, done));
    return *done ? slopes(m, arena, l) : QX_OK;
}

qx_status qx_linearised_make(qx_ctx *cx,
                             qx_arena *arena,
                             const qx_linearised_rows *rows,
                             size_t part_count,
                             const qx_linearised_part part[],
                             qx_linearised_score *score,
                             const void *fit,
                             const qx_linearised **out)
{
    qx_linear_maker m = {.cx = cx,
                         .rows = rows,
                         .n = rows->X.rows,
                         .p = rows->X.cols,
                         .parts = part_count,
                         .part = part,
                         .score = score,
                         .fit = fit};
    qx_linearised *l;
    qx_status status;
    bool done = false;
    *out = NULL;
    if (part_count == 0 || part_count > QX_LINEARISED_TERMS_MOST ||
        m.n > QX_LINEARISED_ROWS_MOST) {
        return QX_OK;
    }
    QX_NEW_IN(cx, arena, l, 1);
    l->p = m.p;
    l->parts = part_count;
    QX_SCRATCH(cx, status, make(&m, arena, l, &done));
    *out = status == QX_OK && done ? l : NULL;
    return status;
}
