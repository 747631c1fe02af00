#include "findings/planning.h"

#include <math.h>
#include <string.h>

#include "findings/planner.h"

/* --- replicates --- */

static qx_status tell_needed(
    qx_planner *q, size_t treatment, bool equivalence, double *replicates, double *knob)
{
    const qx_planner_wish w = {.treatment = treatment, .equivalence = equivalence};
    const qx_foreseen *seen;
    size_t times;
    *replicates = *knob = (double)NAN;
    QX_TRY(qx_planner_needed(q, &w, &times));
    if (times == 0) {
        return QX_OK;
    }
    QX_TRY(qx_planner_look(q, times * qx_planner_knob_step(q), 0, &seen));
    const qx_foreseen_family *f = qx_planner_family(seen, treatment);
    if (f != NULL) {
        *knob = (double)(times * qx_planner_knob_step(q));
        *replicates = f->replicates;
    }
    return QX_OK;
}

/* --- curves --- */

static qx_status
add_point(qx_planner *q, size_t treatment, size_t times, qx_array *points)
{
    const qx_foreseen *seen;
    qx_planner_shown s;
    QX_TRY(qx_planner_look(q, times * qx_planner_knob_step(q), 0, &seen));
    const qx_foreseen_family *f = qx_planner_family(seen, treatment);
    if (!qx_planner_can_test(f)) {
        return QX_OK;
    }
    QX_TRY(qx_planner_show(q, f, (double)(times * qx_planner_knob_step(q)), &s));
    qx_plan_point *point = qx_array_push(points);
    if (point == NULL) {
        return qx_fail(q->cx, QX_E_NOMEM, "no memory for the plan");
    }
    *point = (qx_plan_point){.knob = (double)(times * qx_planner_knob_step(q)),
                             .replicates = f->replicates,
                             .rows = (double)seen->rows,
                             .power = s.power,
                             .power_equivalence = s.power_equivalence,
                             .detectable = s.detectable};
    return QX_OK;
}

/* From two replicates to well beyond what is needed. */
static qx_status draw_curve(qx_planner *q, size_t treatment, qx_plan_family *f)
{
    const double step = (double)qx_planner_knob_step(q);
    double most = fmax(8.0, 1.5 * (double)qx_planner_knob_now(q) / step);
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

static qx_status
add_family(qx_planner *q, const qx_foreseen_family *f, qx_plan_family *out)
{
    const qx_treatment *treatment = &q->protocol->treatment[f->treatment];
    qx_planner_shown s;
    QX_TRY(qx_planner_calibrate(q, f));
    QX_TRY(qx_planner_show(q, f, (double)qx_planner_knob_now(q), &s));
    const char *term =
        f->part ? qx_arena_printf(q->arena, "%s%s", treatment->name, QX_PART_SUFFIX)
                : treatment->name;
    if (term == NULL) {
        return qx_fail(q->cx, QX_E_NOMEM, "no memory for the plan");
    }
    *out = (qx_plan_family){.term = term,
                            .unit = q->protocol->unit[treatment->on].name,
                            .adjust = qx_compare_word(q->protocol->analysis.compare),
                            .means = f->means,
                            .pairs = qx_planner_pairs(q, f),
                            .se = qx_planner_can_test(f) ? f->se : (double)NAN,
                            .df = qx_planner_can_test(f) ? f->df : (double)NAN,
                            .critical = s.critical,
                            .replicates = f->replicates,
                            .detectable = s.detectable,
                            .power = s.power,
                            .power_equivalence = s.power_equivalence};
    out->calibrated = q->factors.count > 0 ? q->request->simulate : 0;
    QX_TRY(tell_needed(q, f->treatment, false, &out->needed, &out->knob_needed));
    QX_TRY(tell_needed(
        q, f->treatment, true, &out->needed_equivalence, &out->knob_needed_equivalence));
    QX_TRY(draw_curve(q, f->treatment, out));
    return qx_planner_confirm(q, f, &out->simulated);
}

/* --- one variate --- */

static qx_status add_note(qx_planner *q, qx_array *notes, const char *text)
{
    const char **slot = qx_array_push(notes);
    if (slot == NULL) {
        return qx_fail(q->cx, QX_E_NOMEM, "no memory for the plan");
    }
    *slot = text;
    return QX_OK;
}

static qx_status tell_variate(qx_planner *q, const qx_foreseen *seen, qx_plan_result *out)
{
    qx_plan_family *family;
    QX_NEW_IN(q->cx, q->arena, family, seen->family_count);
    for (size_t i = 0; i < seen->family_count; i++) {
        QX_TRY(add_family(q, &seen->family[i], &family[i]));
        if (i == 0) { /* while its factors are there */
            QX_TRY(qx_planner_efforts(q, seen, out));
        }
    }
    out->family = family;
    out->family_count = seen->family_count;
    out->rows = seen->rows;
    out->test = seen->test;
    out->test_count = seen->test_count;
    return QX_OK;
}

static qx_status
plan_variate(qx_planner *q, const qx_result *last, qx_plan_result *out, bool *planned)
{
    const qx_variate *v = &q->protocol->variate[q->variate];
    qx_array notes = QX_ARRAY(q->arena, sizeof(const char *));
    const qx_foreseen *seen = NULL;
    q->looked = (qx_array)QX_ARRAY(q->arena, sizeof(void *));
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
                            .chance_sd = sqrt(q->scale.spreads.chance),
                            .chance_unit = q->protocol->unit[v->on].name,
                            .class_ = v->kind == QX_NOMINAL && q->scale.share != NULL
                                          ? v->level[q->scale.class_]
                                          : NULL,
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

static qx_status plan_all(qx_planner *q, qx_planned *out)
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
    qx_planner q = {.cx = cx,
                    .arena = arena,
                    .protocol = protocol,
                    .power = wanted,
                    .alpha = 1.0 - protocol->analysis.level,
                    .knob = qx_planner_find_knob(protocol),
                    .request = request,
                    .samples = samples == 0 ? QX_PLAN_SAMPLES : samples};
    *made = (qx_planned){.arena = arena,
                         .protocol = protocol,
                         .last = request->last,
                         .power = wanted,
                         .level = protocol->analysis.level,
                         .knob = q.knob == QX_NONE ? NULL : protocol->unit[q.knob].name,
                         .knob_now = (double)qx_planner_knob_now(&q)};
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
