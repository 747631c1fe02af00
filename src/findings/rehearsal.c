#include "findings/rehearsal.h"

#include <math.h>
#include <string.h>

#include "base/workers.h"
#include "findings/analyse.h"
#include "findings/redraw.h"
#include "layout/layout.h"
#include "layout/wishes.h"
#include "trial/structure.h"

#define SEED_LAYOUT 1

typedef enum { CALLED = 1, EQUIVALENT = 2, MISTAKEN = 4, FAILED = 8 } outcome;

typedef struct rehearsal {
    qx_ctx *cx;
    qx_arena *arena; /* frame and truths */
    const qx_rehearsal_spec *spec;
    const qx_variate *variate;
    const qx_treatment *treatment;
    qx_protocol drawn; /* the protocol by which values are drawn */
    qx_layout *layout;
    qx_variate_frame frame;
    const qx_redraw *redraw; /* of the truth being rehearsed */
    unsigned char *said;     /* outcome bits of each trial */
} rehearsal;

/* --- the truth --- */

/* Level of an added control that the treatment meets in, or QX_NO_WISH: it is compared with
 * no other level. */
static size_t added_level(const rehearsal *r)
{
    const qx_layout_wishes *wishes = r->spec->protocol->wishes;
    return wishes == NULL || wishes->added_control == NULL
               ? QX_NO_WISH
               : wishes->added_control[r->spec->treatment];
}

static const char *first_level(const rehearsal *r)
{
    return r->treatment->level[added_level(r) == 0 ? 1 : 0];
}

static const char *last_level(const rehearsal *r)
{
    const size_t last = r->treatment->level_count - 1;
    return r->treatment->level[added_level(r) == last ? last - 1 : last];
}

static qx_status fill_spread(rehearsal *r, qx_truth *truth)
{
    const qx_spreads *from = &r->spec->scale->spreads;
    const size_t units = r->drawn.unit_count;
    qx_truth_spread *spread;
    QX_NEW_IN(r->cx, r->arena, spread, units);
    for (size_t u = 0; u < units; u++) {
        spread[u] = (qx_truth_spread){.unit = r->drawn.unit[u].name,
                                      .sd = sqrt(from->variance[u]),
                                      .sd_season = sqrt(from->variance_by_season[u])};
    }
    truth->spread = spread;
    truth->spread_count = units;
    return QX_OK;
}

/* What is seen of things that far from the mean, over many units. */
static qx_status fill_mean(rehearsal *r, double step, qx_truth_mean *mean)
{
    const qx_plan_scale *scale = r->spec->scale;
    double *share;
    if (scale->share == NULL) {
        mean->mean = qx_plan_scale_mean_at(scale, step);
        return QX_OK;
    }
    QX_NEW_IN(r->cx, r->arena, share, r->variate->level_count);
    qx_plan_scale_shares_at(scale, step, share);
    mean->share = share;
    return QX_OK;
}

static qx_status fill_means(rehearsal *r, double step, qx_truth *truth)
{
    qx_truth_mean *mean;
    QX_NEW_IN(r->cx, r->arena, mean, 2);
    mean[0] = (qx_truth_mean){
        .count = 1, .factor = {r->treatment->name}, .level = {last_level(r)}};
    QX_TRY(fill_mean(r, step, &mean[0]));
    QX_TRY(fill_mean(r, 0.0, &mean[1]));
    truth->assumed = mean;
    truth->assumed_count = 2;
    return QX_OK;
}

/* Values stand on the scale of analysis: one effect. */
static qx_status fill_effect(rehearsal *r, double step, qx_truth *truth)
{
    const qx_plan_scale *scale = r->spec->scale;
    qx_truth_effect *last;
    QX_NEW_IN(r->cx, r->arena, last, 1);
    *last = (qx_truth_effect){r->treatment->name, last_level(r), scale->sign * step};
    truth->mean = isnan(scale->eta) ? 0.0 : scale->eta;
    truth->effect = last;
    truth->effect_count = 1;
    return QX_OK;
}

static qx_status fill_truth(rehearsal *r, double step, qx_truth *truth)
{
    const qx_plan_scale *scale = r->spec->scale;
    *truth = (qx_truth){
        .variate = r->variate->name, .size = scale->size, .extra = scale->dispersion};
    QX_TRY(fill_spread(r, truth));
    return scale->link == QX_LINK_IDENTITY ? fill_effect(r, step, truth)
                                           : fill_means(r, step, truth);
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

/* The class that is planned for; grades count all of theirs. */
static bool is_planned_for(const rehearsal *r, const qx_difference *d)
{
    return r->variate->kind != QX_NOMINAL || d->class_ == NULL ||
           strcmp(d->class_, r->variate->level[r->spec->scale->class_]) == 0;
}

/* Is the term the treatment, or its part of a factorial with an added control? */
static bool is_of(const char *term, const char *treatment)
{
    const size_t length = strlen(treatment);
    return strncmp(term, treatment, length) == 0 &&
           (term[length] == '\0' || strcmp(term + length, QX_PART_SUFFIX) == 0);
}

/* What the analysis of one trial said of the treatment's differences. */
static unsigned read_verdicts(const rehearsal *r, const qx_result *result)
{
    const qx_treatment *t = r->treatment;
    const char *first = first_level(r), *last = last_level(r);
    const double alpha = 1.0 - r->spec->protocol->analysis.level;
    unsigned said = FAILED;
    bool all_inside = true;
    for (size_t i = 0; i < result->difference_count; i++) {
        const qx_difference *d = &result->difference[i];
        if (!is_of(d->term, t->name) || isnan(d->p_adjusted)) {
            continue;
        }
        said |= called_out(d) ? MISTAKEN : 0U;
        if (is_planned_for(r, d) &&
            ((has_level(&d->first, first) && has_level(&d->second, last)) ||
             (has_level(&d->first, last) && has_level(&d->second, first)))) {
            said &= ~(unsigned)FAILED;
            said |= called_out(d) ? CALLED : 0U;
            all_inside = all_inside && d->p_equivalence < alpha;
        }
    }
    return said | (all_inside && (said & FAILED) == 0 ? EQUIVALENT : 0U);
}

static qx_status analyse(qx_ctx *cx, rehearsal *r, size_t trial, qx_arena *arena)
{
    double *y;
    qx_result result = {0};
    QX_NEW_IN(cx, arena, y, r->frame.n);
    QX_TRY(qx_redraw_values(cx, r->redraw, r->spec->seed, trial, y));
    QX_TRY(qx_analyse_again(
        cx, arena, r->spec->protocol, r->spec->variate, &r->frame, y, &result));
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

static double share_of(const rehearsal *r, unsigned bit)
{
    const size_t trials = r->spec->trials;
    size_t count = 0;
    for (size_t i = 0; i < trials; i++) {
        count += (size_t)((r->said[i] & bit) != 0);
    }
    return (double)count / (double)trials;
}

static qx_status run(rehearsal *r, double step)
{
    const qx_workers_options options = {.what = "simulated trials"};
    qx_truth *truth;
    QX_NEW_IN(r->cx, r->arena, truth, 1);
    QX_TRY(fill_truth(r, step, truth));
    QX_TRY(qx_redraw_new(
        r->cx, r->arena, &r->drawn, r->spec->variate, &r->frame, truth, &r->redraw));
    if (qx_redraw_size(r->redraw) != NULL) {
        r->frame.size = qx_redraw_size(r->redraw);
    }
    return qx_workers_run(r->cx, &options, r->spec->trials, one_trial, r);
}

static qx_status prepare(rehearsal *r)
{
    const qx_rehearsal_spec *s = r->spec;
    qx_layout_spec spec = {0};
    r->drawn = *s->protocol;
    if (s->scale->link == QX_LINK_IDENTITY) {
        QX_TRY(
            qx_protocol_as_values(r->cx, r->arena, s->protocol, s->variate, &r->drawn));
    }
    QX_TRY(qx_structure_of(r->cx, r->arena, &r->drawn, &spec));
    QX_TRY(qx_layout_make(r->cx, &spec, SEED_LAYOUT, &r->layout));
    QX_TRY(qx_redraw_frame(
        r->cx, r->arena, &r->drawn, r->layout, s->variate, s->samples, &r->frame));
    QX_NEW_IN(r->cx, r->arena, r->said, s->trials);
    return QX_OK;
}

static qx_status rehearse(rehearsal *r, qx_rehearsed *out)
{
    QX_TRY(prepare(r));
    QX_TRY(run(r, r->spec->step));
    out->power = share_of(r, CALLED);
    double failed = share_of(r, FAILED);
    QX_TRY(run(r, 0.0));
    out->power_equivalence =
        isnan(r->variate->margin) ? (double)NAN : share_of(r, EQUIVALENT);
    out->error = share_of(r, MISTAKEN);
    failed += share_of(r, FAILED);
    out->failed = (size_t)lround(failed * (double)r->spec->trials);
    out->trials = r->spec->trials;
    return QX_OK;
}

qx_status qx_rehearse(qx_ctx *cx, const qx_rehearsal_spec *spec, qx_rehearsed *out)
{
    if (!(spec->step > 0.0)) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "%s is not simulated without an effect",
                       spec->scale->variate->name);
    }
    rehearsal r = {.cx = cx,
                   .arena = qx_arena_new(),
                   .spec = spec,
                   .variate = spec->scale->variate,
                   .treatment = &spec->protocol->treatment[spec->treatment]};
    qx_rehearsed made = {0};
    const qx_status status = r.arena == NULL
                                 ? qx_fail(cx, QX_E_NOMEM, "no memory to rehearse")
                                 : rehearse(&r, &made);
    if (status == QX_OK) {
        *out = made;
    }
    qx_layout_free(r.layout);
    qx_arena_free(r.arena);
    return status;
}
