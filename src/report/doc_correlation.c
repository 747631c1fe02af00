/* report/doc_correlation.c - how alike neighbours in time or in the field are, and how the
 * field trend was chosen. */
#include <math.h>

#include "report/doc_parts.h"
#include "report/rounding.h"
#include "report/words.h"

static const char *number(qx_doc *doc, double x, int decimals)
{
    return isnan(x) ? "" : qx_said(doc, qx_rounded(doc->arena, x, decimals));
}

static void correlations(qx_doc *doc, const qx_result *r)
{
    qx_doc_table *t = qx_doc_table_new(
        doc, qx_say(doc, "%s: how alike neighbours are", qx_words_heading(doc, r)));
    qx_table_column(t, "Neighbours by", false);
    qx_table_column(t, "Correlation", true);
    qx_table_column(t, "Interval", true);
    qx_table_column(t, "P", true);
    for (size_t i = 0; i < r->correlation_count; i++) {
        const qx_correlation_line *c = &r->correlation[i];
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = c->name;
        cell[1] = number(doc, c->estimate, 2);
        cell[2] = isnan(c->lower) && isnan(c->upper)
                      ? ""
                      : qx_said(doc, qx_range(doc->arena, c->lower, c->upper, 2));
        cell[3] = isnan(c->p) ? "" : qx_said(doc, qx_p_value(doc->arena, c->p));
    }
    qx_table_foot(doc,
                  t,
                  "Correlation of two that are one step apart, beside what their units "
                  "have in common; P against none, for dates alone.");
}

static void field(qx_doc *doc, const qx_result *r)
{
    qx_doc_table *t = qx_doc_table_new(
        doc, qx_say(doc, "%s: trend in the field", qx_words_heading(doc, r)));
    qx_table_column(t, "Trend", false);
    qx_table_column(t, "-2 log restricted likelihood", true);
    qx_table_column(t, "Variances and correlations", true);
    qx_table_column(t, "Taken", false);
    for (size_t i = 0; i < r->field_count; i++) {
        const qx_field_line *line = &r->field[i];
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = line->trend;
        cell[1] = number(doc, line->reml_criterion, 2);
        cell[2] = qx_say(doc, "%zu", line->parameters);
        cell[3] = line->chosen ? "yes" : "";
    }
    qx_table_foot(
        doc,
        t,
        "Smaller fits better; each variance or correlation must lower it by 2 to "
        "be worth its place.");
}

void qx_doc_correlation_table(qx_doc *doc, const qx_result *r)
{
    if (r->correlation_count > 0) {
        correlations(doc, r);
    }
    if (r->field_count > 1) {
        field(doc, r);
    }
}
