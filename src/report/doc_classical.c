/* report/doc_classical.c - the classical analysis of variance with expected mean squares, and
 * what the blocking was worth, told as replicates. */
#include <math.h>
#include <string.h>

#include "report/doc_parts.h"
#include "report/rounding.h"
#include "report/words.h"

/* Closer to 1 than this, a unit was worth nothing either way. */
#define WORTH_TELLING 0.05

static const char *number(qx_doc *doc, double x, int digits)
{
    return qx_said(doc, qx_short_number(doc->arena, x, digits));
}

static void line_row(qx_doc *doc, const qx_classical_line *line, const char **cell)
{
    const bool left = strcmp(line->source, "residual") == 0;
    cell[0] = left ? "Left over" : line->source;
    cell[1] = qx_said(doc, qx_df_value(doc->arena, line->df));
    cell[2] = number(doc, line->sum_of_squares, 5);
    cell[3] = number(doc, line->mean_square, 5);
    cell[4] = line->expected;
    cell[5] = left ? "" : qx_said(doc, qx_rounded(doc->arena, line->f, 2));
    cell[6] = left ? "" : qx_said(doc, qx_p_value(doc->arena, line->p));
}

static void table(qx_doc *doc, const qx_result *r, const qx_classical *c)
{
    qx_doc_table *t = qx_doc_table_new(
        doc, qx_say(doc, "%s: classical analysis of variance", qx_words_heading(doc, r)));
    qx_table_column(t, "Source", false);
    qx_table_column(t, "df", true);
    qx_table_column(t, "Sum of squares", true);
    qx_table_column(t, "Mean square", true);
    qx_table_column(t, "Expected mean square", false);
    qx_table_column(t, "F", true);
    qx_table_column(t, "P", true);
    for (size_t i = 0; i < c->line_count; i++) {
        const qx_classical_line *line = &c->line[i];
        if (i == 0 || strcmp(line->unit, c->line[i - 1].unit) != 0) {
            qx_table_group(
                doc, t, qx_say(doc, "Between %s", qx_words_path(doc, line->unit)));
        }
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        line_row(doc, line, cell);
    }
    qx_table_foot(doc,
                  t,
                  "F is the mean square over what is left in its own part of the table. "
                  "Units in the expected mean squares stand for their variances.");
    const char *list = "";
    for (size_t i = 0; i < c->component_count; i++) {
        if (!isnan(c->component[i].variance)) {
            list = qx_say(doc,
                          "%s%s%s %s",
                          list,
                          list[0] == '\0' ? "" : ", ",
                          c->component[i].term,
                          number(doc, c->component[i].variance, 3));
        }
    }
    qx_table_foot(
        doc,
        t,
        qx_say(doc,
               "Variances solved from the mean squares, free to be negative: %s.",
               list));
}

/* "block, tree" -> "blocks and trees": the last unit of each path. */
static const char *plain_units(qx_doc *doc, const char *paths)
{
    const char *text = "";
    for (const char *p = paths; *p != '\0';) {
        const size_t length = strcspn(p, ",");
        const char *path = qx_say(doc, "%.*s", (int)length, p);
        const char *own = strrchr(path, ':');
        p += length;
        p += strspn(p, ", ");
        text = qx_say(doc,
                      "%s%s%s",
                      text,
                      text[0] == '\0' ? ""
                      : *p == '\0'    ? " and "
                                      : ", ",
                      qx_words_plural(doc, own == NULL ? path : own + 1));
    }
    return text;
}

static const char *efficiency(qx_doc *doc, const qx_efficiency_line *e)
{
    const char *units = qx_words_plural(doc, e->unit);
    const char *without = plain_units(doc, e->without);
    const char *times =
        qx_words_times(doc, "many", (qx_back){e->corrected, NAN, NAN}, "");
    if (e->split && !(e->corrected < 1.0 + WORTH_TELLING)) {
        return qx_say(
            doc,
            "What was put on whole %s is compared no less sharply than it would "
            "be on single %s.",
            units,
            without);
    }
    if (e->split) {
        return qx_say(
            doc,
            "What was put on whole %s is compared less sharply than it would be "
            "on single %s: there, %s replicates would have done.",
            units,
            without,
            times);
    }
    if (e->corrected < 1.0 - WORTH_TELLING) {
        return qx_say(doc,
                      "Grouping %s into %s did not pay here: without it %s would have "
                      "done.",
                      units,
                      without,
                      times);
    }
    if (e->corrected < 1.0 + WORTH_TELLING) {
        return qx_say(
            doc,
            "Grouping %s into %s made next to no difference: without it %s would "
            "have done.",
            units,
            without,
            times);
    }
    return qx_say(doc,
                  "Without %s it would have taken %s %s to compare as sharply.",
                  without,
                  times,
                  units);
}

void qx_doc_classical(qx_doc *doc, const qx_result *r)
{
    const qx_classical *c = r->classical;
    if (c == NULL) {
        return;
    }
    if (c->why != NULL) {
        qx_doc_add(doc, QX_NODE_PARAGRAPH, c->why);
        return;
    }
    table(doc, r, c);
}

void qx_doc_efficiency(qx_doc *doc, const qx_result *r)
{
    const qx_classical *c = r->classical;
    for (size_t i = 0; c != NULL && i < c->efficiency_count; i++) {
        qx_doc_add(doc, QX_NODE_PARAGRAPH, efficiency(doc, &c->efficiency[i]));
    }
}
