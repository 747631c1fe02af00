#include "findings/contrast_family.h"

#include <math.h>

#include "numeric/mvt.h"

/* Below this the joint distribution is not computed; Bonferroni's value stands in. */
#define DF_LEAST 1.0

static bool can_be_made(const qx_contrast_line *c)
{
    return isfinite(c->estimate) && c->se > 0.0 && c->df > 0.0;
}

static qx_status join(qx_work *w,
                      qx_mat gradient,
                      size_t count,
                      qx_contrast_line line[],
                      qx_mvt_family **out)
{
    const qx_estimator *e = &w->estimator;
    qx_mat r;
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), count, count, &r));
    for (size_t a = 0, i = 0; i < count; a++) {
        if (!can_be_made(&line[a])) {
            continue;
        }
        for (size_t b = 0, j = 0; j < count; b++) {
            if (!can_be_made(&line[b])) {
                continue;
            }
            const double cov =
                e->kind->covariance(e, &QX_AT(gradient, 0, a), &QX_AT(gradient, 0, b));
            QX_AT(r, i, j) =
                i == j ? 1.0 : fmax(-1.0, fmin(1.0, cov / (line[a].se * line[b].se)));
            j++;
        }
        i++;
    }
    qx_arena *own = qx_arena_inside(qx_ctx_scratch(w->cx));
    if (own == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the family of contrasts");
    }
    return qx_mvt_family_new(w->cx, own, r, out);
}

static qx_status
adjust(qx_work *w, qx_mat gradient, size_t count, qx_contrast_line line[])
{
    qx_mvt_family *family = NULL;
    size_t made = 0;
    for (size_t i = 0; i < count; i++) {
        line[i].p_adjusted = can_be_made(&line[i]) ? line[i].p : (double)NAN;
        made += can_be_made(&line[i]) ? 1 : 0;
    }
    if (made < 2 || w->estimator.kind->covariance == NULL) {
        return QX_OK;
    }
    QX_TRY(join(w, gradient, made, line, &family));
    for (size_t i = 0; i < count; i++) {
        if (!can_be_made(&line[i])) {
            continue;
        }
        double p = fmin(1.0, (double)made * line[i].p);
        if (line[i].df >= DF_LEAST) {
            QX_TRY(qx_mvt_family_p(
                w->cx, family, line[i].df, fabs(line[i].value), &p, NULL));
        }
        line[i].p_adjusted = fmin(1.0, fmax(p, line[i].p));
    }
    return QX_OK;
}

qx_status
qx_contrast_family(qx_work *w, qx_mat gradient, size_t count, qx_contrast_line line[])
{
    qx_status status;
    QX_SCRATCH(w->cx, status, adjust(w, gradient, count, line));
    return status;
}
