#include "findings/replicated.h"

#include <math.h>

#include "numeric/qr.h"

/* Share of a vector's length that X may leave over by rounding. */
static const double LEFT_OVER = 1e-9;

/* A number of its own for each unit: the fraction of k times the golden ratio. */
static double own_number(size_t k)
{
    const double x = (double)(k + 1) * 0.6180339887498949;
    return x - floor(x);
}

/* Does X take up all that units of this term could differ by? */
static bool taken_up(const qx_work *w, const qx_qr *qr, const qx_factor *unit, double y[])
{
    double left = 0.0, all = 0.0;
    for (size_t i = 0; i < w->data.n; i++) {
        y[i] = own_number(unit->code[i]);
        all += y[i] * y[i];
    }
    qx_qr_apply(qr, 't', y);
    for (size_t i = qr->rank; i < w->data.n; i++) {
        left += y[i] * y[i];
    }
    return left <= LEFT_OVER * LEFT_OVER * all;
}

static qx_status any_taken_up(qx_work *w, bool *out)
{
    double *y;
    *out = false;
    QX_NEW_IN(w->cx, w->temporary, w->taken_up, w->choice.random_count);
    if (w->design->row_of != NULL) {
        return QX_OK; /* compact: far more rows than treatments */
    }
    for (size_t k = 0; k < w->choice.random_count; k++) {
        const qx_factor *unit = &w->data.frame.factor[w->choice.random[k].factor];
        if (unit->level_count > w->design->p) {
            continue; /* more than X could take up */
        }
        QX_NEW(w->cx, y, w->data.n);
        w->taken_up[k] = taken_up(w, &w->design->qr, unit, y);
        *out = *out || w->taken_up[k];
    }
    return QX_OK;
}

/* A linear model of the layout; its values mean nothing. */
static qx_status fit_layout(qx_work *w)
{
    double *y;
    qx_lmm *fit = NULL;
    qx_lmm_spec spec = qx_choice_spec(&w->choice, &w->data, w->level);
    QX_NEW(w->cx, y, w->data.n);
    for (size_t i = 0; i < w->data.n; i++) {
        y[i] = own_number(i * i + 1);
    }
    spec.y = y;
    spec.shift = 0.0;
    spec.df = QX_CONTAINMENT;
    qx_ctx *aside = qx_ctx_new(); /* its notes are about a model that nobody asked for */
    if (aside == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory to look for replicates");
    }
    const qx_status status = qx_lmm_fit(aside, &spec, &fit);
    qx_ctx_free(aside);
    if (status == QX_E_NOMEM) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory to look for replicates");
    }
    if (status == QX_OK && fit->p == w->design->p) {
        w->unreplicated = fit;
    } else {
        qx_lmm_free(fit);
    }
    return QX_OK;
}

static qx_status make(qx_work *w)
{
    bool any;
    QX_TRY(any_taken_up(w, &any));
    return any ? fit_layout(w) : QX_OK;
}

qx_status qx_replicated_make(qx_work *w)
{
    qx_status status;
    w->unreplicated = NULL;
    QX_SCRATCH(w->cx, status, make(w));
    return status;
}

bool qx_variance_unseen(const qx_work *w, size_t term, qx_variance_line *line)
{
    if (w->unreplicated == NULL || !w->taken_up[term]) {
        return false;
    }
    line->variance = line->sd = line->lower = line->upper = line->lrt = line->p = NAN;
    line->at_zero = false;
    return true;
}

qx_status qx_tell_unreplicated(qx_work *w)
{
    for (size_t t = 0; w->unreplicated != NULL && t < w->choice.random_count; t++) {
        if (!w->taken_up[t]) {
            continue;
        }
        QX_TRY(qx_note(w->cx,
                       "No %s is a replicate of another: treatments take up all the "
                       "differences between them. What rests on these differences is "
                       "estimated, but has no standard error and no test.",
                       w->choice.random[t].name));
    }
    return QX_OK;
}

qx_status qx_replicated_row(qx_work *w, const double row[], bool *out)
{
    qx_estimate e;
    *out = true;
    if (w->unreplicated != NULL) {
        QX_TRY(qx_lmm_contrast(w->cx, w->unreplicated, row, 0.0, &e));
        *out = !isnan(e.se);
    }
    return QX_OK;
}

qx_status qx_replicated_rows(qx_work *w, qx_mat L, bool *out)
{
    double *row;
    *out = true;
    if (w->unreplicated == NULL) {
        return QX_OK;
    }
    QX_NEW(w->cx, row, L.cols);
    for (size_t r = 0; r < L.rows && *out; r++) {
        for (size_t j = 0; j < L.cols; j++) {
            row[j] = QX_AT(L, r, j);
        }
        QX_TRY(qx_replicated_row(w, row, out));
    }
    return QX_OK;
}
