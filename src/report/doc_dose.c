/* report/doc_dose.c - dose and response: one sentence a treatment, and the parts of the curve
 * as a table. */
#include <math.h>
#include <string.h>

#include "report/doc_parts.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

static const char *p_text(qx_doc *doc, double p)
{
    return qx_say(
        doc, "P %s%s", p < 0.001 ? "" : "= ", qx_said(doc, qx_p_value(doc->arena, p)));
}

static const char *rounded(qx_doc *doc, double x, double se)
{
    return qx_said(doc, qx_rounded(doc->arena, x, qx_decimals_for(se)));
}

/* "for each 10 mg of dose" needs the unit of the levels: "for each unit of dose". */
static const char *per_unit(qx_doc *doc, const qx_protocol *p, const char *factor)
{
    return qx_say(doc, "%s of %s", qx_words_level(doc, p, factor, "1"), factor);
}

static const char *lack(qx_doc *doc, const qx_dose_part *p)
{
    if (isnan(p->lack_p)) {
        return "";
    }
    return qx_say(doc,
                  " What departs from %s has not been shown (%s).",
                  strcmp(p->name, "linear") == 0 ? "a straight line" : "this curve",
                  p_text(doc, p->lack_p));
}

/* One curve with all that its sentence needs. */
typedef struct told {
    qx_doc *doc;
    const qx_findings *f;
    const qx_result *r;
    const qx_dose *d;
    const char *label;
} told;

/* "dose 40 mg" */
static const char *amount(const told *t, double x)
{
    return qx_say(t->doc,
                  "%s %s",
                  t->d->of,
                  qx_words_level(t->doc,
                                 t->f->protocol,
                                 t->d->of,
                                 qx_said(t->doc, qx_plain_number(t->doc->arena, x))));
}

static qx_better better(const told *t)
{
    return t->r->definition == NULL ? QX_BETTER_NONE : t->r->definition->better;
}

/* Is the highest (else the lowest) what is looked for? */
static bool is_best(const told *t, bool highest)
{
    return better(t) == (highest ? QX_BETTER_MORE : QX_BETTER_LESS);
}

/* What lies at an end of what was tried may go on beyond it. */
static const char *at_the_end(const told *t, const char *what, bool at_most)
{
    return qx_say(t->doc,
                  " The %s value lies at %s, the %s that was tried, or beyond it.",
                  what,
                  amount(t, at_most ? t->d->most : t->d->least),
                  at_most ? "most" : "least");
}

/* Where the best lies along a line or curve that does not turn; "" when nothing is better. */
static const char *best_end(const told *t)
{
    const bool more = better(t) == QX_BETTER_MORE;
    return better(t) == QX_BETTER_NONE ? "" : at_the_end(t, "best", more == t->d->rises);
}

static const char *straight(const told *t)
{
    const qx_dose *d = t->d;
    qx_doc *doc = t->doc;
    const bool up = d->slope > 0.0;
    const int decimals = qx_decimals_for(d->slope_se);
    return qx_say(doc,
                  "%s %s along a straight line: by %s%s (%s interval %s) for each %s "
                  "(%s).%s%s",
                  t->label,
                  up ? "rises" : "falls",
                  rounded(doc, fabs(d->slope), d->slope_se),
                  qx_words_scale(doc, t->r),
                  qx_said(doc, qx_per_cent(doc->arena, t->f->protocol->analysis.level)),
                  qx_said(doc,
                          qx_range(doc->arena,
                                   up ? d->slope_lower : -d->slope_upper,
                                   up ? d->slope_upper : -d->slope_lower,
                                   decimals)),
                  per_unit(doc, t->f->protocol, d->of),
                  p_text(doc, d->part[0].p),
                  best_end(t),
                  lack(doc, &d->part[0]));
}

/* "(95 % interval 19.8 to 25.1 mg)", and whether it leaves what was tried. */
static const char *turn_limits(const told *t, int decimals)
{
    const qx_dose *d = t->d;
    const bool outside = d->turn_lower < d->least || d->turn_upper > d->most;
    return qx_say(
        t->doc,
        "%s interval %s%s",
        qx_said(t->doc, qx_per_cent(t->doc->arena, t->f->protocol->analysis.level)),
        qx_words_level(
            t->doc,
            t->f->protocol,
            d->of,
            qx_said(t->doc,
                    qx_range(t->doc->arena, d->turn_lower, d->turn_upper, decimals))),
        outside ? ", which reaches beyond what was tried" : "");
}

/* A parabola that turns inside what was tried. */
static const char *turns(const told *t)
{
    const qx_dose *d = t->d;
    /* Limits are some four standard errors apart. */
    const int decimals = qx_decimals_for((d->turn_upper - d->turn_lower) / 4.0);
    return qx_say(
        t->doc,
        "%s goes with %s along a curve that is %s%s at %s (%s).",
        t->label,
        d->of,
        d->turns_down ? "highest" : "lowest",
        is_best(t, d->turns_down) ? ", and so best," : "",
        qx_words_level(t->doc,
                       t->f->protocol,
                       d->of,
                       qx_said(t->doc, qx_rounded(t->doc->arena, d->turn, decimals))),
        turn_limits(t, decimals));
}

/* A parabola that turns, if at all, outside of what was tried. */
static const char *goes_on(const told *t)
{
    const qx_dose *d = t->d;
    const bool flattens = d->turn > d->most;
    const char *end = best_end(t);
    if (end[0] == '\0') {
        end = at_the_end(
            t, d->turns_down ? "highest" : "lowest", d->turns_down == d->rises);
    }
    return qx_say(t->doc,
                  "%s %s with %s over the whole range that was tried, ever %s steeply.%s",
                  t->label,
                  d->rises ? "rises" : "falls",
                  d->of,
                  flattens ? "less" : "more",
                  end);
}

static const char *curved(const told *t)
{
    const qx_dose *d = t->d;
    const qx_dose_part *last = &d->part[d->degree - 1];
    const bool enough = !(last->lack_p < 1.0 - t->f->protocol->analysis.level);
    const bool inside = d->turn > d->least && d->turn < d->most;
    const char *text =
        isnan(d->turn)
            ? qx_say(t->doc,
                     "%s goes with %s along a curve.%s",
                     t->label,
                     d->of,
                     d->end_level == NULL
                         ? ""
                         : qx_say(t->doc,
                                  " Of the amounts tried it is %s at %s %s.",
                                  d->turns_down ? "highest" : "lowest",
                                  d->of,
                                  qx_words_level(
                                      t->doc, t->f->protocol, d->of, d->end_level)))
        : inside ? turns(t)
                 : goes_on(t);
    return qx_say(t->doc,
                  "%s A straight line does not fit (%s).%s",
                  text,
                  p_text(t->doc, d->part[0].lack_p),
                  enough ? lack(t->doc, last)
                         : " Even this curve does not fit all levels: go by the means.");
}

/* The curve as a sentence; `averaged`: over treatments that it depends on. */
static void one_dose(const told *t, bool averaged)
{
    const qx_dose *d = t->d;
    const char *head = averaged ? "Averaged over the other treatments: " : "";
    if (d->within.count > 0) {
        const char *within = qx_words_with(t->doc, t->f->protocol, &d->within);
        head = qx_say(t->doc, "%c%s: ", within[0] - 'a' + 'A', within + 1);
    }
    if (!d->shown && d->degree == 1) {
        qx_doc_finding(t->doc,
                       "unsettled",
                       qx_say(t->doc,
                              "%sWhether %s rises or falls with %s is not settled (%s).",
                              head,
                              t->label,
                              d->of,
                              p_text(t->doc, d->part[0].p)));
        return;
    }
    qx_doc_finding(
        t->doc,
        "trend",
        qx_say(t->doc, "%s%s", head, d->degree == 1 ? straight(t) : curved(t)));
}

bool qx_doc_dose(qx_doc *doc,
                 const qx_findings *f,
                 const qx_result *r,
                 const char *factor,
                 bool inside)
{
    const double alpha = 1.0 - f->protocol->analysis.level;
    const bool averaged = qx_result_interaction(r, factor, alpha) != NULL;
    bool any = false;
    for (size_t i = 0; i < r->dose_count; i++) {
        const qx_dose *d = &r->dose[i];
        const told t = {doc, f, r, d, qx_words_label(doc, r)};
        if (strcmp(d->of, factor) != 0 || (d->within.count > 0) != inside ||
            isnan(d->part[0].p)) {
            continue;
        }
        one_dose(&t, averaged && !inside);
        any = true;
    }
    return any;
}

static void lack_row(qx_doc *doc, const qx_dose_part *p, const char **cell)
{
    cell[0] = qx_say(doc, "lack of fit of the %s", p->name);
    cell[1] = qx_said(doc, qx_df_value(doc->arena, p->lack_num_df));
    cell[2] = qx_said(doc, qx_df_value(doc->arena, p->lack_den_df));
    cell[3] = qx_said(doc, qx_rounded(doc->arena, p->lack_f, 2));
    cell[4] = qx_said(doc, qx_p_value(doc->arena, p->lack_p));
}

void qx_doc_dose_table(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    const double alpha = 1.0 - f->protocol->analysis.level;
    if (r->dose_count == 0) {
        return;
    }
    qx_doc_table *t = qx_doc_table_new(
        doc, qx_say(doc, "%s: dose and response", qx_words_heading(doc, r)));
    qx_table_column(t, "Part of the curve", false);
    qx_table_column(t, "df", true);
    qx_table_column(t, "Error df", true);
    qx_table_column(t, "F", true);
    qx_table_column(t, "P", true);
    for (size_t i = 0; i < r->dose_count; i++) {
        const qx_cell *within = &r->dose[i].within;
        if (within->count > 0 && qx_result_interaction(r, r->dose[i].of, alpha) == NULL) {
            continue; /* the average tells it */
        }
        qx_table_group(doc,
                       t,
                       within->count == 0
                           ? qx_say(doc, "Over %s", r->dose[i].of)
                           : qx_say(doc,
                                    "Over %s, %s",
                                    r->dose[i].of,
                                    qx_words_with(doc, f->protocol, within)));
        for (size_t k = 0; k < r->dose[i].part_count; k++) {
            const qx_dose_part *p = &r->dose[i].part[k];
            const char **cell = qx_table_row(doc, t, false);
            if (cell == NULL) {
                return;
            }
            cell[0] = p->name;
            cell[1] = "1";
            cell[2] = qx_said(doc, qx_df_value(doc->arena, p->df));
            cell[3] = qx_said(doc, qx_rounded(doc->arena, p->f, 2));
            cell[4] = qx_said(doc, qx_p_value(doc->arena, p->p));
            cell = isnan(p->lack_num_df) ? NULL : qx_table_row(doc, t, false);
            if (cell != NULL) {
                lack_row(doc, p, cell);
            }
        }
    }
    qx_table_foot(
        doc,
        t,
        "Orthogonal parts over the true amounts; the lack of fit of a degree is "
        "all that higher degrees could add.");
}
