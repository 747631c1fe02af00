/* Residuals that show odd values under a general covariance: general_fit.h. */
#include <math.h>

#include "model/general_fit.h"
#include "model/residual.h"
#include "numeric/chol.h"

/* Diagonal of R^-1 over one set, R the residual part of V. */
static qx_status residual_diagonal(
    qx_ctx *cx, const qx_general *g, const double theta[], size_t s, double out[])
{
    const size_t k = g->start[s + 1] - g->start[s];
    const size_t first = g->parts.at[QX_PART_RESIDUAL];
    qx_mat R, one;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, &R));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), k, k, &one));
    for (size_t l = 0; l < g->parts.levels; l++) {
        qx_parts_first(&g->parts, theta, first + l, k, g->row + g->start[s], one);
        for (size_t i = 0; i < k * k; i++) {
            R.at[i] += theta[first + l] * one.at[i];
        }
    }
    QX_TRY(qx_chol_factor(cx, R));
    QX_TRY(qx_chol_inverse(cx, R, one));
    for (size_t a = 0; a < k; a++) {
        out[a] = QX_AT(one, a, a);
    }
    return QX_OK;
}

static qx_status of_set(qx_ctx *cx, const qx_lmm *fit, size_t s)
{
    struct qx_general_fit *own = fit->inner->general;
    const qx_general *g = &own->general;
    const size_t first = g->start[s];
    const size_t k = g->start[s + 1] - first;
    double *alone, *row;
    QX_NEW(cx, alone, k);
    QX_NEW(cx, row, g->p);
    const qx_status status = residual_diagonal(cx, g, own->theta, s, alone);
    if (status == QX_E_NOT_PD) { /* no residual variation: nothing is free */
        qx_ctx_forgive(cx);
    } else {
        QX_TRY(status);
    }
    for (size_t a = 0; a < k; a++) {
        const size_t i = g->row[first + a];
        for (size_t j = 0; j < g->p; j++) {
            row[j] = QX_AT(own->at.A, first + a, j);
        }
        const double pull = qx_quadratic(own->at.phi, row);
        const double free_part =
            own->at.square[g->offset[s] + a + a * k] - pull; /* P_ii */
        const double py = own->at.py[first + a];
        own->standardised[i] = own->leverage[i] = own->cook[i] = NAN;
        if (free_part > QX_LEVERAGE_FREE * alone[a] && alone[a] > 0.0) {
            own->leverage[i] = 1.0 - free_part / alone[a];
            own->standardised[i] = py / sqrt(free_part);
            own->cook[i] = py / free_part * (py / free_part) * pull / (double)g->p;
        }
    }
    return QX_OK;
}

static qx_status new_columns(qx_ctx *cx, const qx_lmm *fit, struct qx_general_fit *own)
{
    QX_NEW_IN(cx, fit->arena, own->standardised, fit->n);
    QX_NEW_IN(cx, fit->arena, own->leverage, fit->n);
    QX_NEW_IN(cx, fit->arena, own->cook, fit->n);
    return QX_OK;
}

qx_status qx_general_diagnose(qx_ctx *cx, const qx_lmm *fit)
{
    struct qx_general_fit *own = fit->inner->general;
    const qx_general *g = &own->general;
    QX_TRY(new_columns(cx, fit, own));
    for (size_t s = 0; s < g->sets; s++) {
        qx_status status;
        QX_SCRATCH(cx, status, of_set(cx, fit, s));
        QX_TRY(status);
    }
    return QX_OK;
}
