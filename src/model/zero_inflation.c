#include "model/zero_inflation.h"

#include <math.h>
#include <string.h>

#include "base/workers.h"
#include "numeric/chol.h"
#include "numeric/dist.h"

#define REPLICATES_DEFAULT 999

static double weight_of(const double times[], size_t i)
{
    return times == NULL ? 1.0 : times[i];
}

static double zeros_in(size_t n, const double k[], const double times[])
{
    double zeros = 0.0;
    for (size_t i = 0; i < n; i++) {
        zeros += k[i] < 0.5 ? weight_of(times, i) : 0.0;
    }
    return zeros;
}

/* m'X (X'diag(m)X)^-1 X'm, with weights. */
static qx_status
explained(qx_ctx *cx, const qx_glmm *fit, const double times[], double *out)
{
    const size_t p = fit->p;
    qx_mat A;
    double *b, *solved;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), p, p, &A));
    QX_NEW(cx, b, p);
    QX_NEW(cx, solved, p);
    for (size_t i = 0; i < fit->n; i++) {
        const double m = weight_of(times, i) * fit->fitted[i];
        for (size_t j = 0; j < p; j++) {
            const double x = QX_AT(fit->design.X, i, j);
            b[j] += m * x;
            for (size_t l = 0; l < p && x != 0.0; l++) {
                QX_AT(A, l, j) += m * x * QX_AT(fit->design.X, i, l);
            }
        }
    }
    memcpy(solved, b, p * sizeof *b);
    QX_TRY(qx_chol_factor(cx, A));
    QX_TRY(qx_chol_solve(cx, A, qx_mat_of(solved, p, 1)));
    *out = qx_dot(p, b, solved);
    return QX_OK;
}

static qx_status score(
    qx_ctx *cx, const qx_glmm *fit, const double k[], const double times[], qx_zeros *out)
{
    double u = 0.0, variance = 0.0, means = 0.0;
    QX_TRY(explained(cx, fit, times, &means));
    for (size_t i = 0; i < fit->n; i++) {
        const double w = weight_of(times, i), p0 = exp(-fit->fitted[i]);
        u += w * ((k[i] < 0.5 ? 1.0 / p0 : 0.0) - 1.0);
        variance += w * (1.0 - p0) / p0;
        out->expected += w * p0;
    }
    variance -= means;
    out->method = "score";
    out->value = variance > 0.0 ? u * u / variance : (double)NAN;
    out->p = u > 0.0 ? 0.5 * qx_chisq_p(out->value, 1.0, QX_UPPER)
                     : 1.0 - 0.5 * qx_chisq_p(out->value, 1.0, QX_UPPER);
    return QX_OK;
}

typedef struct draws {
    const qx_glmm *fit;
    const double *times;
    const qx_rng *stream;
    double *zeros;
} draws;

static qx_status draw(qx_ctx *cx, void *shared, size_t task)
{
    const draws *d = shared;
    qx_rng rng = d->stream[task];
    double *k;
    QX_NEW(cx, k, d->fit->n);
    QX_TRY(qx_glmm_simulate(cx, d->fit, &rng, k));
    d->zeros[task] = zeros_in(d->fit->n, k, d->times);
    return QX_OK;
}

static qx_status bootstrap(qx_ctx *cx,
                           const qx_glmm *fit,
                           const double times[],
                           size_t replicates,
                           uint64_t seed,
                           qx_zeros *out)
{
    const qx_workers_options options = {.what = "simulated trials"};
    draws d = {.fit = fit, .times = times};
    qx_rng rng = qx_rng_seeded(seed), *stream;
    double above = 0.0;
    QX_NEW(cx, stream, replicates);
    QX_NEW(cx, d.zeros, replicates);
    for (size_t i = 0; i < replicates; i++) {
        stream[i] = rng;
        qx_rng_jump(&rng);
    }
    d.stream = stream;
    QX_TRY(qx_workers_run(cx, &options, replicates, draw, &d));
    for (size_t i = 0; i < replicates; i++) {
        out->expected += d.zeros[i] / (double)replicates;
        above += d.zeros[i] >= out->observed ? 1.0 : 0.0;
    }
    out->method = "parametric bootstrap";
    out->value = out->expected > 0.0 ? out->observed / out->expected : (double)NAN;
    out->p = (1.0 + above) / (1.0 + (double)replicates);
    return QX_OK;
}

qx_status qx_zero_inflation(qx_ctx *cx,
                            const qx_glmm *fit,
                            const double k[],
                            const double times[],
                            size_t replicates,
                            uint64_t seed,
                            qx_zeros *out)
{
    qx_zeros found = {0};
    qx_status status = QX_OK;
    if (fit->family->serves != QX_SERVES_COUNT) {
        return qx_fail(cx, QX_E_ARG, "extra zeros are asked of counts only");
    }
    for (size_t i = 0; i < fit->n; i++) {
        found.things += weight_of(times, i);
    }
    found.observed = zeros_in(fit->n, k, times);
    if (fit->m == 0 && fit->family->parameters == 0) {
        QX_SCRATCH(cx, status, score(cx, fit, k, times, &found));
    } else if (times != NULL) {
        /* alike things of a row cannot be drawn apart (qx_glmm_simulate) */
        found.expected = found.value = found.p = NAN;
        found.method = "none";
    } else {
        const size_t draws_asked = replicates == 0 ? REPLICATES_DEFAULT : replicates;
        QX_SCRATCH(cx, status, bootstrap(cx, fit, times, draws_asked, seed, &found));
    }
    if (status == QX_OK) {
        *out = found;
    }
    return status;
}

const char *qx_zero_inflation_advice(qx_arena *arena, const qx_zeros *zeros, double alpha)
{
    if (!(zeros->p < alpha)) {
        return "";
    }
    return qx_arena_printf(
        arena,
        "%.0f of %.0f counts are zero where about %.0f were to be expected. Look first "
        "whether these could have borne anything at all (dead, damaged, not treated): "
        "such "
        "rows are missing, not zero. If all could, analyse the share that bore any, and "
        "the "
        "counts of those that did, as two variates.",
        zeros->observed,
        zeros->things,
        zeros->expected);
}
