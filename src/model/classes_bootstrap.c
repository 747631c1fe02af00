#include "model/classes_bootstrap.h"

#include <math.h>

#include "base/workers.h"

/* Ratios that differ by less are equal: classes have many ties, and a refit stops within
 * 2e-7 of log L. */
static const double TIE = 1e-6;

typedef struct bootstrap {
    const qx_classes_null *null;
    const qx_rng *stream;
    double *ratio;
} bootstrap;

static qx_status replicate(qx_ctx *cx, void *shared, size_t task)
{
    const bootstrap *b = shared;
    qx_rng rng = b->stream[task];
    return qx_classes_null_draw(cx, b->null, &rng, &b->ratio[task]);
}

static qx_status run(qx_ctx *cx,
                     const qx_classes_null *null,
                     size_t replicates,
                     double ratio[],
                     qx_classes_bootstrap *out)
{
    const qx_workers_options options = {.what = "refits"};
    bootstrap b = {.null = null};
    qx_rng rng = qx_rng_seeded(out->seed), *stream;
    size_t above = 0;
    QX_NEW(cx, stream, replicates);
    for (size_t i = 0; i < replicates; i++) {
        stream[i] = rng;
        qx_rng_jump(&rng);
    }
    b.stream = stream;
    b.ratio = ratio;
    if (ratio == NULL) {
        QX_NEW(cx, b.ratio, replicates);
    }
    QX_TRY(qx_workers_run(cx, &options, replicates, replicate, &b));
    out->observed = qx_classes_null_observed(null);
    out->replicates = replicates;
    for (size_t i = 0; i < replicates; i++) {
        above += b.ratio[i] >= out->observed - TIE;
    }
    out->p = (1.0 + (double)above) / ((double)replicates + 1.0);
    return QX_OK;
}

qx_status qx_classes_bootstrap_rows(qx_ctx *cx,
                                    const qx_classes *fit,
                                    qx_mat L,
                                    size_t replicates,
                                    uint64_t seed,
                                    double ratio[],
                                    qx_classes_bootstrap *out)
{
    qx_classes_bootstrap found = {.seed = seed};
    const qx_classes_null *null;
    if (replicates == 0) {
        return qx_fail(cx, QX_E_ARG, "a bootstrap of no replicates");
    }
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a bootstrap");
    }
    qx_status status = qx_classes_null_make(cx, arena, fit, L, &null);
    if (status == QX_OK) {
        QX_SCRATCH(cx, status, run(cx, null, replicates, ratio, &found));
    }
    qx_arena_free(arena);
    if (status == QX_OK) {
        *out = found;
    }
    return status;
}
