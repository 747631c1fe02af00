/* bench/calibration/continuous.c - draws, refits and judges. */
#include "continuous.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "model/compare.h"
#include "model/equivalence.h"
#include "model/refit.h"
#include "numeric/dist.h"
#include "numeric/range_table.h"
#include "numeric/rng.h"

#define ALPHA    0.05
#define PATTERNS 25 /* of lost units: each is a design of its own */

/* Numbers of lost units' streams, away from those of the trials. */
#define PATTERN_STREAM ((size_t)1 << 40)

/* One design: all units, or what a pattern of losses leaves. */
typedef struct design {
    size_t n;
    qx_factor factor[CONTINUOUS_FACTORS];
    qx_frame frame;
    qx_lmm_plan *plan;
    qx_mat term[CONTINUOUS_TERMS]; /* rows of each hypothesis */
    size_t levels;                 /* of the compared factor */
    size_t p;
    double *mean; /* levels x p rows */
} design;

typedef struct shared {
    const continuous *about;
    calibration_options options;
    size_t design_count;
    design design[PATTERNS];
    size_t measure_count;
    calibration_measure measure[CALIBRATION_MEASURES];
} shared;

static uint32_t
code_of(const continuous *c, const continuous_factor *f, const uint32_t at[])
{
    uint32_t code = 0;
    if (f->level != NULL) {
        return f->level(at);
    }
    for (size_t d = 0; d < c->dimension_count; d++) {
        if ((f->dimensions >> d & 1U) != 0) {
            code = code * c->dimension[d] + at[d];
        }
    }
    return code;
}

static size_t levels_of(const continuous *c, const continuous_factor *f)
{
    size_t levels = 1;
    for (size_t d = 0; d < c->dimension_count && f->level == NULL; d++) {
        levels *= (f->dimensions >> d & 1U) != 0 ? c->dimension[d] : 1;
    }
    return f->level != NULL ? f->levels : levels;
}

static size_t all_rows(const continuous *c)
{
    size_t rows = 1;
    for (size_t d = 0; d < c->dimension_count; d++) {
        rows *= c->dimension[d];
    }
    return rows;
}

static void place_of(const continuous *c, size_t row, uint32_t at[CONTINUOUS_DIMENSIONS])
{
    for (size_t d = c->dimension_count; d-- > 0;) {
        at[d] = (uint32_t)(row % c->dimension[d]);
        row /= c->dimension[d];
    }
}

/* Which units are lost: each with the same chance, by the pattern's own stream. */
static qx_status
draw_losses(qx_ctx *cx, const continuous *c, uint64_t seed, size_t pattern, bool **lost)
{
    const continuous_factor unit = {.dimensions = c->lost_dimensions};
    const size_t units = levels_of(c, &unit);
    qx_rng rng = calibration_stream(seed, PATTERN_STREAM + pattern);
    QX_NEW(cx, *lost, units);
    for (size_t i = 0; i < units; i++) {
        (*lost)[i] = qx_rng_uniform(&rng) < c->lost;
    }
    return QX_OK;
}

static qx_status
fill_rows(qx_ctx *cx, qx_arena *arena, const continuous *c, const bool lost[], design *d)
{
    const continuous_factor unit = {.dimensions = c->lost_dimensions};
    const size_t rows = all_rows(c);
    uint32_t *code[CONTINUOUS_FACTORS];
    for (size_t f = 0; f < c->factor_count; f++) {
        QX_NEW_IN(cx, arena, code[f], rows);
        d->factor[f] = (qx_factor){.name = c->factor[f].name,
                                   .level_count = levels_of(c, &c->factor[f]),
                                   .code = code[f]};
    }
    for (size_t row = 0; row < rows; row++) {
        uint32_t at[CONTINUOUS_DIMENSIONS];
        place_of(c, row, at);
        if (lost[code_of(c, &unit, at)]) {
            continue;
        }
        for (size_t f = 0; f < c->factor_count; f++) {
            code[f][d->n] = code_of(c, &c->factor[f], at);
        }
        d->n++;
    }
    d->frame =
        (qx_frame){.n = d->n, .factor_count = c->factor_count, .factor = d->factor};
    return QX_OK;
}

/* Level names "1", "2", ... of the fixed factors. */
static qx_status name_levels(qx_ctx *cx, qx_arena *arena, const continuous *c, design *d)
{
    for (size_t f = 0; f < c->factor_count; f++) {
        const char **level;
        const size_t count = d->factor[f].level_count;
        if (c->factor[f].random) {
            continue;
        }
        QX_NEW_IN(cx, arena, level, count);
        for (size_t l = 0; l < count; l++) {
            level[l] = qx_arena_printf(arena, "%zu", l + 1);
            if (level[l] == NULL) {
                return qx_fail(cx, QX_E_NOMEM, "no memory for level names");
            }
        }
        d->factor[f].level = level;
    }
    return QX_OK;
}

static qx_status plan_design(qx_ctx *cx,
                             qx_arena *arena,
                             const continuous *c,
                             const calibration_options *o,
                             design *d)
{
    qx_term term[CONTINUOUS_TERMS];
    qx_random_term random[CONTINUOUS_FACTORS];
    qx_lmm_spec spec = {.frame = &d->frame,
                        .term_count = c->term_count,
                        .term = term,
                        .random = random,
                        .df = o->df,
                        .unconstrained = o->unconstrained,
                        .level = 1.0 - ALPHA};
    for (size_t t = 0; t < c->term_count; t++) {
        term[t] = (qx_term){.name = c->term[t].name,
                            .factor_count = c->term[t].count,
                            .number = QX_NO_COLUMN};
        memcpy(term[t].factor, c->term[t].factor, sizeof c->term[t].factor);
    }
    for (size_t f = 0; f < c->factor_count; f++) {
        if (c->factor[f].random) {
            random[spec.random_count++] = (qx_random_term){c->factor[f].name, f};
        }
    }
    QX_TRY(qx_lmm_plan_new(cx, &spec, &d->plan));
    /* The rows of what is asked: they depend on the design alone. */
    qx_design x;
    QX_TRY(qx_design_make(cx, arena, &d->frame, c->term_count, term, &x));
    d->p = x.p;
    for (size_t t = 0; t < c->term_count; t++) {
        QX_TRY(qx_design_marginal(cx, arena, &x, t, &d->term[t]));
    }
    d->levels = d->factor[c->compared].level_count;
    QX_NEW_IN(cx, arena, d->mean, d->levels * d->p);
    for (size_t l = 0; l < d->levels; l++) {
        bool estimable;
        QX_TRY(
            qx_design_mean(cx, &x, 1, &c->compared, &l, d->mean + l * d->p, &estimable));
        if (!estimable) {
            return qx_fail(
                cx, QX_E_RANK, "a pattern of losses leaves a mean without data");
        }
    }
    return QX_OK;
}

static qx_status
make_design(qx_ctx *cx, qx_arena *arena, const shared *s, size_t pattern, design *d)
{
    bool *lost;
    QX_TRY(draw_losses(cx, s->about, s->options.seed, pattern, &lost));
    QX_TRY(fill_rows(cx, arena, s->about, lost, d));
    QX_TRY(name_levels(cx, arena, s->about, d));
    return plan_design(cx, arena, s->about, &s->options, d);
}

static qx_status add_measure(qx_ctx *cx,
                             qx_arena *arena,
                             shared *s,
                             calibration_kind kind,
                             const char *note,
                             const char *format,
                             const char *what)
{
    char text[200];
    (void)snprintf(text, sizeof text, "%s%s", format, what);
    const char *name = qx_arena_copy(arena, text);
    if (name == NULL || s->measure_count == CALIBRATION_MEASURES) {
        return qx_fail(cx, QX_E_NOMEM, "no room for a measure");
    }
    s->measure[s->measure_count++] = (calibration_measure){name, kind, note};
    return QX_OK;
}

static qx_status list_measures(qx_ctx *cx, qx_arena *arena, shared *s)
{
    static const char at_zero[] =
        "the truth lies on the boundary: an interval that reaches 0 holds it";
    const continuous *c = s->about;
    for (size_t t = 0; t < c->term_count; t++) {
        QX_TRY(add_measure(
            cx, arena, s, CALIBRATION_ERROR, NULL, "F test of ", c->term[t].name));
    }
    QX_TRY(add_measure(
        cx, arena, s, CALIBRATION_ERROR, NULL, "t test of one difference", ""));
    QX_TRY(
        add_measure(cx, arena, s, CALIBRATION_COVERAGE, NULL, "interval of a mean", ""));
    QX_TRY(add_measure(
        cx, arena, s, CALIBRATION_COVERAGE, NULL, "interval of a difference", ""));
    QX_TRY(add_measure(cx,
                       arena,
                       s,
                       c->lost > 0.0 ? CALIBRATION_AT_MOST : CALIBRATION_ERROR,
                       NULL,
                       "Tukey's pairs, any",
                       ""));
    QX_TRY(add_measure(cx,
                       arena,
                       s,
                       c->lost > 0.0 ? CALIBRATION_AT_LEAST : CALIBRATION_COVERAGE,
                       NULL,
                       "Tukey's intervals, all",
                       ""));
    QX_TRY(
        add_measure(cx, arena, s, CALIBRATION_ERROR, NULL, "Dunnett's pairs, any", ""));
    QX_TRY(add_measure(cx,
                       arena,
                       s,
                       CALIBRATION_AT_MOST,
                       NULL,
                       "wrongly equivalent, at the margin",
                       ""));
    for (size_t f = 0; f < c->factor_count; f++) {
        if (c->factor[f].random) {
            const bool nil = c->factor[f].sd == 0.0;
            QX_TRY(add_measure(cx,
                               arena,
                               s,
                               nil ? CALIBRATION_AT_LEAST : CALIBRATION_COVERAGE,
                               nil ? at_zero : c->note_intervals,
                               "interval of the variance of ",
                               c->factor[f].name));
        }
    }
    return add_measure(cx,
                       arena,
                       s,
                       CALIBRATION_COVERAGE,
                       c->note_residual,
                       "interval of the residual variance",
                       "");
}

static qx_status open_all(qx_ctx *cx, qx_arena *arena, shared *s)
{
    s->design_count = s->about->lost > 0.0 ? PATTERNS : 1;
    for (size_t i = 0; i < s->design_count; i++) {
        qx_status status;
        QX_SCRATCH(cx, status, make_design(cx, arena, s, i, &s->design[i]));
        QX_TRY(status);
    }
    return list_measures(cx, arena, s);
}

qx_status continuous_open(qx_ctx *cx,
                          qx_arena *arena,
                          const calibration_layout *layout,
                          const calibration_options *options,
                          void **state)
{
    shared *s;
    QX_NEW_IN(cx, arena, s, 1);
    s->about = layout->about;
    s->options = *options;
    *state = s;
    return open_all(cx, arena, s);
}

void continuous_close(void *state)
{
    shared *s = state;
    for (size_t i = 0; i < s->design_count; i++) {
        qx_lmm_plan_free(s->design[i].plan);
    }
}

size_t continuous_measures(const void *state, const calibration_measure **out)
{
    const shared *s = state;
    *out = s->measure;
    return s->measure_count;
}

static qx_status
draw(qx_ctx *cx, const shared *s, const design *d, size_t task, double y[])
{
    qx_rng rng = calibration_stream(s->options.seed, task);
    for (size_t f = 0; f < s->about->factor_count; f++) {
        double *effect;
        if (!s->about->factor[f].random) {
            continue;
        }
        QX_NEW(cx, effect, d->factor[f].level_count);
        for (size_t l = 0; l < d->factor[f].level_count; l++) {
            effect[l] = s->about->factor[f].sd * qx_rng_normal(&rng);
        }
        for (size_t i = 0; i < d->n; i++) {
            y[i] += effect[d->factor[f].code[i]];
        }
    }
    for (size_t i = 0; i < d->n; i++) {
        y[i] += qx_rng_normal(&rng);
    }
    return QX_OK;
}

static calibration_outcome below(double p)
{
    return isnan(p) ? CALIBRATION_NONE : p < ALPHA ? CALIBRATION_YES : CALIBRATION_NO;
}

/* Does estimate +- t se hold nought? */
static calibration_outcome holds_nought(const qx_estimate *e)
{
    if (!(e->se > 0.0) || !(e->df > 0.0)) {
        return CALIBRATION_NONE;
    }
    const double half = qx_t_q(0.5 * ALPHA, e->df, QX_UPPER) * e->se;
    return fabs(e->estimate) <= half ? CALIBRATION_YES : CALIBRATION_NO;
}

/* Rows of all pairs, or of all with the first. */
static qx_status
pairs_of(qx_ctx *cx, const design *d, bool control, size_t *count, double **row)
{
    const size_t k = d->levels;
    *count = 0;
    QX_NEW(cx, *row, k * (k - 1) / 2 * d->p);
    for (size_t i = 0; i < (control ? 1 : k); i++) {
        for (size_t j = i + 1; j < k; j++) {
            for (size_t c = 0; c < d->p; c++) {
                (*row)[*count * d->p + c] = d->mean[j * d->p + c] - d->mean[i * d->p + c];
            }
            (*count)++;
        }
    }
    return QX_OK;
}

static qx_status correlate(qx_ctx *cx,
                           const qx_lmm *fit,
                           size_t count,
                           const double row[],
                           const qx_comparison family[],
                           qx_mat *out)
{
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), count, count, out));
    for (size_t a = 0; a < count; a++) {
        for (size_t b = 0; b < count; b++) {
            QX_AT(*out, a, b) =
                a == b ? 1.0
                       : qx_lmm_covariance(fit, row + a * fit->p, row + b * fit->p) /
                             (family[a].se * family[b].se);
        }
    }
    return QX_OK;
}

/* Dunnett's least p lies between the least single one and Sidak's bound: true when these
 * leave no doubt, and the quadrature can be spared. */
static bool clear_without(qx_adjust adjust,
                          size_t count,
                          const qx_comparison f[],
                          calibration_outcome *any)
{
    double least = 1.0;
    if (adjust != QX_ADJUST_DUNNETT) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        least = fmin(least, qx_t_two_sided(f[i].estimate / f[i].se, f[i].df));
    }
    *any = below(-expm1((double)count * log1p(-least)));
    return *any == CALIBRATION_YES || least >= ALPHA;
}

/* The least adjusted p of a family, and whether all its intervals hold nought. */
static qx_status judge_family(qx_ctx *cx,
                              const design *d,
                              const qx_lmm *fit,
                              qx_adjust adjust,
                              calibration_outcome *any,
                              calibration_outcome *all)
{
    size_t count;
    double *row;
    qx_comparison *family;
    qx_mat correlation = {0};
    double least = 1.0;
    *all = CALIBRATION_YES;
    QX_TRY(pairs_of(cx, d, adjust == QX_ADJUST_DUNNETT, &count, &row));
    QX_NEW(cx, family, count);
    for (size_t i = 0; i < count; i++) {
        qx_estimate e;
        QX_TRY(qx_lmm_contrast(cx, fit, row + i * d->p, 0.0, &e));
        family[i] = (qx_comparison){.estimate = e.estimate, .se = e.se, .df = e.df};
    }
    if (clear_without(adjust, count, family, any)) {
        return QX_OK;
    }
    if (adjust == QX_ADJUST_DUNNETT) {
        QX_TRY(correlate(cx, fit, count, row, family, &correlation));
    }
    QX_TRY(qx_compare(cx, adjust, d->levels, 1.0 - ALPHA, count, family, correlation));
    for (size_t i = 0; i < count; i++) {
        if (isnan(family[i].p_adjusted)) {
            *any = *all = CALIBRATION_NONE;
            return QX_OK;
        }
        least = fmin(least, family[i].p_adjusted);
        if (family[i].lower > 0.0 || family[i].upper < 0.0) {
            *all = CALIBRATION_NO;
        }
    }
    *any = below(least);
    return QX_OK;
}

static calibration_outcome holds_variance(const qx_component *c, double sd)
{
    if (isnan(c->lower) || isnan(c->upper)) {
        return CALIBRATION_NONE;
    }
    return c->lower <= sd * sd && sd * sd <= c->upper ? CALIBRATION_YES : CALIBRATION_NO;
}

static qx_status judge(
    qx_ctx *cx, const shared *s, const design *d, qx_lmm *fit, calibration_outcome out[])
{
    const continuous *c = s->about;
    size_t at = 0, count;
    double *row;
    qx_estimate e;
    calibration_outcome unused;
    for (size_t t = 0; t < c->term_count; t++) {
        qx_joint_test test;
        QX_TRY(qx_lmm_test(cx, fit, d->term[t], &test));
        out[at++] = below(test.p);
    }
    QX_TRY(pairs_of(cx, d, true, &count, &row));
    QX_TRY(qx_lmm_contrast(cx, fit, row + (count - 1) * d->p, 0.0, &e));
    out[at++] = below(qx_t_two_sided(e.estimate / e.se, e.df));
    qx_estimate mean;
    QX_TRY(qx_lmm_contrast(cx, fit, d->mean, 1.0, &mean));
    out[at++] = holds_nought(&mean);
    out[at++] = holds_nought(&e);
    QX_TRY(judge_family(cx, d, fit, QX_ADJUST_TUKEY, &out[at], &out[at + 1]));
    at += 2;
    QX_TRY(judge_family(cx, d, fit, QX_ADJUST_DUNNETT, &out[at++], &unused));
    /* With the truth at the margin the estimate is where it is, and the margin more. */
    out[at++] = below(
        qx_equivalence_test(e.estimate + c->margin, e.se, e.df, c->margin, ALPHA).p);
    QX_TRY(qx_lmm_profile_components(cx, fit, 1.0 - ALPHA));
    size_t component = 0;
    for (size_t f = 0; f < c->factor_count; f++) {
        if (c->factor[f].random) {
            out[at++] = holds_variance(&fit->component[component++], c->factor[f].sd);
        }
    }
    out[at] = holds_variance(&fit->component[component], 1.0);
    return QX_OK;
}

qx_status continuous_trial(qx_ctx *cx,
                           const void *state,
                           size_t task,
                           calibration_outcome outcome[CALIBRATION_MEASURES])
{
    const shared *s = state;
    const design *d = &s->design[task % s->design_count];
    double *y;
    qx_lmm *fit;
    QX_NEW(cx, y, d->n);
    QX_TRY(draw(cx, s, d, task, y));
    QX_TRY(qx_lmm_refit(cx, d->plan, y, 0.0, &fit));
    const qx_status status = judge(cx, s, d, fit, outcome);
    qx_lmm_free(fit);
    return status;
}
