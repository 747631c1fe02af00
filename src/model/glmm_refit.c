/* model/glmm_refit.c - the same model to other responses, and responses from the model. */
#include <math.h>
#include <string.h>

#include "model/glmm_inner.h"

/* Half the squared last step, in units of log L: a likelihood ratio is right to its square
 * root of the step that would follow. */
static const double PRECISION = 1e-8;

static qx_status check_values(qx_ctx *cx, const qx_glmm *fit, const double k[])
{
    size_t row = 0;
    const char *why = "";
    if (qx_family_refused(fit->family, fit->n, k, fit->inner->size, 1, &row, &why) > 0) {
        return qx_fail(cx, QX_E_INPUT, "row %zu cannot be: %s", row + 1, why);
    }
    return QX_OK;
}

static void hand_estimates(const qx_glmm *fit, const double x[], qx_glmm_quick *out)
{
    const struct qx_glmm_inner *inner = fit->inner;
    for (size_t i = 0; out->beta != NULL && i < fit->p; i++) {
        out->beta[i] = inner->restricted ? x[i] : 0.0;
        for (size_t k = 0; !inner->restricted && k < fit->p; k++) {
            out->beta[i] += QX_AT(inner->T, i, k) * x[k];
        }
    }
    for (size_t k = 0; out->sd != NULL && k < fit->m; k++) {
        out->sd[k] = x[fit->p + k];
    }
    out->psi = fit->family->parameters > 0 ? x[fit->p + fit->m] : 0.0;
}

/* The estimates of `fit` as a start: what was at nil begins a little beside it. */
static qx_status own_start(qx_ctx *cx, const qx_glmm *fit, double **out)
{
    const struct qx_glmm_inner *inner = fit->inner;
    double *x;
    QX_NEW(cx, x, fit->length);
    for (size_t j = 0; j < fit->length; j++) {
        const bool held = inner->held != NULL && inner->held[j];
        x[j] = j < fit->p || held ? inner->fit.x[j] : fmax(inner->fit.x[j], 0.2);
    }
    *out = x;
    return QX_OK;
}

static qx_status refit(qx_ctx *cx,
                       const qx_glmm *fit,
                       const double k[],
                       bool start_here,
                       qx_laplace_fit *found)
{
    const struct qx_glmm_inner *inner = fit->inner;
    const qx_laplace_options options = {
        .fixed = inner->held, .precision = PRECISION, .no_curvature = true};
    qx_family_rows data;
    double *start = NULL;
    QX_TRY(check_values(cx, fit, k));
    QX_TRY(qx_glmm_data(cx, qx_ctx_scratch(cx), fit, k, &data));
    if (start_here) {
        QX_TRY(own_start(cx, fit, &start));
    }
    return qx_glmm_maximise(
        cx, qx_ctx_scratch(cx), inner, fit->family, &data, start, &options, found);
}

qx_status qx_glmm_refit(
    qx_ctx *cx, const qx_glmm *fit, const double k[], bool start_here, qx_glmm_quick *out)
{
    const qx_arena_mark mark = qx_arena_get_mark(qx_ctx_scratch(cx));
    qx_laplace_fit found = {0};
    const qx_status status = refit(cx, fit, k, start_here, &found);
    if (status == QX_OK) {
        hand_estimates(fit, found.x, out);
        out->log_likelihood = found.value;
        out->converged = found.converged;
    }
    qx_arena_rewind(qx_ctx_scratch(cx), mark);
    return status;
}

/* Linear predictors of the engine's rows, effects drawn anew. */
static qx_status
draw_predictors(qx_ctx *cx, const qx_glmm *fit, qx_rng *rng, double **out)
{
    const struct qx_glmm_inner *inner = fit->inner;
    double *eta = NULL;
    QX_NEW(cx, eta, inner->X.rows);
    for (size_t j = 0; j < inner->X.rows; j++) {
        for (size_t c = 0; c < inner->X.cols; c++) {
            eta[j] += QX_AT(inner->X, j, c) * inner->fit.x[c];
        }
    }
    for (size_t k = 0; k < fit->m; k++) {
        const qx_laplace_random *unit = &inner->problem.random[k];
        double *u;
        QX_NEW(cx, u, unit->level_count);
        for (size_t c = 0; c < unit->level_count; c++) {
            u[c] = fit->sd[k] * qx_rng_normal(rng);
        }
        for (size_t j = 0; j < inner->X.rows; j++) {
            eta[j] += u[unit->code[j]];
        }
    }
    *out = eta;
    return QX_OK;
}

static qx_status simulate(qx_ctx *cx, const qx_glmm *fit, qx_rng *rng, double k[])
{
    const struct qx_glmm_inner *inner = fit->inner;
    double *eta = NULL;
    QX_TRY(draw_predictors(cx, fit, rng, &eta));
    for (size_t i = 0; i < fit->n; i++) {
        const double n = inner->size == NULL ? 0.0 : inner->size[i];
        const double mean = qx_link_mean(fit->link, eta[inner->rows.group[i]]);
        k[i] = fit->family->simulate(rng, n, mean, fit->psi);
        if (!isfinite(k[i])) {
            return qx_fail(cx,
                           QX_E_NUMERIC,
                           "row %zu has a mean from which nothing is drawn",
                           i + 1);
        }
    }
    return QX_OK;
}

qx_status qx_glmm_simulate(qx_ctx *cx, const qx_glmm *fit, qx_rng *rng, double k[])
{
    qx_status status;
    if (fit->inner->times != NULL) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "rows that stand for several things are not drawn: one value "
                       "would have to serve all of them");
    }
    QX_SCRATCH(cx, status, simulate(cx, fit, rng, k));
    return status;
}
