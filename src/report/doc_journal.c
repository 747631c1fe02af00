/* report/doc_journal.c - tables as a horticultural journal lays them out: treatments in
 * the protocol's order, means to the place of their standard error, letters behind the
 * mean, one error with its degrees of freedom, exact P, notes at the foot. */
#include <math.h>
#include <string.h>

#include "report/doc_parts.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define SUMMARY_MOST 5 /* variates side by side */
#define DASH         "\xe2\x80\x93"

static const char *rounded(qx_doc *doc, double x, int decimals)
{
    return qx_said(doc, qx_rounded(doc->arena, x, decimals));
}

/* Decimals of a whole term: those of its smallest standard error. */
static int term_decimals(const qx_result *r, size_t first, size_t count)
{
    double least = NAN;
    for (size_t i = first; i < first + count; i++) {
        const double se = qx_result_scale(r) * r->mean[i].se;
        least = se > 0.0 && !(least <= se) ? se : least;
    }
    return qx_decimals_for(least);
}

/* Standard errors of the differences of one term: least, largest, their df. */
typedef struct sed {
    double least, most, df_least, df_most;
    size_t count;
    const char *adjust;
} sed;

static sed term_sed(const qx_result *r, const char *term)
{
    sed s = {INFINITY, 0.0, INFINITY, 0.0, 0, NULL};
    for (size_t i = 0; i < r->difference_count; i++) {
        const qx_difference *d = &r->difference[i];
        if (strcmp(d->term, term) != 0 || isnan(d->se)) {
            continue;
        }
        const double se = qx_result_scale(r) * d->se;
        const double df = d->method_small_sample == NULL ? d->df : d->df_small_sample;
        s.least = fmin(s.least, se);
        s.most = fmax(s.most, se);
        s.df_least = fmin(s.df_least, df);
        s.df_most = fmax(s.df_most, df);
        s.adjust = d->adjust;
        s.count++;
    }
    return s;
}

/* "2.3" or "2.1 to 2.6" */
static const char *sed_text(qx_doc *doc, const sed *s)
{
    const int decimals = qx_decimals_for(s->least);
    const char *low = rounded(doc, s->least, decimals);
    const char *high = rounded(doc, s->most, decimals);
    return strcmp(low, high) == 0 ? low : qx_say(doc, "%s to %s", low, high);
}

static const char *df_text(qx_doc *doc, const sed *s)
{
    const char *low = qx_said(doc, qx_df_value(doc->arena, s->df_least));
    const char *high = qx_said(doc, qx_df_value(doc->arena, s->df_most));
    return strcmp(low, high) == 0 ? low : qx_say(doc, "%s to %s", low, high);
}

static const char *level_text(qx_doc *doc, const qx_findings *f)
{
    return qx_said(doc, qx_per_cent(doc->arena, f->protocol->analysis.level));
}

static const char *
mean_text(qx_doc *doc, const qx_result *r, const qx_mean *m, int decimals)
{
    const char *number = rounded(doc, qx_result_scale(r) * m->estimate, decimals);
    return m->letters == NULL || m->letters[0] == '\0'
               ? number
               : qx_say(doc, "%s %s", number, m->letters);
}

/* ---- all variates side by side -------------------------------------------------------- */

static const qx_result *of_term(const qx_findings *f, const char *term, size_t *first)
{
    for (size_t i = 0; i < f->result_count; i++) {
        if (qx_result_means(&f->result[i], term, first) > 0) {
            return &f->result[i];
        }
    }
    return NULL;
}

static bool same_cell(const qx_cell *a, const qx_cell *b)
{
    bool same = a->count == b->count;
    for (size_t i = 0; same && i < a->count; i++) {
        same = strcmp(a->level[i], b->level[i]) == 0;
    }
    return same;
}

static const char *
summary_cell(qx_doc *doc, const qx_result *r, const char *term, const qx_cell *cell)
{
    size_t first;
    const size_t count = qx_result_means(r, term, &first);
    const char *text = "";
    for (size_t i = first; i < first + count; i++) {
        if (!same_cell(&r->mean[i].cell, cell)) {
            continue;
        }
        if (r->class_count == 0) {
            return mean_text(doc, r, &r->mean[i], term_decimals(r, first, count));
        }
        text = qx_say(doc,
                      "%s%s%s",
                      text,
                      text[0] == '\0' ? "" : " \xc2\xb7 ",
                      rounded(doc, 100.0 * r->mean[i].estimate, 0));
    }
    return text[0] == '\0' ? DASH : text;
}

static void
summary_feet(qx_doc *doc, const qx_findings *f, qx_doc_table *t, const char *term)
{
    const char **error = qx_table_row(doc, t, true);
    const char **p = qx_table_row(doc, t, true);
    if (error == NULL || p == NULL) {
        return;
    }
    error[0] = "SED (df)";
    p[0] = "P";
    for (size_t i = 0; i < f->result_count; i++) {
        const bool classes = f->result[i].class_count > 0;
        const sed s = classes ? (sed){.count = 0} : term_sed(&f->result[i], term);
        const qx_test_line *test = qx_result_test(&f->result[i], term);
        error[i + 1] = s.count == 0 ? DASH
                       : isinf(s.df_least)
                           ? sed_text(doc, &s)
                           : qx_say(doc, "%s (%s)", sed_text(doc, &s), df_text(doc, &s));
        p[i + 1] =
            test == NULL ? DASH : qx_said(doc, qx_p_value(doc->arena, qx_test_p(test)));
    }
}

static void
summary_term(qx_doc *doc, const qx_findings *f, qx_doc_table *t, const char *term)
{
    size_t first;
    const qx_result *r = of_term(f, term, &first);
    const size_t count = qx_result_means(r, term, &first);
    qx_table_group(doc, t, term);
    for (size_t i = first; i < first + count; i++) {
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = qx_words_levels(doc, f->protocol, &r->mean[i].cell);
        for (size_t k = 0; k < f->result_count; k++) {
            cell[k + 1] = summary_cell(doc, &f->result[k], term, &r->mean[i].cell);
        }
    }
    summary_feet(doc, f, t, term);
}

/* The k-th single factor that any variate has means of. */
static const char *any_factor(const qx_findings *f, size_t k)
{
    for (size_t i = 0; i < f->result_count; i++) {
        for (size_t j = 0; qx_result_term(&f->result[i], j) != NULL; j++) {
            const char *term = qx_result_term(&f->result[i], j);
            size_t first;
            if (qx_term_factors(term) == 1 && of_term(f, term, &first) == &f->result[i] &&
                k-- == 0) {
                return term;
            }
        }
    }
    return NULL;
}

static void interaction_feet(qx_doc *doc, const qx_findings *f, qx_doc_table *t)
{
    const qx_result *most = &f->result[0];
    bool any = false;
    for (size_t i = 0; i < f->result_count; i++) {
        most = f->result[i].test_count > most->test_count ? &f->result[i] : most;
    }
    for (size_t k = 0; k < most->test_count; k++) {
        const char *term = most->test[k].term;
        size_t first;
        if (most->test[k].statistic == NULL || qx_term_factors(term) < 2 ||
            qx_result_means(most, term, &first) == 0) { /* blocks, slopes */
            continue;
        }
        if (!any) {
            qx_table_group(doc, t, "Interactions (P)");
            any = true;
        }
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = term;
        for (size_t i = 0; i < f->result_count; i++) {
            const qx_test_line *test = qx_result_test(&f->result[i], term);
            cell[i + 1] = test == NULL
                              ? DASH
                              : qx_said(doc, qx_p_value(doc->arena, qx_test_p(test)));
        }
    }
}

static const char *crop_words(qx_doc *doc, const qx_findings *f)
{
    const qx_crop *crop = &f->protocol->crop;
    if (crop->species[0] == '\0') {
        return "";
    }
    return qx_say(doc,
                  " of %s%s%s%s%s%s",
                  crop->cultivar[0] == '\0' ? "" : "\xe2\x80\x98",
                  crop->cultivar,
                  crop->cultivar[0] == '\0' ? "" : "\xe2\x80\x99 ",
                  crop->species,
                  crop->rootstock[0] == '\0' ? "" : " on ",
                  crop->rootstock);
}

/* Which share is which. */
static void class_feet(qx_doc *doc, const qx_findings *f, qx_doc_table *t)
{
    for (size_t i = 0; i < f->result_count; i++) {
        const qx_result *r = &f->result[i];
        const char *names = "";
        for (size_t c = 0; c < r->class_count; c++) {
            names = qx_say(
                doc, "%s%s%s", names, c == 0 ? "" : " \xc2\xb7 ", r->class_name[c]);
        }
        if (names[0] != '\0') {
            qx_table_foot(
                doc, t, qx_say(doc, "%s: per cent %s.", qx_words_label(doc, r), names));
        }
    }
}

static bool has_letters(const qx_findings *f, const char *term)
{
    for (size_t i = 0; i < f->result_count; i++) {
        size_t first;
        const size_t count = qx_result_means(&f->result[i], term, &first);
        for (size_t k = first; k < first + count; k++) {
            if (f->result[i].mean[k].letters != NULL) {
                return true;
            }
        }
    }
    return false;
}

bool qx_doc_summary_table(qx_doc *doc, const qx_findings *f)
{
    if (f->result_count < 2 || f->result_count > SUMMARY_MOST ||
        any_factor(f, 0) == NULL) {
        return false;
    }
    qx_doc_table *t = qx_doc_table_new(
        doc, qx_say(doc, "Means of all variates%s by treatment", crop_words(doc, f)));
    qx_table_column(t, "Treatment", false);
    for (size_t i = 0; i < f->result_count; i++) {
        qx_table_column(t, qx_words_heading(doc, &f->result[i]), true);
    }
    bool letters = false;
    for (size_t k = 0; any_factor(f, k) != NULL; k++) {
        summary_term(doc, f, t, any_factor(f, k));
        letters = letters || has_letters(f, any_factor(f, k));
    }
    interaction_feet(doc, f, t);
    class_feet(doc, f, t);
    qx_table_foot(
        doc,
        t,
        qx_say(doc,
               "Means are averages with equal weights over the other factors. "
               "SED: standard error of a difference between two means.%s",
               letters
                   ? qx_say(doc,
                            " Means of a factor that share a letter have not been "
                            "shown to differ at %s confidence; this does not say that "
                            "they are alike.",
                            level_text(doc, f))
                   : ""));
    return true;
}

/* ---- means of one variate ------------------------------------------------------------- */

static void mean_row(qx_doc *doc,
                     const qx_result *r,
                     const qx_mean *m,
                     const char *name,
                     int decimals,
                     const char **cell)
{
    const double scale = qx_result_scale(r);
    size_t at = 0;
    cell[at++] = name;
    cell[at++] = qx_say(doc, "%zu", m->n);
    cell[at++] = mean_text(doc, r, m, decimals);
    cell[at++] = rounded(doc, scale * m->se, decimals);
    cell[at++] =
        qx_said(doc, qx_range(doc->arena, scale * m->lower, scale * m->upper, decimals));
    if (!isnan(m->back.estimate)) {
        cell[at++] = qx_say(
            doc,
            "%s (%s)",
            qx_said(doc, qx_short_number(doc->arena, m->back.estimate, 4)),
            qx_said(doc, qx_short_range(doc->arena, m->back.lower, m->back.upper, 4)));
    }
}

static void mean_feet(qx_doc *doc,
                      const qx_findings *f,
                      const qx_result *r,
                      const char *term,
                      qx_doc_table *t)
{
    const sed s = term_sed(r, term);
    const qx_test_line *test = qx_result_test(r, term);
    if (test != NULL && !isnan(qx_test_p(test))) {
        qx_table_foot(doc,
                      t,
                      qx_say(doc,
                             "Test of %s: P %s%s.",
                             term,
                             qx_test_p(test) < 0.001 ? "" : "= ",
                             qx_said(doc, qx_p_value(doc->arena, qx_test_p(test)))));
    }
    if (s.count > 0) {
        qx_table_foot(doc,
                      t,
                      qx_say(doc,
                             "SED, the standard error of a difference: %s%s.",
                             sed_text(doc, &s),
                             isinf(s.df_least)
                                 ? ""
                                 : qx_say(doc, ", with %s df", df_text(doc, &s))));
    }
    size_t first;
    (void)qx_result_means(r, term, &first);
    if (r->mean[first].letters != NULL) {
        qx_table_foot(
            doc,
            t,
            qx_say(doc,
                   "Means that share a letter have not been shown to differ "
                   "(%s, %s confidence); this does not say that they are alike.",
                   qx_words_adjust(s.adjust),
                   level_text(doc, f)));
    }
}

static bool some_unknown(const qx_result *r, size_t first, size_t count)
{
    bool unknown = false;
    for (size_t i = first; i < first + count; i++) {
        unknown = unknown || isnan(r->mean[i].estimate) || isnan(r->mean[i].se);
    }
    return unknown;
}

static void
mean_table(qx_doc *doc, const qx_findings *f, const qx_result *r, const char *term)
{
    size_t first;
    const size_t count = qx_result_means(r, term, &first);
    const int decimals = term_decimals(r, first, count);
    const qx_cell *head = &r->mean[first].cell;
    const char *names = head->factor[0];
    for (size_t i = 1; i < head->count; i++) {
        names = qx_say(doc, "%s, %s", names, head->factor[i]);
    }
    qx_doc_table *t = qx_doc_table_new(doc,
                                       qx_say(doc,
                                              "%s: means by %s%s",
                                              qx_words_heading(doc, r),
                                              names,
                                              qx_term_part(term)));
    qx_table_column(t, names, false);
    qx_table_column(t, "n", true);
    qx_table_column(
        t,
        qx_result_transformed(r) ? qx_say(doc, "Mean%s", qx_words_scale(doc, r)) : "Mean",
        true);
    qx_table_column(t, "SE", true);
    qx_table_column(t, qx_say(doc, "%s interval", level_text(doc, f)), true);
    if (qx_result_transformed(r)) {
        qx_table_column(
            t, qx_say(doc, "Back to measured%s", qx_words_unit(doc, r->unit)), true);
    }
    for (size_t i = first; i < first + count; i++) {
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        mean_row(doc,
                 r,
                 &r->mean[i],
                 qx_words_levels(doc, f->protocol, &r->mean[i].cell),
                 decimals,
                 cell);
    }
    qx_table_foot(doc, t, "n counts observations, not replicates.");
    if (some_unknown(r, first, count)) {
        qx_table_foot(doc, t, "A dash: these data cannot tell.");
    }
    if (r->mean[first].averaged) {
        qx_table_foot(doc,
                      t,
                      "Means are what is seen on average over many units; a single "
                      "typical unit differs a little from it.");
    }
    mean_feet(doc, f, r, term, t);
}

void qx_doc_mean_tables(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    for (size_t k = 0; qx_result_term(r, k) != NULL; k++) {
        const char *term = qx_result_term(r, k);
        if (!qx_result_matters(f, r, term) || !qx_result_known(r, term)) {
            continue;
        }
        if (r->class_count > 0) {
            qx_doc_class_table(doc, f, r, term);
        } else {
            mean_table(doc, f, r, term);
        }
    }
}
