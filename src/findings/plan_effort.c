/* findings/plan_effort.c - how to spend a budget between units and the things in them. */
#include <math.h>

#include "findings/planner.h"

#define EACH_MOST 12 /* things in each unit that an effort table goes through */

static double cost_of(const qx_planner *q, const qx_foreseen *seen)
{
    const double *cost = q->protocol->planning.cost;
    double sum = 0.0;
    for (size_t u = 0; u < q->protocol->unit_count; u++) {
        sum += isnan(cost[u]) ? 0.0 : cost[u] * (double)seen->things[u];
    }
    return sum;
}

static qx_status
add_effort(qx_planner *q, const qx_foreseen_family *f, size_t each, qx_plan_effort *line)
{
    const qx_planner_wish w = {.treatment = f->treatment, .each = each};
    const qx_foreseen *seen;
    size_t times;
    *line = (qx_plan_effort){
        .each = (double)each, .knob = NAN, .units = NAN, .things = NAN, .cost = NAN};
    QX_TRY(qx_planner_needed(q, &w, &times));
    if (times == 0) {
        return QX_OK;
    }
    QX_TRY(qx_planner_look(q, times * qx_planner_knob_step(q), each, &seen));
    if (seen == NULL) {
        return QX_OK; /* what does not fit has no price */
    }
    line->knob = (double)(times * qx_planner_knob_step(q));
    line->units = (double)seen->things[q->protocol->treatment[f->treatment].on];
    line->things = (double)seen->rows;
    line->cost = cost_of(q, seen);
    return QX_OK;
}

qx_status qx_planner_efforts(qx_planner *q, const qx_foreseen *seen, qx_plan_result *out)
{
    const size_t thing = qx_planner_things(q);
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
