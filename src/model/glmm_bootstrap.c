#include "model/glmm_bootstrap.h"

#include <math.h>

#include "base/workers.h"
#include "model/glmm_inner.h"

/* Ratios that differ by less are equal: data of counts have many ties. */
static const double TIE = 1e-7;

typedef struct bootstrap {
    const qx_glmm *fit, *under;
    const qx_rng *stream;
    double *ratio;
} bootstrap;

static qx_status replicate(qx_ctx *cx, void *shared, size_t task)
{
    bootstrap *b = shared;
    qx_rng rng = b->stream[task];
    qx_glmm_quick whole = {0}, null = {0};
    double *k;
    b->ratio[task] = NAN;
    QX_NEW(cx, k, b->fit->n);
    QX_TRY(qx_glmm_simulate(cx, b->under, &rng, k));
    QX_TRY(qx_glmm_refit(cx, b->fit, k, false, &whole));
    QX_TRY(qx_glmm_refit(cx, b->under, k, true, &null));
    if (whole.converged && null.converged) {
        b->ratio[task] = fmax(0.0, 2.0 * (whole.log_likelihood - null.log_likelihood));
    }
    return QX_OK;
}

/* Each stream is the one before, jumped once: as qx_rng_stream, without starting over. */
static void make_streams(uint64_t seed, size_t count, qx_rng stream[])
{
    qx_rng rng = qx_rng_seeded(seed);
    for (size_t i = 0; i < count; i++) {
        stream[i] = rng;
        qx_rng_jump(&rng);
    }
}

static qx_status run(qx_ctx *cx,
                     const qx_glmm *fit,
                     const qx_glmm *under,
                     size_t replicates,
                     uint64_t seed,
                     double ratio[],
                     qx_glmm_bootstrap *out)
{
    const qx_workers_options options = {.what = "refits"};
    bootstrap b = {.fit = fit, .under = under};
    size_t above = 0;
    qx_rng *stream;
    QX_NEW(cx, stream, replicates);
    make_streams(seed, replicates, stream);
    b.stream = stream;
    b.ratio = ratio;
    if (ratio == NULL) {
        QX_NEW(cx, b.ratio, replicates);
    }
    QX_TRY(qx_workers_run(cx, &options, replicates, replicate, &b));
    qx_glmm_bootstrap found = {.seed = seed};
    /* With a penalty that of both counts, as in the refits. */
    found.observed = fmax(0.0, 2.0 * (fit->inner->fit.value - under->inner->fit.value));
    for (size_t i = 0; i < replicates; i++) {
        found.failed += isnan(b.ratio[i]) ? 1 : 0;
        above += b.ratio[i] >= found.observed - TIE ? 1 : 0;
    }
    found.replicates = replicates - found.failed;
    found.p = (1.0 + (double)above) / ((double)found.replicates + 1.0);
    *out = found;
    return QX_OK;
}

qx_status qx_glmm_bootstrap_rows(qx_ctx *cx,
                                 const qx_glmm *fit,
                                 qx_mat L,
                                 size_t replicates,
                                 uint64_t seed,
                                 double ratio[],
                                 qx_glmm_bootstrap *out)
{
    qx_glmm *under = NULL;
    qx_status status;
    if (replicates == 0) {
        return qx_fail(cx, QX_E_ARG, "a bootstrap of no replicates");
    }
    QX_TRY(qx_glmm_restrict(cx, fit, L, &under));
    QX_SCRATCH(cx, status, run(cx, fit, under, replicates, seed, ratio, out));
    qx_glmm_free(under);
    return status;
}
