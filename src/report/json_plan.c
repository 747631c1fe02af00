/* report/json_plan.c - the plan in JSON, field by field as findings/planning.h has it. */
#include "base/json_write.h"
#include "report/plan_report.h"

static void write_tests(qx_json *j, const qx_plan_result *r)
{
    qx_json_open(j, "tests", '[');
    for (size_t i = 0; i < r->test_count; i++) {
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "term", r->test[i].term);
        qx_json_text(j, "unit", r->test[i].unit);
        qx_json_number(j, "num_df", r->test[i].num_df);
        qx_json_number(j, "den_df", r->test[i].den_df);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

static void write_family(qx_json *j, const qx_plan_family *f)
{
    qx_json_open(j, NULL, '{');
    qx_json_text(j, "term", f->term);
    qx_json_text(j, "replicate", f->unit);
    qx_json_text(j, "adjust", f->adjust);
    qx_json_whole(j, "means", (long long)f->means);
    qx_json_number(j, "replicates", f->replicates);
    qx_json_number(j, "se", f->se);
    qx_json_number(j, "df", f->df);
    qx_json_number(j, "critical", f->critical);
    qx_json_number(j, "detectable", f->detectable);
    qx_json_number(j, "power", f->power);
    qx_json_number(j, "power_equivalence", f->power_equivalence);
    qx_json_number(j, "replicates_needed", f->needed);
    qx_json_number(j, "replicates_needed_equivalence", f->needed_equivalence);
    qx_json_number(j, "units_needed", f->knob_needed);
    qx_json_number(j, "units_needed_equivalence", f->knob_needed_equivalence);
    qx_json_whole(j, "calibrated_by", (long long)f->calibrated);
    if (f->simulated.trials > 0) {
        qx_json_open(j, "simulated", '{');
        qx_json_whole(j, "trials", (long long)f->simulated.trials);
        qx_json_number(j, "power", f->simulated.power);
        qx_json_number(j, "power_equivalence", f->simulated.power_equivalence);
        qx_json_number(j, "error", f->simulated.error);
        qx_json_whole(j, "failed", (long long)f->simulated.failed);
        qx_json_close(j, '}');
    }
    qx_json_open(j, "curve", '[');
    for (size_t i = 0; i < f->point_count; i++) {
        const qx_plan_point *p = &f->point[i];
        qx_json_open(j, NULL, '{');
        qx_json_number(j, "units", p->knob);
        qx_json_number(j, "replicates", p->replicates);
        qx_json_number(j, "rows", p->rows);
        qx_json_number(j, "detectable", p->detectable);
        qx_json_number(j, "power", p->power);
        qx_json_number(j, "power_equivalence", p->power_equivalence);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
    qx_json_close(j, '}');
}

static void write_efforts(qx_json *j, const qx_plan_result *r)
{
    qx_json_open(j, "effort", '[');
    for (size_t i = 0; i < r->effort_count; i++) {
        const qx_plan_effort *e = &r->effort[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "unit", r->effort_unit);
        qx_json_text(j, "thing", r->effort_thing);
        qx_json_text(j, "in_each", r->effort_parent);
        qx_json_number(j, "each", e->each);
        qx_json_number(j, "units", e->units);
        qx_json_number(j, "things", e->things);
        qx_json_number(j, "cost", e->cost);
        qx_json_bool(j, "cheapest", e->best);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

static void write_spreads(qx_json *j, const qx_plan_result *r)
{
    qx_json_open(j, "variation", '[');
    for (size_t i = 0; i < r->spread_count; i++) {
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "unit", r->spread[i].unit);
        qx_json_number(j, "sd", r->spread[i].sd);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

static void write_result(qx_json *j, const qx_plan_result *r)
{
    qx_json_open(j, NULL, '{');
    qx_json_text(j, "variate", r->variate);
    qx_json_text(j, "kind", qx_variate_kind_word(r->kind));
    qx_json_text(j, "scale", r->scale);
    qx_json_number(j, "mean", r->mean);
    qx_json_number(j, "margin", r->margin);
    qx_json_number(j, "margin_scaled", r->margin_scaled);
    qx_json_text(j, "class", r->class_);
    qx_json_number(j, "chance_sd", r->chance_sd);
    qx_json_text(j, "source", r->source_text);
    qx_json_whole(j, "rows", (long long)r->rows);
    write_spreads(j, r);
    write_tests(j, r);
    qx_json_open(j, "treatments", '[');
    for (size_t i = 0; i < r->family_count; i++) {
        write_family(j, &r->family[i]);
    }
    qx_json_close(j, ']');
    write_efforts(j, r);
    qx_json_open(j, "notes", '[');
    for (size_t i = 0; i < r->note_count; i++) {
        qx_json_text(j, NULL, r->note[i]);
    }
    qx_json_close(j, ']');
    qx_json_close(j, '}');
}

qx_status qx_plan_json(qx_ctx *cx, const qx_planned *planned, qx_text *out)
{
    qx_json *j = qx_json_new(qx_ctx_scratch(cx), out);
    if (j == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the plan");
    }
    qx_json_open(j, NULL, '{');
    qx_json_whole(j, "quincunx", 1);
    qx_json_text(j, "title", planned->protocol->title);
    qx_json_number(j, "power", planned->power);
    qx_json_number(j, "level", planned->level);
    qx_json_text(j, "varied", planned->knob);
    qx_json_number(j, "varied_now", planned->knob_now);
    qx_json_open(j, "results", '[');
    for (size_t i = 0; i < planned->result_count; i++) {
        write_result(j, &planned->result[i]);
    }
    qx_json_close(j, ']');
    qx_json_close(j, '}');
    return qx_text_failed(out) ? qx_fail(cx, QX_E_NOMEM, "no memory for the plan")
                               : QX_OK;
}
