#include "findings/rehearsal.h"

#include <math.h>
#include <string.h>

#include "base/workers.h"
#include "findings/analyse.h"
#include "findings/redraw.h"
#include "layout/layout.h"
#include "trial/structure.h"

#define SEED_LAYOUT 1

typedef enum { CALLED = 1, EQUIVALENT = 2, MISTAKEN = 4, FAILED = 8 } outcome;

typedef struct rehearsal {
    qx_ctx *cx;
    qx_arena *arena; /* frame and truths */
    const qx_protocol *protocol;
    size_t variate, treatment, samples;
    const qx_plan_scale *scale;
    uint64_t seed;
    qx_layout *layout;
    qx_variate_frame frame;
    const qx_redraw *redraw; /* of the truth being rehearsed */
    unsigned char *said;     /* outcome bits of each trial */
} rehearsal;

/* --- the truth --- */

static qx_status fill_truth(rehearsal *r, double effect, qx_truth *truth)
{
    const qx_treatment *t = &r->protocol->treatment[r->treatment];
    const size_t units = r->protocol->unit_count, own = r->scale->variate->on;
    qx_truth_spread *spread;
    qx_truth_effect *last;
    QX_NEW_IN(r->cx, r->arena, spread, units);
    QX_NEW_IN(r->cx, r->arena, last, 1);
    for (size_t u = 0; u < units; u++) {
        const double variance =
            u == own ? r->scale->own_variance : r->scale->spreads.variance[u];
        const double *season = r->scale->spreads.variance_by_season;
        spread[u] =
            (qx_truth_spread){.unit = r->protocol->unit[u].name,
                              .sd = sqrt(variance),
                              .sd_season = season == NULL ? 0.0 : sqrt(season[u])};
    }
    *last = (qx_truth_effect){t->name, t->level[t->level_count - 1], effect};
    const bool grades = r->scale->variate->kind == QX_ORDINAL;
    *truth = (qx_truth){.variate = r->scale->variate->name,
                        .mean = grades ? 0.0 : r->scale->eta,
                        .effect_count = 1,
                        .effect = last,
                        .spread_count = units,
                        .spread = spread,
                        .size = r->scale->size,
                        .extra = r->scale->dispersion,
                        .share = grades ? r->scale->variate->expect->share : NULL};
    return QX_OK;
}

/* --- one trial --- */

static bool has_level(const qx_cell *cell, const char *level)
{
    return cell->count == 1 && strcmp(cell->level[0], level) == 0;
}

/* Verdicts go by the tests for few units, where p_adjusted is the asymptotic one. */
static bool called_out(const qx_difference *d)
{
    return d->verdict == QX_HIGHER || d->verdict == QX_LOWER_VERDICT ||
           d->verdict == QX_TRIVIAL;
}

/* What the analysis of one trial said of the treatment's differences. */
static unsigned read_verdicts(const rehearsal *r, const qx_result *result)
{
    const qx_treatment *t = &r->protocol->treatment[r->treatment];
    const char *first = t->level[0], *last = t->level[t->level_count - 1];
    const double alpha = 1.0 - r->protocol->analysis.level;
    unsigned said = FAILED;
    for (size_t i = 0; i < result->difference_count; i++) {
        const qx_difference *d = &result->difference[i];
        if (strcmp(d->term, t->name) != 0 || isnan(d->p_adjusted)) {
            continue;
        }
        said |= called_out(d) ? MISTAKEN : 0U;
        if ((has_level(&d->first, first) && has_level(&d->second, last)) ||
            (has_level(&d->first, last) && has_level(&d->second, first))) {
            said &= ~(unsigned)FAILED;
            said |= called_out(d) ? CALLED : 0U;
            said |= d->p_equivalence < alpha ? EQUIVALENT : 0U;
        }
    }
    return said;
}

static qx_status analyse(qx_ctx *cx, rehearsal *r, size_t trial, qx_arena *arena)
{
    double *y;
    qx_result result = {0};
    QX_NEW_IN(cx, arena, y, r->frame.n);
    QX_TRY(qx_redraw_values(cx, r->redraw, r->seed, trial, y));
    QX_TRY(qx_analyse_again(cx, arena, r->protocol, r->variate, &r->frame, y, &result));
    r->said[trial] = (unsigned char)read_verdicts(r, &result);
    return QX_OK;
}

static qx_status one_trial(qx_ctx *cx, void *shared, size_t trial)
{
    rehearsal *r = shared;
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a simulated trial");
    }
    const qx_status status = analyse(cx, r, trial, arena);
    qx_arena_free(arena);
    return status;
}

/* --- all trials of one truth --- */

static double share_of(const rehearsal *r, size_t trials, unsigned bit)
{
    size_t count = 0;
    for (size_t i = 0; i < trials; i++) {
        count += (size_t)((r->said[i] & bit) != 0);
    }
    return (double)count / (double)trials;
}

static qx_status run(rehearsal *r, double effect, size_t trials)
{
    const qx_workers_options options = {.what = "simulated trials"};
    qx_truth *truth;
    QX_NEW_IN(r->cx, r->arena, truth, 1);
    QX_TRY(fill_truth(r, effect, truth));
    QX_TRY(qx_redraw_new(
        r->cx, r->arena, r->protocol, r->variate, &r->frame, truth, &r->redraw));
    if (qx_redraw_size(r->redraw) != NULL) {
        r->frame.size = qx_redraw_size(r->redraw);
    }
    return qx_workers_run(r->cx, &options, trials, one_trial, r);
}

static qx_status rehearse(rehearsal *r, size_t trials, qx_rehearsed *out)
{
    qx_layout_spec spec = {0};
    QX_TRY(qx_structure_of(r->cx, r->arena, r->protocol, &spec));
    QX_TRY(qx_layout_make(r->cx, &spec, SEED_LAYOUT, &r->layout));
    QX_TRY(qx_redraw_frame(
        r->cx, r->arena, r->protocol, r->layout, r->variate, r->samples, &r->frame));
    QX_NEW_IN(r->cx, r->arena, r->said, trials);
    QX_TRY(run(r, r->scale->step, trials));
    out->power = share_of(r, trials, CALLED);
    double failed = share_of(r, trials, FAILED);
    QX_TRY(run(r, 0.0, trials));
    out->power_equivalence = share_of(r, trials, EQUIVALENT);
    out->error = share_of(r, trials, MISTAKEN);
    failed += share_of(r, trials, FAILED);
    out->failed = (size_t)lround(failed * (double)trials);
    out->trials = trials;
    return QX_OK;
}

qx_status qx_rehearse(qx_ctx *cx,
                      const qx_protocol *protocol,
                      size_t variate,
                      size_t treatment,
                      size_t samples,
                      const qx_plan_scale *scale,
                      size_t trials,
                      uint64_t seed,
                      qx_rehearsed *out)
{
    if (scale->variate->transform != QX_TRANSFORM_NONE || !(scale->step > 0.0)) {
        return qx_fail(cx,
                       QX_E_INPUT,
                       "%s is not simulated: that needs a margin, and no transform",
                       scale->variate->name);
    }
    rehearsal r = {.cx = cx,
                   .arena = qx_arena_new(),
                   .protocol = protocol,
                   .variate = variate,
                   .treatment = treatment,
                   .samples = samples,
                   .scale = scale,
                   .seed = seed};
    qx_rehearsed made = {0};
    const qx_status status = r.arena == NULL
                                 ? qx_fail(cx, QX_E_NOMEM, "no memory to rehearse")
                                 : rehearse(&r, trials, &made);
    if (status == QX_OK) {
        *out = made;
    }
    qx_layout_free(r.layout);
    qx_arena_free(r.arena);
    return status;
}
