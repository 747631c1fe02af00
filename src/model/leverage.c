#include "model/leverage.h"

#include <math.h>
#include <string.h>

#include "model/design_rows.h"
#include "model/weighting.h"

static qx_status mixed(qx_ctx *cx, const qx_lmm *fit, double leverage[], double pull[])
{
    qx_weighting w;
    QX_TRY(qx_weighting_make(cx, fit, &w));
    for (size_t i = 0; i < fit->n; i++) {
        pull[i] = w.lost ? (double)NAN : qx_weighting_pull(&w, i, i);
        leverage[i] = w.lost ? (double)NAN : qx_weighting_shrunk(&w, i, i) + pull[i];
    }
    return QX_OK;
}

static bool any_above_zero(const qx_lmm *fit)
{
    for (size_t i = 0; i < fit->random_count; i++) {
        if (fit->component[i].variance > 0.0) {
            return true;
        }
    }
    return false;
}

qx_status qx_leverage_of(qx_ctx *cx, const qx_lmm *fit, double leverage[], double pull[])
{
    qx_status status;
    if (any_above_zero(fit)) {
        QX_SCRATCH(cx, status, mixed(cx, fit, leverage, pull));
        return status;
    }
    QX_TRY(qx_design_leverage(cx, &fit->design, leverage));
    memcpy(pull, leverage, fit->n * sizeof pull[0]);
    return QX_OK;
}
