/* report/doc_plan.c - the plan as a document: what can be shown, what it takes, where each
 * treatment is tested, how to spend the effort. */
#include <math.h>
#include <string.h>

#include "report/chart.h"
#include "report/plan_report.h"
#include "report/render.h"
#include "report/rounding.h"
#include "report/words.h"

typedef struct planning {
    qx_doc *doc;
    const qx_planned *plan;
    const qx_plan_result *r;
} planning;

/* Three figures are what a plan deserves; whole numbers of things stay whole. */
static const char *few(const planning *p, double x)
{
    if (x == floor(x) && fabs(x) < 1e6) {
        return qx_say(p->doc, "%.0f", x);
    }
    return qx_said(p->doc, qx_short_number(p->doc->arena, x, 3));
}

static const char *whole(const planning *p, double x)
{
    return isnan(x) ? "-" : qx_say(p->doc, "%.0f", ceil(x - 1e-9));
}

static const char *chance(const planning *p, double power)
{
    return isnan(power) ? "-" : qx_say(p->doc, "%.0f %%", 100.0 * power);
}

/* A difference in the variate's unit: "8.1 cm", "12 percentage points". */
static const char *difference(const planning *p, double d)
{
    if (isnan(d)) {
        return "-";
    }
    if (p->r->kind == QX_ORDINAL || p->r->kind == QX_NOMINAL ||
        (p->r->kind == QX_PROPORTION && strcmp(p->r->scale, p->r->unit) != 0)) {
        return qx_say(p->doc, "%s percentage points", few(p, 100.0 * d));
    }
    if (p->r->source == QX_SPREAD_NONE) {
        return qx_say(p->doc, "%s standard deviations", few(p, d));
    }
    return qx_say(p->doc, "%s%s", few(p, d), qx_words_unit(p->doc, p->r->unit));
}

/* --- sentences --- */

static void say_can_show(const planning *p, const qx_plan_family *f)
{
    const char *units = qx_words_plural(p->doc, f->unit);
    const char *lead = qx_say(
        p->doc, "%s: with %s %s for each level, ", f->term, few(p, f->replicates), units);
    if (isnan(f->se)) {
        qx_doc_finding(p->doc,
                       "not testable",
                       qx_say(p->doc,
                              "%snothing can be tested: no degrees of freedom are left "
                              "for %s.",
                              lead,
                              f->unit));
        return;
    }
    const char *text =
        isnan(f->detectable)
            ? qx_say(p->doc,
                     "%sno difference that the scale allows is shown in %.0f of 100 such "
                     "trials.",
                     lead,
                     100.0 * p->plan->power)
            : qx_say(p->doc,
                     "%sa difference of %s is shown in %.0f of 100 such trials.",
                     lead,
                     difference(p, f->detectable),
                     100.0 * p->plan->power);
    if (!isnan(f->power)) {
        text = qx_say(p->doc,
                      "%s The power for the margin of %s is %s.",
                      text,
                      difference(p, p->r->margin),
                      chance(p, f->power));
    }
    const bool enough = f->power >= p->plan->power;
    qx_doc_finding(p->doc,
                   isnan(f->power) ? "planned"
                   : enough        ? "enough"
                                   : "too few",
                   text);
}

static void say_needed(const planning *p, const qx_plan_family *f)
{
    if (isnan(f->power) || p->plan->knob == NULL) {
        return;
    }
    const char *units = qx_words_plural(p->doc, f->unit);
    const char *knobs = qx_words_plural(p->doc, p->plan->knob);
    if (isnan(f->needed)) {
        qx_doc_add(p->doc,
                   QX_NODE_PARAGRAPH,
                   qx_say(p->doc,
                          "To show the margin, more than %d %s would be needed.",
                          QX_PLAN_REPLICATES_MOST,
                          units));
    } else {
        qx_doc_add(
            p->doc,
            QX_NODE_PARAGRAPH,
            qx_say(p->doc,
                   "To show a difference of the margin with %s power: %s %s for each "
                   "level (%s %s in all).",
                   chance(p, p->plan->power),
                   whole(p, f->needed),
                   units,
                   whole(p, f->knob_needed),
                   knobs));
    }
    if (!isnan(f->needed_equivalence)) {
        qx_doc_add(p->doc,
                   QX_NODE_PARAGRAPH,
                   qx_say(p->doc,
                          "To show that it does not matter, if there is no difference at "
                          "all: %s %s for each level (%s %s in all).",
                          whole(p, f->needed_equivalence),
                          units,
                          whole(p, f->knob_needed_equivalence),
                          knobs));
    }
}

static void say_simulated(const planning *p, const qx_plan_family *f)
{
    const qx_rehearsed *r = &f->simulated;
    if (r->trials == 0) {
        return;
    }
    const double n = (double)r->trials;
    const char *text = qx_say(
        p->doc,
        "Simulated (%zu trials of each kind, analysed as the real one will be): a "
        "difference of the margin was shown in %.1f %% (± %.1f), that nothing matters "
        "in %.1f %% (± %.1f); where nothing was, some difference was called out in "
        "%.1f %% (± %.1f).",
        r->trials,
        100.0 * r->power,
        196.0 * sqrt(r->power * (1.0 - r->power) / n),
        100.0 * r->power_equivalence,
        196.0 * sqrt(r->power_equivalence * (1.0 - r->power_equivalence) / n),
        100.0 * r->error,
        196.0 * sqrt(r->error * (1.0 - r->error) / n));
    qx_doc_add(p->doc, QX_NODE_PARAGRAPH, text);
    if (r->failed > 0) {
        qx_doc_add(p->doc,
                   QX_NODE_NOTE,
                   qx_say(p->doc,
                          "%zu of the simulated trials could not be analysed; they count "
                          "as not shown.",
                          r->failed));
    }
}

/* --- tables --- */

static void add_tests(const planning *p)
{
    qx_doc_table *t = qx_doc_table_new(p->doc, "Where each treatment is tested");
    if (t == NULL) {
        return;
    }
    qx_table_column(t, "term", false);
    qx_table_column(t, "tested against", false);
    qx_table_column(t, "df", true);
    qx_table_column(t, "df of error", true);
    for (size_t i = 0; i < p->r->test_count; i++) {
        const qx_foreseen_test *test = &p->r->test[i];
        const char **cell = qx_table_row(p->doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = test->term;
        cell[1] = qx_words_path(p->doc, test->unit);
        cell[2] = qx_said(p->doc, qx_df_value(p->doc->arena, test->num_df));
        cell[3] = isnan(test->den_df)
                      ? "none"
                      : qx_said(p->doc, qx_df_value(p->doc->arena, test->den_df));
    }
}

/* "trees", "trees from season to season". */
static const char *spread_name(const planning *p, const char *unit)
{
    static const char mark[] = " by season";
    const char *end = strstr(unit, mark);
    if (end == NULL) {
        return qx_words_plural(p->doc, unit);
    }
    return qx_say(
        p->doc,
        "%s from season to season",
        qx_words_plural(p->doc, qx_say(p->doc, "%.*s", (int)(end - unit), unit)));
}

static void add_spreads(const planning *p)
{
    qx_doc_table *t = qx_doc_table_new(
        p->doc,
        qx_say(p->doc,
               "Variation that is planned with (standard deviations%s%s%s)",
               p->r->scale[0] == '\0' ? "" : ", ",
               p->r->scale,
               p->r->kind == QX_CONTINUOUS || p->r->scale[0] == '\0' ? "" : " scale"));
    if (t == NULL) {
        return;
    }
    qx_table_column(t, "between", false);
    qx_table_column(t, "standard deviation", true);
    for (size_t i = 0; i < p->r->spread_count; i++) {
        const char **cell = qx_table_row(p->doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = spread_name(p, p->r->spread[i].unit);
        cell[1] = few(p, p->r->spread[i].sd);
    }
    if (p->r->chance_sd > 0.0) {
        const char **cell = qx_table_row(p->doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = qx_say(p->doc, "chance alone, in each %s", p->r->chance_unit);
        cell[1] = few(p, p->r->chance_sd);
    }
    qx_table_foot(p->doc, t, p->r->source_text);
}

static void add_points(const planning *p, const qx_plan_family *f)
{
    if (f->point_count == 0) {
        return;
    }
    qx_doc_table *t = qx_doc_table_new(
        p->doc, qx_say(p->doc, "Replicates of %s and what they show", f->term));
    if (t == NULL) {
        return;
    }
    const bool margin = !isnan(f->point[0].power);
    qx_table_column(t, qx_words_plural(p->doc, p->plan->knob), true);
    qx_table_column(t, "replicates", true);
    qx_table_column(t, "least difference shown", true);
    if (margin) {
        qx_table_column(t, "power for the margin", true);
        qx_table_column(t, "power for \"does not matter\"", true);
    }
    for (size_t i = 0; i < f->point_count; i++) {
        const char **cell = qx_table_row(p->doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = whole(p, f->point[i].knob);
        cell[1] = few(p, f->point[i].replicates);
        cell[2] = difference(p, f->point[i].detectable);
        if (margin) {
            cell[3] = chance(p, f->point[i].power);
            cell[4] = chance(p, f->point[i].power_equivalence);
        }
    }
}

static void add_efforts(const planning *p)
{
    const qx_plan_result *r = p->r;
    if (r->effort_count == 0) {
        if (p->plan->protocol->planning.cost != NULL && r->family_count > 0) {
            qx_doc_add(p->doc,
                       QX_NODE_NOTE,
                       "There is no table of costs: it needs a margin and a variate on "
                       "things that stand inside the treated unit and carry no treatment "
                       "themselves.");
        }
        return;
    }
    qx_doc_table *t =
        qx_doc_table_new(p->doc,
                         qx_say(p->doc,
                                "How to spend the effort for %s: %s in each %s",
                                r->effort_family,
                                qx_words_plural(p->doc, r->effort_thing),
                                r->effort_parent));
    if (t == NULL) {
        return;
    }
    qx_table_column(
        t, qx_say(p->doc, "%s in each", qx_words_plural(p->doc, r->effort_thing)), true);
    qx_table_column(t, qx_words_plural(p->doc, r->effort_unit), true);
    qx_table_column(t, "measured in all", true);
    qx_table_column(t, "cost", true);
    qx_table_column(t, "", false);
    for (size_t i = 0; i < r->effort_count; i++) {
        const qx_plan_effort *e = &r->effort[i];
        const char **cell = qx_table_row(p->doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = whole(p, e->each);
        cell[1] = whole(p, e->units);
        cell[2] = whole(p, e->things);
        cell[3] = isnan(e->cost) ? "-" : few(p, e->cost);
        cell[4] = e->best ? "cheapest" : "";
    }
    qx_table_foot(p->doc,
                  t,
                  qx_say(p->doc,
                         "Each line reaches %s power for the margin; costs are those of "
                         "the protocol.",
                         chance(p, p->plan->power)));
}

static void add_chart(const planning *p, const qx_plan_family *f)
{
    const qx_chart_input in = {.doc = p->doc, .planned = p->plan, .family = f};
    if (qx_chart_power.suits(&in)) {
        const qx_scene *scene = qx_chart_draw(&qx_chart_power, &in);
        if (scene == NULL) {
            p->doc->failed = true;
            return;
        }
        qx_doc_chart(p->doc, scene);
    }
}

/* --- the whole --- */

static void say_how_near(const planning *p)
{
    const size_t trials = p->r->family[0].calibrated;
    if (trials == 0) {
        qx_doc_add(p->doc,
                   QX_NODE_NOTE,
                   "Counts, shares, grades and classes are worked out by a formula that "
                   "comes near to what the analysis will show, within a few percentage "
                   "points of power: --simulate 10000 sets it right.");
        return;
    }
    qx_doc_add(
        p->doc,
        QX_NODE_NOTE,
        qx_say(p->doc,
               "The formula for counts, shares, grades and classes was set right by "
               "%zu simulated trials, analysed as the real one will be, at the "
               "replicates of the protocol and at those needed: powers are right "
               "to ± %.1f percentage points. The simulated trials told above are "
               "others.",
               trials,
               196.0 * sqrt(0.25 / (double)trials)));
}

/* What stands behind the numbers of counts, shares, grades and classes. */
static void say_link(const planning *p)
{
    const qx_plan_result *r = p->r;
    if (!(r->chance_sd > 0.0) || r->family_count == 0) {
        return;
    }
    say_how_near(p);
    if (r->kind == QX_ORDINAL) {
        qx_doc_add(
            p->doc,
            QX_NODE_NOTE,
            "Grades are planned as a shift of all classes together; differences "
            "and the margin are told in the share of the class that changes most.");
    }
    if (r->class_ != NULL) {
        qx_doc_add(
            p->doc,
            QX_NODE_NOTE,
            qx_say(p->doc,
                   "Classes without an order are compared one by one. Planned for is "
                   "the share of \"%s\", the hardest to tell apart, in a typical "
                   "%s; the other classes show the margin sooner.",
                   r->class_,
                   r->chance_unit));
    }
}

static void add_variate(const planning *p, size_t number, bool charts)
{
    const qx_plan_result *r = p->r;
    qx_doc_heading(p->doc, 2, qx_say(p->doc, "variate-%zu", number + 1), r->label);
    for (size_t i = 0; i < r->family_count; i++) {
        say_can_show(p, &r->family[i]);
        say_needed(p, &r->family[i]);
        say_simulated(p, &r->family[i]);
        if (charts) {
            add_chart(p, &r->family[i]);
        }
    }
    for (size_t i = 0; i < r->note_count; i++) {
        qx_doc_add(p->doc, QX_NODE_NOTE, r->note[i]);
    }
    say_link(p);
    if (r->spread_count > 0 || r->chance_sd > 0.0) {
        add_spreads(p);
    }
    if (r->test_count > 0) {
        add_tests(p);
    }
    for (size_t i = 0; i < r->family_count; i++) {
        add_points(p, &r->family[i]);
    }
    add_efforts(p);
}

/* What the earlier trial left open, and the replicates that would settle it. */
static void add_open(const planning *p)
{
    const qx_findings *f = p->plan->last;
    qx_doc_table *t = NULL;
    for (size_t i = 0; f != NULL && i < f->result_count; i++) {
        const qx_result *r = &f->result[i];
        for (size_t k = 0; k < r->difference_count; k++) {
            const qx_difference *d = &r->difference[k];
            if (d->verdict != QX_UNSETTLED || isnan(d->margin)) {
                continue;
            }
            if (t == NULL) {
                qx_doc_heading(p->doc, 2, "open", "What the earlier trial left open");
                t = qx_doc_table_new(
                    p->doc,
                    "Replicates that would settle it, whichever way, with "
                    "80 % power");
                if (t == NULL) {
                    return;
                }
                qx_table_column(t, "variate", false);
                qx_table_column(t, "unsettled", false);
                qx_table_column(t, "replicates", true);
            }
            const char **cell = qx_table_row(p->doc, t, false);
            if (cell == NULL) {
                return;
            }
            cell[0] = r->label;
            cell[1] = qx_say(p->doc,
                             "%s and %s",
                             qx_words_cell(p->doc, f->protocol, &d->first),
                             qx_words_levels(p->doc, f->protocol, &d->second));
            cell[2] = isnan(d->replicates_to_settle)
                          ? "more than 10,000"
                          : qx_say(p->doc,
                                   "%.0f %s",
                                   d->replicates_to_settle,
                                   d->replicate == NULL
                                       ? ""
                                       : qx_words_plural(p->doc, d->replicate));
        }
    }
}

static void add_method(const planning *p)
{
    qx_doc_heading(p->doc, 2, "method", "How this was worked out");
    qx_doc_add(
        p->doc,
        QX_NODE_PARAGRAPH,
        qx_say(p->doc,
               "The trial was laid out and the analysis that will follow was set up "
               "on it, with the variation above taken as true (Stroup 2002, J Agric "
               "Biol Environ Stat 7:491-511). Tests are two-sided at %g %%, adjusted "
               "as the protocol says; \"does not matter\" is shown by two one-sided "
               "tests (Schuirmann 1987, J Pharmacokinet Biopharm 15:657-680). Counts, "
               "shares, grades and classes are worked out on the scale of their link.",
               100.0 * (1.0 - p->plan->level)));
    qx_doc_add(p->doc,
               QX_NODE_PARAGRAPH,
               "Real variation is never quite what was expected: look at a season's data "
               "before you rely on the last replicate, and declare it with looks.");
}

static qx_doc *document(qx_arena *arena, const qx_planned *plan, bool charts)
{
    qx_doc *doc = qx_doc_new(arena);
    if (doc == NULL) {
        return NULL;
    }
    doc->title = plan->protocol->title;
    doc->question = plan->protocol->question;
    doc->maker = "quincunx " QX_VERSION;
    planning p = {.doc = doc, .plan = plan};
    for (size_t i = 0; i < plan->result_count; i++) {
        p.r = &plan->result[i];
        add_variate(&p, i, charts);
    }
    add_open(&p);
    add_method(&p);
    return doc;
}

static qx_status write(qx_ctx *cx,
                       const qx_planned *plan,
                       const qx_renderer *renderer,
                       bool charts,
                       qx_text *out)
{
    return qx_render(cx, renderer, document(qx_ctx_scratch(cx), plan, charts), out);
}

qx_status qx_plan_text(qx_ctx *cx, const qx_planned *planned, qx_text *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, write(cx, planned, &qx_renderer_text, false, out));
    return status;
}

qx_status qx_plan_html(qx_ctx *cx, const qx_planned *planned, qx_text *out)
{
    qx_status status;
    QX_SCRATCH(cx, status, write(cx, planned, &qx_renderer_html, true, out));
    return status;
}
