/* report/doc_responses.c - what only counts, shares, grades and classes have: shares of
 * classes side by side, likelihood ratios, how much units differ beyond chance. */
#include <math.h>
#include <string.h>

#include "report/doc_parts.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define DASH "\xe2\x80\x93"

static const char *rounded(qx_doc *doc, double x, int decimals)
{
    return qx_said(doc, qx_rounded(doc->arena, x, decimals));
}

/* "45 (32 to 59)" */
static const char *share_text(qx_doc *doc, const qx_mean *m)
{
    if (isnan(m->estimate)) {
        return DASH;
    }
    return qx_say(
        doc,
        "%s (%s)",
        rounded(doc, 100.0 * m->estimate, 0),
        qx_said(doc, qx_range(doc->arena, 100.0 * m->lower, 100.0 * m->upper, 0)));
}

void qx_doc_class_table(qx_doc *doc,
                        const qx_findings *f,
                        const qx_result *r,
                        const char *term)
{
    size_t first;
    const size_t count = qx_result_means(r, term, &first);
    const qx_cell *head = &r->mean[first].cell;
    const char *names = head->factor[0];
    const bool letters =
        r->mean[first].letters != NULL && r->definition->kind == QX_ORDINAL;
    for (size_t i = 1; i < head->count; i++) {
        names = qx_say(doc, "%s, %s", names, head->factor[i]);
    }
    qx_doc_table *t = qx_doc_table_new(
        doc, qx_say(doc, "%s: shares by %s", qx_words_heading(doc, r), names));
    qx_table_column(t, names, false);
    qx_table_column(t, "n", true);
    for (size_t c = 0; c < r->class_count && c + 3 < QX_COLUMNS_MOST; c++) {
        qx_table_column(t, r->class_name[c], true);
    }
    for (size_t i = first; i < first + count; i += r->class_count) {
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        const qx_mean *m = &r->mean[i];
        const char *levels = qx_words_levels(doc, f->protocol, &m->cell);
        cell[0] = letters ? qx_say(doc, "%s (%s)", levels, m->letters) : levels;
        cell[1] = qx_say(doc, "%zu", m->n);
        for (size_t c = 0; c < r->class_count && c + 3 < QX_COLUMNS_MOST; c++) {
            cell[c + 2] = share_text(doc, &r->mean[i + c]);
        }
    }
    qx_table_foot(
        doc,
        t,
        qx_say(doc,
               "Per cent of each class with its %s interval. n counts observations, not "
               "replicates.",
               qx_said(doc, qx_per_cent(doc->arena, f->protocol->analysis.level))));
    if (letters) {
        qx_table_foot(doc,
                      t,
                      "Levels that share a letter have not been shown to be graded "
                      "differently; this does not say that they are alike.");
    }
    if (r->mean[first].averaged) {
        qx_table_foot(doc, t, "Shares are what is seen on average over many units.");
    }
}

void qx_doc_ratio_table(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    (void)f;
    if (r->test_count == 0) {
        return;
    }
    const bool small = r->test[0].method_small_sample != NULL;
    const bool scaled = strcmp(r->test[0].statistic, "F") == 0;
    qx_doc_table *t = qx_doc_table_new(
        doc, qx_say(doc, "%s: tests of the treatments", qx_words_heading(doc, r)));
    qx_table_column(t, "Source", false);
    qx_table_column(t, "df", true);
    qx_table_column(t, scaled ? "F" : "Likelihood ratio", true);
    qx_table_column(t, small ? "P, many units" : "P", true);
    if (small) {
        qx_table_column(t, "P", true);
    }
    for (size_t i = 0; i < r->test_count; i++) {
        const qx_test_line *line = &r->test[i];
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = line->term;
        cell[1] = scaled ? qx_say(doc,
                                  "%s, %s",
                                  qx_said(doc, qx_df_value(doc->arena, line->num_df)),
                                  qx_said(doc, qx_df_value(doc->arena, line->den_df)))
                         : qx_said(doc, qx_df_value(doc->arena, line->num_df));
        cell[2] = rounded(doc, line->value, 2);
        cell[3] = qx_said(doc, qx_p_value(doc->arena, line->p));
        if (small) {
            cell[4] = qx_said(doc, qx_p_value(doc->arena, qx_test_p(line)));
        }
    }
    if (small) {
        qx_table_foot(doc,
                      t,
                      qx_say(doc,
                             "The last column allows for how few units there are (%s); "
                             "the sentences go by it.",
                             r->test[0].method_small_sample));
    }
}

/* Classes have their units once for each class: "lateral:block:tree". */
static const char *unit_words(qx_doc *doc, const qx_result *r, const char *term)
{
    for (size_t c = 0; c < r->class_count; c++) {
        const size_t length = strlen(r->class_name[c]);
        if (strncmp(term, r->class_name[c], length) == 0 && term[length] == ':') {
            return qx_words_path(doc, term + length + 1);
        }
    }
    return qx_words_path(doc, term);
}

/* What a standard deviation on the scale of the model means: ": about two thirds of them lie
 * within a factor of 1.3 of the middle". */
static const char *spread_words(qx_doc *doc, const qx_result *r, double sd)
{
    if (r->class_count == 0 && strcmp(r->link, "log") == 0) {
        return qx_say(
            doc,
            ": about two thirds of them lie within a factor of %s of the middle",
            qx_said(doc, qx_short_number(doc->arena, exp(sd), 2)));
    }
    if (r->class_count == 0 && strcmp(r->link, "logit") == 0) {
        const double high = 100.0 / (1.0 + exp(-sd));
        return qx_say(doc,
                      ": where the middle is 50\xc2\xa0%%, about two thirds of them lie "
                      "between %s and %s\xc2\xa0%%",
                      rounded(doc, 100.0 - high, 0),
                      rounded(doc, high, 0));
    }
    return "";
}

const char *qx_doc_unit_words(qx_doc *doc, const qx_result *r)
{
    const qx_variance_line *largest = NULL;
    for (size_t i = 0; i < r->variance_count; i++) {
        const qx_variance_line *v = &r->variance[i];
        largest = largest == NULL || v->variance > largest->variance ? v : largest;
    }
    if (largest == NULL) {
        return "";
    }
    if (!(largest->variance > 0.0)) {
        return "Beyond chance, no variation between units was seen.";
    }
    return qx_say(doc,
                  "Beyond chance, most of the variation lies between %s%s.",
                  unit_words(doc, r, largest->term),
                  spread_words(doc, r, largest->sd));
}
