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
                  " What departs from %s is not shown (lack of fit, %s).",
                  strcmp(p->name, "linear") == 0 ? "a straight line" : "this curve",
                  p_text(doc, p->lack_p));
}

static const char *
straight(qx_doc *doc, const qx_findings *f, const qx_result *r, const qx_dose *d)
{
    const bool up = d->slope > 0.0;
    return qx_say(doc,
                  "%s %s along a straight line: by %s%s (%s interval %s to %s) for each "
                  "%s (linear, %s).%s",
                  qx_words_label(doc, r),
                  up ? "rises" : "falls",
                  rounded(doc, fabs(d->slope), d->slope_se),
                  qx_words_scale(doc, r),
                  qx_said(doc, qx_per_cent(doc->arena, f->protocol->analysis.level)),
                  rounded(doc, up ? d->slope_lower : -d->slope_upper, d->slope_se),
                  rounded(doc, up ? d->slope_upper : -d->slope_lower, d->slope_se),
                  per_unit(doc, f->protocol, d->of),
                  p_text(doc, d->part[0].p),
                  lack(doc, &d->part[0]));
}

static const char *
curved(qx_doc *doc, const qx_findings *f, const qx_result *r, const qx_dose *d)
{
    const qx_dose_part *last = &d->part[d->degree - 1];
    const char *turn = "";
    if (d->turns_at != NULL) {
        turn = qx_say(doc,
                      ", with its %s point near %s %s",
                      d->turns_down ? "highest" : "lowest",
                      d->of,
                      qx_words_level(doc, f->protocol, d->of, d->turns_at));
    }
    const bool enough = !(last->lack_p < 1.0 - f->protocol->analysis.level);
    return qx_say(doc,
                  "%s follows %s along a curve%s: a straight line does not fit (lack of "
                  "fit, %s; %s part, %s).%s",
                  qx_words_label(doc, r),
                  d->of,
                  turn,
                  p_text(doc, d->part[0].lack_p),
                  last->name,
                  p_text(doc, last->p),
                  enough ? lack(doc, last)
                         : " Even this curve does not fit all levels: go by the means.");
}

static const qx_dose *find(const qx_result *r, const char *factor)
{
    for (size_t i = 0; i < r->dose_count; i++) {
        if (strcmp(r->dose[i].of, factor) == 0) {
            return &r->dose[i];
        }
    }
    return NULL;
}

bool qx_doc_dose(qx_doc *doc,
                 const qx_findings *f,
                 const qx_result *r,
                 const char *factor)
{
    const qx_dose *d = find(r, factor);
    if (d == NULL || isnan(d->part[0].p)) {
        return false;
    }
    if (!d->shown && d->degree == 1) {
        qx_doc_finding(doc,
                       "unsettled",
                       qx_say(doc,
                              "Whether %s rises or falls with %s is not settled (linear "
                              "trend, %s).",
                              qx_words_label(doc, r),
                              d->of,
                              p_text(doc, d->part[0].p)));
        return true;
    }
    const char *text = d->degree == 1 ? straight(doc, f, r, d) : curved(doc, f, r, d);
    if (qx_result_interaction(r, factor, 1.0 - f->protocol->analysis.level) != NULL) {
        text = qx_say(doc, "Averaged over the other treatments: %s", text);
    }
    qx_doc_finding(doc, "trend", text);
    return true;
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
    (void)f;
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
        qx_table_group(doc, t, qx_say(doc, "Over %s", r->dose[i].of));
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
