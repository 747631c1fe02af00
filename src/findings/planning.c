#include "findings/planning.h"

#include <math.h>
#include <string.h>

#include "base/array.h"
#include "findings/plan_scale.h"
#include "findings/rehearsal.h"
#include "model/compare.h"
#include "model/power.h"
#include "model/power_plain.h"

#define EACH_MOST 12 /* things in each unit that an effort table goes through */

/* One look ahead, remembered: replicates are asked for again and again. */
typedef struct looked {
    size_t knob, each;
    qx_status status;
    qx_foreseen seen;
} looked;

typedef struct planner {
    qx_ctx *cx;
    qx_arena *arena;
    const qx_protocol *protocol;
    double power, alpha; /* wanted power; level of the tests */
    size_t knob;         /* unit whose count is varied, or QX_NONE */
    size_t samples;
    const qx_plan_request *request;
    size_t variate;
    qx_plan_scale scale;
    qx_array looked; /* of this variate */
} planner;

/* --- looking ahead --- */

/* The single outermost unit that everything stands in; QX_NONE where several cross. */
static size_t find_knob(const qx_protocol *p)
{
    size_t outermost = QX_NONE;
    for (size_t u = 0; u < p->unit_count; u++) {
        if (p->unit[u].parent_count == 0) {
            if (outermost != QX_NONE || p->unit[u].sample) {
                return QX_NONE;
            }
            outermost = u;
        }
    }
    return outermost;
}

static size_t knob_now(const planner *q)
{
    if (q->knob == QX_NONE) {
        return 0;
    }
    const size_t count = q->protocol->unit[q->knob].count;
    return count == QX_NONE ? 1 : count;
}

/* Which unit holds what is measured in each, for efforts: the variate's own, if some
 * treatment stands above it. */
static size_t unit_of_things(const planner *q)
{
    const size_t own = q->scale.variate->on;
    for (size_t t = 0; t < q->protocol->treatment_count; t++) {
        const size_t on = q->protocol->treatment[t].on;
        if (on == own) {
            return QX_NONE; /* treatments on the thing itself: its number is the layout's */
        }
    }
    return q->protocol->unit[own].parent_count == 1 ? own : QX_NONE;
}

/* each 0: as the protocol has it. NULL in *out when that trial cannot be. */
static qx_status look(planner *q, size_t knob, size_t each, const qx_foreseen **out)
{
    for (size_t i = 0; i < q->looked.count; i++) {
        const looked *l = *(looked **)qx_array_at(&q->looked, i);
        if (l->knob == knob && l->each == each) {
            *out = l->status == QX_OK ? &l->seen : NULL;
            return QX_OK;
        }
    }
    looked *l;
    QX_NEW_IN(q->cx, q->arena, l, 1);
    looked **slot = qx_array_push(&q->looked);
    if (slot == NULL) {
        return qx_fail(q->cx, QX_E_NOMEM, "no memory for the plan");
    }
    *slot = l;
    l->knob = knob;
    l->each = each;
    const qx_setting setting = {.knob = q->knob,
                                .knob_count = knob,
                                .sampled = each == 0 ? QX_NONE : unit_of_things(q),
                                .sampled_count = each};
    l->status = qx_foresee(q->cx,
                           q->arena,
                           q->protocol,
                           q->variate,
                           &setting,
                           q->samples,
                           &q->scale.spreads,
                           &l->seen);
    *out = l->status == QX_OK ? &l->seen : NULL;
    if (l->status == QX_E_INPUT) {
        qx_ctx_forgive(q->cx); /* this one does not fit; others may */
        return QX_OK;
    }
    return l->status;
}

static const qx_foreseen_family *family_in(const qx_foreseen *seen, size_t treatment)
{
    for (size_t i = 0; seen != NULL && i < seen->family_count; i++) {
        if (seen->family[i].treatment == treatment) {
            return &seen->family[i];
        }
    }
    return NULL;
}

/* --- what a family can show --- */

static size_t pairs_of(const planner *q, const qx_foreseen_family *f)
{
    const bool control = q->protocol->analysis.compare == QX_COMPARE_DUNNETT;
    return control ? f->means - 1 : f->means * (f->means - 1) / 2;
}

/* Multiplier of the standard error in the adjusted test of the analysis. */
static qx_status critical(planner *q, const qx_foreseen_family *f, double *out)
{
    static const qx_adjust how[] = {[QX_COMPARE_TUKEY] = QX_ADJUST_TUKEY,
                                    [QX_COMPARE_DUNNETT] = QX_ADJUST_DUNNETT,
                                    [QX_COMPARE_SIDAK] = QX_ADJUST_SIDAK,
                                    [QX_COMPARE_HOLM] = QX_ADJUST_HOLM,
                                    [QX_COMPARE_BONFERRONI] = QX_ADJUST_BONFERRONI,
                                    [QX_COMPARE_NONE] = QX_ADJUST_NONE};
    const size_t m = pairs_of(q, f);
    qx_comparison *pair;
    qx_mat correlation = {0};
    QX_NEW(q->cx, pair, m);
    for (size_t i = 0; i < m; i++) {
        pair[i] = (qx_comparison){.se = 1.0, .df = f->df};
    }
    if (q->protocol->analysis.compare == QX_COMPARE_DUNNETT) {
        QX_TRY(qx_mat_new(q->cx, qx_ctx_scratch(q->cx), m, m, &correlation));
        for (size_t i = 0; i < m * m; i++) {
            QX_AT(correlation, i % m, i / m) = i % m == i / m ? 1.0 : 0.5;
        }
    }
    QX_TRY(qx_compare(q->cx,
                      how[q->protocol->analysis.compare],
                      f->means,
                      1.0 - q->alpha,
                      m,
                      pair,
                      correlation));
    *out = pair[0].critical;
    return QX_OK;
}

typedef struct shown {
    double critical, detectable, power, power_equivalence;
} shown;

static bool can_test(const qx_foreseen_family *f)
{
    return f != NULL && f->se > 0.0 && f->df > 0.0;
}

/* Everything in the variate's unit but `critical`; NAN where it cannot be told. */
static qx_status show(planner *q, const qx_foreseen_family *f, shown *out)
{
    *out = (shown){(double)NAN, (double)NAN, (double)NAN, (double)NAN};
    if (!can_test(f)) {
        return QX_OK;
    }
    double step;
    qx_status status = QX_OK;
    QX_SCRATCH(q->cx, status, critical(q, f, &out->critical));
    QX_TRY(status);
    QX_TRY(qx_power_t_detectable(q->cx, f->se, f->df, out->critical, q->power, &step));
    out->detectable = qx_plan_scale_back(&q->scale, step);
    if (q->scale.step > 0.0) {
        out->power = qx_power_t(q->scale.step, f->se, f->df, out->critical);
        QX_TRY(qx_power_equivalence(
            q->cx, 0.0, q->scale.step, f->se, f->df, q->alpha, &out->power_equivalence));
    }
    return QX_OK;
}

/* --- replicates --- */

/* Counts of the varied unit that give every combination equally often: where it carries
 * treatments itself, multiples of their combinations. */
static size_t knob_step(const planner *q)
{
    size_t step = 1;
    for (size_t t = 0; t < q->protocol->treatment_count; t++) {
        if (q->protocol->treatment[t].on == q->knob) {
            step *= q->protocol->treatment[t].level_count;
        }
    }
    return step;
}

typedef struct wish {
    size_t treatment, each;
    bool equivalence;
} wish;

static qx_status reaches(planner *q, const wish *w, size_t times, bool *enough)
{
    const qx_foreseen *seen;
    shown s;
    QX_TRY(look(q, times * knob_step(q), w->each, &seen));
    QX_TRY(show(q, family_in(seen, w->treatment), &s));
    *enough = (w->equivalence ? s.power_equivalence : s.power) >= q->power;
    return QX_OK; /* false for not-a-number */
}

/* Least multiple of knob_step with the wanted power; 0: beyond the limit. */
static qx_status find_needed(planner *q, const wish *w, size_t *times)
{
    const size_t step = knob_step(q);
    const size_t most = QX_PLAN_REPLICATES_MOST;
    size_t low = 1, high = 2;
    bool enough = false;
    *times = 0;
    if (q->knob == QX_NONE || !(q->scale.step > 0.0) || step > most) {
        return QX_OK;
    }
    for (;;) {
        QX_TRY(reaches(q, w, high, &enough));
        if (enough || high == most) {
            break;
        }
        low = high;
        high = 2 * high < most ? 2 * high : most;
    }
    if (!enough) {
        return QX_OK;
    }
    while (high - low > 1) {
        const size_t middle = low + (high - low) / 2;
        QX_TRY(reaches(q, w, middle, &enough));
        *(enough ? &high : &low) = middle;
    }
    *times = high;
    return QX_OK;
}

static qx_status tell_needed(
    planner *q, size_t treatment, bool equivalence, double *replicates, double *knob)
{
    const wish w = {.treatment = treatment, .equivalence = equivalence};
    const qx_foreseen *seen;
    size_t times;
    *replicates = *knob = (double)NAN;
    QX_TRY(find_needed(q, &w, &times));
    if (times == 0) {
        return QX_OK;
    }
    QX_TRY(look(q, times * knob_step(q), 0, &seen));
    const qx_foreseen_family *f = family_in(seen, treatment);
    if (f != NULL) {
        *knob = (double)(times * knob_step(q));
        *replicates = f->replicates;
    }
    return QX_OK;
}

/* --- curves --- */

static qx_status add_point(planner *q, size_t treatment, size_t times, qx_array *points)
{
    const qx_foreseen *seen;
    shown s;
    QX_TRY(look(q, times * knob_step(q), 0, &seen));
    const qx_foreseen_family *f = family_in(seen, treatment);
    if (!can_test(f)) {
        return QX_OK;
    }
    QX_TRY(show(q, f, &s));
    qx_plan_point *point = qx_array_push(points);
    if (point == NULL) {
        return qx_fail(q->cx, QX_E_NOMEM, "no memory for the plan");
    }
    *point = (qx_plan_point){.knob = (double)(times * knob_step(q)),
                             .replicates = f->replicates,
                             .rows = (double)seen->rows,
                             .power = s.power,
                             .power_equivalence = s.power_equivalence,
                             .detectable = s.detectable};
    return QX_OK;
}

/* From two replicates to well beyond what is needed. */
static qx_status draw_curve(planner *q, size_t treatment, qx_plan_family *f)
{
    const double step = (double)knob_step(q);
    double most = fmax(8.0, 1.5 * (double)knob_now(q) / step);
    if (q->knob == QX_NONE) {
        return QX_OK;
    }
    most = isnan(f->knob_needed) ? most : fmax(most, 1.3 * f->knob_needed / step);
    most = isnan(f->knob_needed_equivalence)
               ? most
               : fmax(most, 1.3 * f->knob_needed_equivalence / step);
    const size_t last = (size_t)fmin(most, (double)QX_PLAN_REPLICATES_MOST);
    qx_array points = QX_ARRAY(q->arena, sizeof(qx_plan_point));
    const size_t stride = (last - 2) / (QX_PLAN_POINTS_MOST - 1) + 1;
    for (size_t times = 2; times <= last; times += stride) {
        QX_TRY(add_point(q, treatment, times, &points));
    }
    f->point = points.items;
    f->point_count = points.count;
    return QX_OK;
}

/* Simulated trials, where they were asked for and can be drawn. */
static qx_status rehearse(planner *q, const qx_foreseen_family *f, qx_plan_family *out)
{
    if (q->request->simulate == 0 || !(q->scale.step > 0.0) ||
        q->scale.variate->transform != QX_TRANSFORM_NONE) {
        return QX_OK;
    }
    return qx_rehearse(q->cx,
                       q->protocol,
                       q->variate,
                       f->treatment,
                       q->samples,
                       &q->scale,
                       q->request->simulate,
                       q->request->seed,
                       &out->simulated);
}

static qx_status add_family(planner *q, const qx_foreseen_family *f, qx_plan_family *out)
{
    const qx_treatment *treatment = &q->protocol->treatment[f->treatment];
    shown s;
    QX_TRY(show(q, f, &s));
    *out = (qx_plan_family){.term = treatment->name,
                            .unit = q->protocol->unit[treatment->on].name,
                            .adjust = qx_compare_word(q->protocol->analysis.compare),
                            .means = f->means,
                            .pairs = pairs_of(q, f),
                            .se = can_test(f) ? f->se : (double)NAN,
                            .df = can_test(f) ? f->df : (double)NAN,
                            .critical = s.critical,
                            .replicates = f->replicates,
                            .detectable = s.detectable,
                            .power = s.power,
                            .power_equivalence = s.power_equivalence};
    QX_TRY(tell_needed(q, f->treatment, false, &out->needed, &out->knob_needed));
    QX_TRY(tell_needed(
        q, f->treatment, true, &out->needed_equivalence, &out->knob_needed_equivalence));
    QX_TRY(draw_curve(q, f->treatment, out));
    return rehearse(q, f, out);
}

/* --- efforts --- */

static double cost_of(const planner *q, const qx_foreseen *seen)
{
    const double *cost = q->protocol->planning.cost;
    double sum = 0.0;
    for (size_t u = 0; u < q->protocol->unit_count; u++) {
        sum += isnan(cost[u]) ? 0.0 : cost[u] * (double)seen->things[u];
    }
    return sum;
}

static qx_status
add_effort(planner *q, const qx_foreseen_family *f, size_t each, qx_plan_effort *line)
{
    const wish w = {.treatment = f->treatment, .each = each};
    const qx_foreseen *seen;
    size_t times;
    *line = (qx_plan_effort){
        .each = (double)each, .knob = NAN, .units = NAN, .things = NAN, .cost = NAN};
    QX_TRY(find_needed(q, &w, &times));
    if (times == 0) {
        return QX_OK;
    }
    QX_TRY(look(q, times * knob_step(q), each, &seen));
    if (seen == NULL) {
        return QX_OK; /* what does not fit has no price */
    }
    line->knob = (double)(times * knob_step(q));
    line->units = (double)seen->things[q->protocol->treatment[f->treatment].on];
    line->things = (double)seen->rows;
    line->cost = cost_of(q, seen);
    return QX_OK;
}

static qx_status add_efforts(planner *q, const qx_foreseen *seen, qx_plan_result *out)
{
    const size_t thing = unit_of_things(q);
    if (q->protocol->planning.cost == NULL || thing == QX_NONE || q->knob == QX_NONE ||
        thing == q->knob || seen->family_count == 0 || !(q->scale.step > 0.0)) {
        return QX_OK;
    }
    const qx_foreseen_family *f = &seen->family[0];
    qx_plan_effort *line;
    size_t best = EACH_MOST;
    QX_NEW_IN(q->cx, q->arena, line, EACH_MOST);
    for (size_t i = 0; i < EACH_MOST; i++) {
        QX_TRY(add_effort(q, f, i + 1, &line[i]));
        if (!isnan(line[i].cost) &&
            (best == EACH_MOST || line[i].cost < line[best].cost)) {
            best = i;
        }
    }
    if (best < EACH_MOST) {
        line[best].best = true;
    }
    const qx_treatment *treatment = &q->protocol->treatment[f->treatment];
    out->effort_family = treatment->name;
    out->effort_unit = q->protocol->unit[treatment->on].name;
    out->effort_thing = q->protocol->unit[thing].name;
    out->effort_parent = q->protocol->unit[q->protocol->unit[thing].parent[0]].name;
    out->effort = line;
    out->effort_count = EACH_MOST;
    return QX_OK;
}

/* --- one variate --- */

static qx_status add_note(planner *q, qx_array *notes, const char *text)
{
    const char **slot = qx_array_push(notes);
    if (slot == NULL) {
        return qx_fail(q->cx, QX_E_NOMEM, "no memory for the plan");
    }
    *slot = text;
    return QX_OK;
}

static qx_status tell_variate(planner *q, const qx_foreseen *seen, qx_plan_result *out)
{
    qx_plan_family *family;
    QX_NEW_IN(q->cx, q->arena, family, seen->family_count);
    for (size_t i = 0; i < seen->family_count; i++) {
        QX_TRY(add_family(q, &seen->family[i], &family[i]));
    }
    out->family = family;
    out->family_count = seen->family_count;
    out->rows = seen->rows;
    out->test = seen->test;
    out->test_count = seen->test_count;
    return add_efforts(q, seen, out);
}

static qx_status
plan_variate(planner *q, const qx_result *last, qx_plan_result *out, bool *planned)
{
    const qx_variate *v = &q->protocol->variate[q->variate];
    qx_array notes = QX_ARRAY(q->arena, sizeof(const char *));
    const qx_foreseen *seen = NULL;
    q->looked = (qx_array)QX_ARRAY(q->arena, sizeof(looked *));
    QX_TRY(qx_plan_scale_of(q->cx, q->arena, q->protocol, q->variate, last, &q->scale));
    *out = (qx_plan_result){.variate = v->name,
                            .label = v->label,
                            .unit = v->unit,
                            .kind = v->kind,
                            .source = q->scale.source,
                            .source_text = q->scale.source_text,
                            .mean = q->scale.mean,
                            .margin = q->scale.margin,
                            .margin_scaled = q->scale.step,
                            .scale = q->scale.name,
                            .spread_count = q->scale.line_count,
                            .spread = q->scale.line};
    *planned = q->scale.why_not == NULL;
    if (!*planned) {
        QX_TRY(add_note(q, &notes, q->scale.why_not));
    } else {
        const qx_setting now = {.knob = QX_NONE, .sampled = QX_NONE};
        qx_foreseen first;
        QX_TRY(qx_foresee(q->cx,
                          q->arena,
                          q->protocol,
                          q->variate,
                          &now,
                          q->samples,
                          &q->scale.spreads,
                          &first));
        seen = &first;
        QX_TRY(tell_variate(q, seen, out));
        for (size_t i = 0; i < seen->note_count; i++) {
            QX_TRY(add_note(q, &notes, seen->note[i]));
        }
    }
    out->note = notes.items;
    out->note_count = notes.count;
    return QX_OK;
}

/* --- the whole --- */

static const qx_result *last_of(const qx_findings *last, const char *variate)
{
    for (size_t i = 0; last != NULL && i < last->result_count; i++) {
        if (strcmp(last->result[i].variate, variate) == 0) {
            return &last->result[i];
        }
    }
    return NULL;
}

static qx_status plan_all(planner *q, qx_planned *out)
{
    const qx_protocol *p = q->protocol;
    qx_plan_result *result;
    bool any = false;
    QX_NEW_IN(q->cx, q->arena, result, p->variate_count);
    for (q->variate = 0; q->variate < p->variate_count; q->variate++) {
        const qx_result *before = last_of(q->request->last, p->variate[q->variate].name);
        bool planned;
        QX_TRY(plan_variate(q, before, &result[q->variate], &planned));
        any = any || planned;
    }
    out->result = result;
    out->result_count = p->variate_count;
    if (!any) {
        return qx_fail(q->cx,
                       QX_E_INPUT,
                       "nothing can be planned: %s: %s",
                       result[0].variate,
                       result[0].note[0]);
    }
    return QX_OK;
}

qx_status qx_plan_trial(qx_ctx *cx,
                        const qx_protocol *protocol,
                        const qx_plan_request *request,
                        qx_planned **out)
{
    const double wanted =
        request->power != 0.0 ? request->power : protocol->planning.power;
    if (!(wanted > 0.5) || !(wanted < 1.0)) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "a power of %g cannot be planned for; expected more than 0.5 and "
                       "less than 1, such as 0.8",
                       wanted);
    }
    qx_arena *arena = qx_arena_new();
    qx_planned *made = arena == NULL ? NULL : qx_arena_alloc(arena, 1, sizeof *made);
    if (made == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for the plan");
    }
    const size_t samples = protocol->planning.samples;
    planner q = {.cx = cx,
                 .arena = arena,
                 .protocol = protocol,
                 .power = wanted,
                 .alpha = 1.0 - protocol->analysis.level,
                 .knob = find_knob(protocol),
                 .request = request,
                 .samples = samples == 0 ? QX_PLAN_SAMPLES : samples};
    *made = (qx_planned){.arena = arena,
                         .protocol = protocol,
                         .last = request->last,
                         .power = wanted,
                         .level = protocol->analysis.level,
                         .knob = q.knob == QX_NONE ? NULL : protocol->unit[q.knob].name,
                         .knob_now = (double)knob_now(&q)};
    const qx_status status = plan_all(&q, made);
    if (status != QX_OK) {
        qx_planned_free(made);
        return status;
    }
    *out = made;
    return QX_OK;
}

void qx_planned_free(qx_planned *planned)
{
    if (planned != NULL) {
        qx_arena_free(planned->arena);
    }
}
