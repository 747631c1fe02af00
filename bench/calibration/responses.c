#include "responses.h"

#include <math.h>
#include <string.h>

#include "findings/analyse.h"
#include "findings/redraw.h"
#include "findings/verdict.h"
#include "trial/read_yaml.h"
#include "trial/structure.h"

#define ALPHA 0.05
/* Nodes of the normal distribution on each side of its middle, and their distance. */
#define NODES     32
#define NODE_STEP 0.25
/* Seeds of the two draws of a trial lie apart. */
#define OTHER UINT64_C(0x51ed270b7a3f4c1d)

typedef struct work {
    const responses *about;
    uint64_t seed;
    qx_protocol *protocol;
    qx_layout *layout;
    qx_variate_frame frame;
    const qx_redraw *none, *some;
    double *share; /* assumed x classes: of each class, as seen over many units */
} work;

enum {
    TERM_ENDLESS,
    TERM,
    PAIR_ENDLESS,
    PAIR,
    TUKEY,
    MEAN,
    DIFFERENCES,
    WRONG_EQUIVALENT,
    UNDECIDED,
    MEASURES
};

static const char steps[] =
    "counts and shares come in steps, and their laws are approximations";

static const calibration_measure measures[MEASURES] = {
    [TERM_ENDLESS] = {"test of the treatment, chi-squared",
                      CALIBRATION_INFORMATIVE,
                      NULL},
    [TERM] = {"test of the treatment, as told", CALIBRATION_ERROR, steps},
    [PAIR_ENDLESS] = {"one difference, normal", CALIBRATION_INFORMATIVE, NULL},
    [PAIR] = {"one difference, as told", CALIBRATION_ERROR, steps},
    [TUKEY] = {"any difference (Tukey)", CALIBRATION_AT_MOST, steps},
    [MEAN] = {"interval of a mean", CALIBRATION_AT_LEAST, steps},
    [DIFFERENCES] = {"all intervals of differences (Tukey)", CALIBRATION_AT_LEAST, steps},
    [WRONG_EQUIVALENT] = {"wrong `equivalent`", CALIBRATION_AT_MOST, steps},
    [UNDECIDED] = {"no result", CALIBRATION_INFORMATIVE, NULL}};

size_t responses_measures(const void *state, const calibration_measure **out)
{
    (void)state;
    *out = measures;
    return MEASURES;
}

/* Mean share of three classes without order whose log odds against the first vary with this
 * deviation: the trapezoidal rule, which is exact to rounding for such functions. */
static void average(const double share[3], double sd, double out[3])
{
    double total = 0.0;
    memset(out, 0, 3 * sizeof *out);
    for (int i = -NODES; i <= NODES; i++) {
        for (int j = -NODES; j <= NODES; j++) {
            const double a = i * NODE_STEP, b = j * NODE_STEP;
            const double weight = exp(-0.5 * (a * a + b * b));
            const double p[3] = {
                share[0], share[1] * exp(sd * a), share[2] * exp(sd * b)};
            for (size_t c = 0; c < 3; c++) {
                out[c] += weight * p[c] / (p[0] + p[1] + p[2]);
            }
            total += weight;
        }
    }
    for (size_t c = 0; c < 3; c++) {
        out[c] /= total;
    }
}

/* Grades are assumed as they are seen over many units, classes without order at effects of
 * zero (findings/simulate.h). */
static qx_status true_shares(qx_ctx *cx, qx_arena *arena, work *w)
{
    const qx_truth *truth = &w->about->some;
    const qx_variate *v = &w->protocol->variate[0];
    double variance = 0.0;
    if (v->level_count == 0) {
        return QX_OK;
    }
    if (v->kind == QX_NOMINAL && v->level_count != 3) {
        return qx_fail(cx, QX_E_ARG, "three classes without order are averaged here");
    }
    QX_NEW_IN(cx, arena, w->share, truth->assumed_count * v->level_count);
    for (size_t i = 0; i < truth->spread_count; i++) {
        variance += truth->spread[i].sd * truth->spread[i].sd;
    }
    for (size_t i = 0; i < truth->assumed_count; i++) {
        double *to = w->share + i * v->level_count;
        memcpy(to, truth->assumed[i].share, v->level_count * sizeof *to);
        if (v->kind == QX_NOMINAL) {
            average(truth->assumed[i].share, sqrt(variance), to);
        }
    }
    return QX_OK;
}

static qx_status open_trial(qx_ctx *cx, qx_arena *arena, work *w)
{
    const char *text = w->about->protocol;
    qx_problems *problems = qx_problems_new(arena);
    qx_layout_spec spec;
    if (problems == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a protocol");
    }
    QX_TRY(
        qx_protocol_parse(cx, "calibration", text, strlen(text), problems, &w->protocol));
    QX_TRY(qx_structure_of(cx, arena, w->protocol, &spec));
    QX_TRY(qx_layout_make(cx, &spec, w->seed, &w->layout));
    QX_TRY(qx_redraw_frame(cx, arena, w->protocol, w->layout, 0, 1, &w->frame));
    QX_TRY(
        qx_redraw_new(cx, arena, w->protocol, 0, &w->frame, &w->about->none, &w->none));
    QX_TRY(
        qx_redraw_new(cx, arena, w->protocol, 0, &w->frame, &w->about->some, &w->some));
    if (w->frame.size != NULL) {
        w->frame.size = qx_redraw_size(w->none);
    }
    return true_shares(cx, arena, w);
}

qx_status responses_open(qx_ctx *cx,
                         qx_arena *arena,
                         const calibration_layout *layout,
                         const calibration_options *options,
                         void **state)
{
    work *w;
    QX_NEW_IN(cx, arena, w, 1);
    w->about = layout->about;
    w->seed = options->seed;
    QX_TRY(open_trial(cx, arena, w));
    *state = w;
    return QX_OK;
}

void responses_close(void *state)
{
    work *w = state;
    qx_layout_free(w->layout);
    qx_protocol_free(w->protocol);
}

static calibration_outcome yes(bool x)
{
    return x ? CALIBRATION_YES : CALIBRATION_NO;
}

/* Differences that are judged together: all; classes without order are compared class by class
 * (there a family is of one class), the first of them. */
static bool of_family(const qx_result *r, const qx_difference *d)
{
    return strcmp(r->family, "multinomial") != 0 || d->class_ == r->class_name[0];
}

/* No treatment does anything. */
static void judge_none(const qx_result *r, calibration_outcome out[])
{
    bool any = false;
    if (r->test_count == 0 || r->difference_count == 0) {
        out[UNDECIDED] = CALIBRATION_YES;
        return;
    }
    const qx_test_line *t = &r->test[0];
    const qx_difference *d = &r->difference[0];
    out[TERM_ENDLESS] = yes(t->p < ALPHA);
    out[TERM] = yes((t->method_small_sample != NULL ? t->p_small_sample : t->p) < ALPHA);
    out[PAIR_ENDLESS] = yes(d->p < ALPHA);
    out[PAIR] = yes((d->method_small_sample != NULL ? d->p_small_sample : d->p) < ALPHA);
    for (size_t i = 0; i < r->difference_count; i++) {
        any = any || (of_family(r, &r->difference[i]) &&
                      qx_verdict_p(&r->difference[i]) < ALPHA);
    }
    out[TUKEY] = yes(any);
}

/* The assumed mean (or share of a class, averaged over units) of a level. */
static double
truth_of(const work *w, const char *level, const qx_result *r, const char *class_)
{
    const qx_truth *truth = &w->about->some;
    for (size_t i = 0; i < truth->assumed_count; i++) {
        const qx_truth_mean *m = &truth->assumed[i];
        if (strcmp(m->level[0], level) != 0) {
            continue;
        }
        for (size_t c = 0; class_ != NULL && c < r->class_count; c++) {
            if (strcmp(class_, r->class_name[c]) == 0) {
                return w->share[i * r->class_count + c];
            }
        }
        return m->mean;
    }
    return NAN;
}

/* The first two levels differ by the margin. */
static void judge_some(const work *w, const qx_result *r, calibration_outcome out[])
{
    bool all = true;
    if (r->mean_count == 0 || r->difference_count == 0) {
        out[UNDECIDED] = CALIBRATION_YES;
        return;
    }
    const qx_mean *m = &r->mean[0];
    const double mean = truth_of(w, m->cell.level[0], r, m->class_);
    out[MEAN] = yes(m->lower <= mean && mean <= m->upper);
    for (size_t i = 0; i < r->difference_count; i++) {
        const qx_difference *d = &r->difference[i];
        const double true_d = truth_of(w, d->first.level[0], r, d->class_) -
                              truth_of(w, d->second.level[0], r, d->class_);
        all = all && (!of_family(r, d) || (d->lower <= true_d && true_d <= d->upper));
    }
    out[DIFFERENCES] = yes(all);
    out[WRONG_EQUIVALENT] = yes(r->difference[0].p_equivalence < ALPHA);
}

static qx_status analyse(qx_ctx *cx,
                         const work *w,
                         const qx_redraw *redraw,
                         uint64_t seed,
                         size_t task,
                         qx_arena *arena,
                         qx_result *out)
{
    double *y;
    QX_NEW_IN(cx, arena, y, w->frame.n);
    QX_TRY(qx_redraw_values(cx, redraw, seed, task, y));
    return qx_analyse_again(cx, arena, w->protocol, 0, &w->frame, y, out);
}

qx_status responses_trial(qx_ctx *cx,
                          const void *state,
                          size_t task,
                          calibration_outcome outcome[CALIBRATION_MEASURES])
{
    const work *w = state;
    qx_result r;
    for (size_t i = 0; i < MEASURES; i++) {
        outcome[i] = i == UNDECIDED ? CALIBRATION_NO : CALIBRATION_NONE;
    }
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a trial");
    }
    qx_status status = analyse(cx, w, w->none, w->seed, task, arena, &r);
    if (status == QX_OK) {
        judge_none(&r, outcome);
        status = analyse(cx, w, w->some, w->seed ^ OTHER, task, arena, &r);
    }
    if (status == QX_OK) {
        judge_some(w, &r, outcome);
    }
    qx_arena_free(arena);
    return status;
}
