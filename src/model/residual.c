#include "model/residual.h"

#include <math.h>
#include <string.h>

#include "model/general_fit.h"
#include "model/leverage.h"

typedef struct columns {
    double *raw, *leverage, *pull, *standardised, *studentised, *cook;
} columns;

static qx_status new_columns(qx_ctx *cx, qx_arena *arena, size_t n, columns *c)
{
    QX_NEW_IN(cx, arena, c->raw, n);
    QX_NEW_IN(cx, arena, c->leverage, n);
    QX_NEW_IN(cx, arena, c->standardised, n);
    QX_NEW_IN(cx, arena, c->studentised, n);
    QX_NEW_IN(cx, arena, c->cook, n);
    QX_NEW(cx, c->pull, n);
    return QX_OK;
}

/* t from r, both with the same residual degrees of freedom. r^2 = df means that the row
 * alone carries all variation that is left: its t is without bound. */
static double external(double r, double df)
{
    const double rest = df - r * r;
    if (df < 2.0) {
        return NAN;
    }
    return rest > 0.0 ? r * sqrt((df - 1.0) / rest) : copysign(INFINITY, r);
}

static void fill(const qx_lmm *fit, columns *c)
{
    const double sigma2 = fit->component[fit->component_count - 1].variance;
    const double df = (double)(fit->n - fit->p);
    for (size_t i = 0; i < fit->n; i++) {
        const double free_share = 1.0 - c->leverage[i];
        c->standardised[i] = c->studentised[i] = c->cook[i] = NAN;
        if (free_share > QX_LEVERAGE_FREE && sigma2 > 0.0) {
            const double r = c->raw[i] / sqrt(sigma2 * free_share);
            c->standardised[i] = r;
            c->studentised[i] = external(r, df);
            c->cook[i] = r * r * c->pull[i] / (free_share * (double)fit->p);
        }
    }
}

/* With a covariance of its own (model/general_fit.h). */
static qx_status fill_general(qx_ctx *cx, const qx_lmm *fit, columns *c)
{
    const struct qx_general_fit *own = fit->inner->general;
    QX_TRY(qx_general_diagnose(cx, fit));
    for (size_t i = 0; i < fit->n; i++) {
        c->leverage[i] = own->leverage[i];
        c->standardised[i] = own->standardised[i];
        c->studentised[i] = external(own->standardised[i], (double)(fit->n - fit->p));
        c->cook[i] = own->cook[i];
    }
    return QX_OK;
}

static qx_status make(qx_ctx *cx, qx_arena *arena, const qx_lmm *fit, qx_residuals *out)
{
    columns c = {0};
    QX_TRY(new_columns(cx, arena, fit->n, &c));
    memcpy(c.raw, fit->residual, fit->n * sizeof c.raw[0]);
    if (fit->inner != NULL && fit->inner->general != NULL) {
        QX_TRY(fill_general(cx, fit, &c));
    } else {
        QX_TRY(qx_leverage_of(cx, fit, c.leverage, c.pull));
        fill(fit, &c);
    }
    *out = (qx_residuals){.n = fit->n,
                          .raw = c.raw,
                          .leverage = c.leverage,
                          .standardised = c.standardised,
                          .studentised = c.studentised,
                          .cook = c.cook,
                          .df = fit->n > fit->p + 1 ? fit->n - fit->p - 1 : 0};
    return QX_OK;
}

qx_status
qx_residuals_make(qx_ctx *cx, qx_arena *arena, const qx_lmm *fit, qx_residuals *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, make(cx, arena, fit, out));
    return status;
}
