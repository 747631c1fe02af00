/* report/doc_covariate.c - covariates: at which value means and differences hold, the slopes,
 * and, where levels have slopes of their own, the differences at low and high values. */
#include <math.h>
#include <string.h>

#include "findings/verdict.h"
#include "report/doc_parts.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define FIGURES      3 /* of a value of the covariate */
#define ENDS_PRINTED 3 /* pairs that are told at both ends in sentences */

static const char *p_text(qx_doc *doc, double p)
{
    return qx_say(
        doc, "P %s%s", p < 0.001 ? "" : "= ", qx_said(doc, qx_p_value(doc->arena, p)));
}

static const char *level_text(qx_doc *doc, const qx_findings *f)
{
    return qx_said(doc, qx_per_cent(doc->arena, f->protocol->analysis.level));
}

/* "Temp 4.88 °" */
static const char *value_text(qx_doc *doc, const qx_covariate_line *c, double x)
{
    return qx_say(doc,
                  "%s %s%s",
                  c->name,
                  qx_said(doc, qx_short_number(doc->arena, x, FIGURES)),
                  qx_words_unit(doc, c->unit));
}

/* Do the levels of this factor have slopes of their own? */
static bool has_slopes(const qx_covariate_line *c, const char *factor)
{
    for (size_t i = 0; i < c->end_count; i++) {
        if (strcmp(c->at_low[i].term, factor) == 0) {
            return true;
        }
    }
    return false;
}

void qx_doc_covariate_held(qx_doc *doc, const qx_result *r)
{
    const char *list = "";
    for (size_t i = 0; i < r->covariate_count; i++) {
        list = qx_say(doc,
                      "%s%s%s",
                      list,
                      i == 0                        ? ""
                      : i + 1 == r->covariate_count ? " and "
                                                    : ", ",
                      value_text(doc, &r->covariate[i], r->covariate[i].held));
    }
    if (r->covariate_count > 0 && r->mean_count > 0) {
        qx_doc_add(
            doc,
            QX_NODE_PARAGRAPH,
            qx_say(doc,
                   "Means and differences of %s are those at %s, the mean of the data.",
                   qx_words_label(doc, r),
                   list));
    }
}

/* "After minus Before −2.05 kg (95 % interval −2.3 to −1.8)" */
static const char *
pair_at(qx_doc *doc, const qx_findings *f, const qx_result *r, const qx_difference *d)
{
    const double scale = qx_result_scale(r);
    const int decimals = qx_decimals_for(scale * d->se);
    return qx_say(doc,
                  "%s minus %s %s%s (%s interval %s to %s)",
                  qx_words_levels(doc, f->protocol, &d->first),
                  qx_words_levels(doc, f->protocol, &d->second),
                  qx_said(doc, qx_rounded(doc->arena, scale * d->estimate, decimals)),
                  qx_words_difference_scale(doc, r),
                  level_text(doc, f),
                  qx_said(doc, qx_rounded(doc->arena, scale * d->lower, decimals)),
                  qx_said(doc, qx_rounded(doc->arena, scale * d->upper, decimals)));
}

/* What stands at the differences of a factor whose levels have slopes of their own. */
static void warn(qx_doc *doc,
                 const qx_findings *f,
                 const qx_result *r,
                 const qx_covariate_line *c,
                 const char *factor)
{
    const qx_test_line *t = qx_result_test(r, qx_say(doc, "%s:%s", factor, c->name));
    const double p = t == NULL ? (double)NAN : qx_test_p(t);
    const bool shown = p < 1.0 - f->protocol->analysis.level;
    qx_doc_add(doc,
               QX_NODE_NOTE,
               qx_say(doc,
                      "Each level of %s has a slope of its own with %s (%s: %s). The "
                      "differences told here are those at %s; %s with %s.%s",
                      factor,
                      c->name,
                      shown ? "the slopes differ" : "that they differ is not shown",
                      isnan(p) ? "no test" : p_text(doc, p),
                      value_text(doc, c, c->held),
                      shown ? "they change" : "they may change",
                      c->name,
                      c->end_count > ENDS_PRINTED || r->class_count > 0
                          ? " A table gives them at low and at high values."
                          : ""));
}

static void ends(qx_doc *doc,
                 const qx_findings *f,
                 const qx_result *r,
                 const qx_covariate_line *c,
                 const char *factor)
{
    for (size_t i = 0; i < c->end_count; i++) {
        for (int high = 0; high < 2; high++) {
            const qx_difference *d = high ? &c->at_high[i] : &c->at_low[i];
            if (strcmp(d->term, factor) != 0 || d->class_ != NULL || isnan(d->estimate)) {
                continue;
            }
            qx_doc_finding(doc,
                           qx_words_verdict(d),
                           qx_say(doc,
                                  "%s at %s (a tenth of the data lie %s): %s.",
                                  qx_words_label(doc, r),
                                  value_text(doc, c, high ? c->high : c->low),
                                  high ? "above" : "below",
                                  pair_at(doc, f, r, d)));
        }
    }
}

void qx_doc_covariate_slopes(qx_doc *doc,
                             const qx_findings *f,
                             const qx_result *r,
                             const char *factor)
{
    for (size_t i = 0; i < r->covariate_count; i++) {
        const qx_covariate_line *c = &r->covariate[i];
        if (!has_slopes(c, factor)) {
            continue;
        }
        warn(doc, f, r, c, factor);
        if (c->end_count <= ENDS_PRINTED) {
            ends(doc, f, r, c, factor);
        }
    }
}

static void slope_table(qx_doc *doc,
                        const qx_findings *f,
                        const qx_result *r,
                        const qx_covariate_line *c)
{
    qx_doc_table *t = qx_doc_table_new(
        doc, qx_say(doc, "%s: slope with %s", qx_words_label(doc, r), c->name));
    qx_table_column(t, "Of", false);
    qx_table_column(t,
                    qx_say(doc,
                           "Change for 1%s of %s%s",
                           qx_words_unit(doc, c->unit),
                           c->name,
                           qx_words_model_scale(doc, r)),
                    true);
    qx_table_column(t, "SE", true);
    qx_table_column(t, "df", true);
    qx_table_column(t, qx_say(doc, "%s interval", level_text(doc, f)), true);
    qx_table_column(t, "P", true);
    for (size_t i = 0; i < c->slope_count; i++) {
        const qx_slope_line *s = &c->slope[i];
        const int decimals = qx_decimals_for(s->se);
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = s->cell.count == 0 ? "all" : qx_words_cell(doc, f->protocol, &s->cell);
        cell[1] = qx_said(doc, qx_rounded(doc->arena, s->estimate, decimals));
        cell[2] = qx_said(doc, qx_rounded(doc->arena, s->se, decimals));
        cell[3] = qx_said(doc, qx_df_value(doc->arena, s->df));
        cell[4] = qx_say(doc,
                         "%s to %s",
                         qx_said(doc, qx_rounded(doc->arena, s->lower, decimals)),
                         qx_said(doc, qx_rounded(doc->arena, s->upper, decimals)));
        cell[5] = qx_said(doc, qx_p_value(doc->arena, s->p));
    }
    qx_table_foot(doc,
                  t,
                  qx_say(doc,
                         "Means and differences hold at %s, the mean of the data. "
                         "Intervals and P of slopes are not adjusted.",
                         value_text(doc, c, c->held)));
}

static void end_row(qx_doc *doc,
                    const qx_findings *f,
                    const qx_result *r,
                    const qx_difference *d,
                    const char *at,
                    const char **cell)
{
    const double scale = qx_result_scale(r);
    const int decimals = qx_decimals_for(scale * d->se);
    cell[0] = qx_say(doc,
                     "%s%s%s \xe2\x88\x92 %s",
                     d->class_ == NULL ? "" : d->class_,
                     d->class_ == NULL ? "" : ": ",
                     qx_words_levels(doc, f->protocol, &d->first),
                     qx_words_levels(doc, f->protocol, &d->second));
    cell[1] = at;
    cell[2] = qx_said(doc, qx_rounded(doc->arena, scale * d->estimate, decimals));
    cell[3] = qx_say(doc,
                     "%s to %s",
                     qx_said(doc, qx_rounded(doc->arena, scale * d->lower, decimals)),
                     qx_said(doc, qx_rounded(doc->arena, scale * d->upper, decimals)));
    cell[4] = qx_said(doc, qx_p_value(doc->arena, qx_verdict_p(d)));
    cell[5] = qx_words_verdict(d);
}

static void end_table(qx_doc *doc,
                      const qx_findings *f,
                      const qx_result *r,
                      const qx_covariate_line *c)
{
    qx_doc_table *t =
        qx_doc_table_new(doc,
                         qx_say(doc,
                                "%s: differences at low and high values of %s",
                                qx_words_heading(doc, r),
                                c->name));
    qx_table_column(t, "Difference", false);
    qx_table_column(t, "At", false);
    qx_table_column(
        t, qx_say(doc, "Estimate%s", qx_words_difference_scale(doc, r)), true);
    qx_table_column(t, qx_say(doc, "%s interval", level_text(doc, f)), true);
    qx_table_column(t, "P", true);
    qx_table_column(t, "Verdict", false);
    for (size_t i = 0; i < c->end_count; i++) {
        for (int high = 0; high < 2; high++) {
            const char **cell = qx_table_row(doc, t, false);
            if (cell == NULL) {
                return;
            }
            end_row(doc,
                    f,
                    r,
                    high ? &c->at_high[i] : &c->at_low[i],
                    value_text(doc, c, high ? c->high : c->low),
                    cell);
        }
    }
    qx_table_foot(doc,
                  t,
                  qx_say(doc,
                         "At each value, intervals and P are %s. A tenth of the data lie "
                         "below the lower value, a tenth above the higher.",
                         qx_words_adjust(c->at_low[0].adjust)));
}

void qx_doc_covariate_tables(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    for (size_t i = 0; i < r->covariate_count; i++) {
        const qx_covariate_line *c = &r->covariate[i];
        if (c->slope_count > 0) {
            slope_table(doc, f, r, c);
        }
        if (c->end_count > 0) {
            end_table(doc, f, r, c);
        }
    }
}
