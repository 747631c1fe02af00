/* report/doc_tables.c - the tables behind the means: differences with verdicts, contrasts and
 * trends, tests (by stratum where the layout is balanced), where the variation lies. */
#include <math.h>
#include <string.h>

#include "findings/verdict.h"
#include "report/doc_parts.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define PAIRS_MOST 60
#define DASH       "\xe2\x80\x93"

static const char *rounded(qx_doc *doc, double x, int decimals)
{
    return qx_said(doc, qx_rounded(doc->arena, x, decimals));
}

static const char *level_text(qx_doc *doc, const qx_findings *f)
{
    return qx_said(doc, qx_per_cent(doc->arena, f->protocol->analysis.level));
}

/* ---- differences ---------------------------------------------------------------------- */

static void difference_row(qx_doc *doc,
                           const qx_findings *f,
                           const qx_result *r,
                           const qx_difference *d,
                           bool with_ratio,
                           const char **cell)
{
    const double scale = qx_result_scale(r);
    const int decimals = qx_decimals_for(scale * d->se);
    const char *pair = qx_say(doc,
                              "%s \xe2\x88\x92 %s",
                              qx_words_levels(doc, f->protocol, &d->first),
                              qx_words_levels(doc, f->protocol, &d->second));
    cell[0] =
        d->within.count == 0
            ? pair
            : qx_say(doc, "%s: %s", qx_words_levels(doc, f->protocol, &d->within), pair);
    if (d->class_ != NULL) {
        cell[0] = qx_say(doc, "%s: %s", d->class_, cell[0]);
    }
    cell[1] = rounded(doc, scale * d->estimate, decimals);
    cell[2] = rounded(doc, scale * d->se, decimals);
    cell[3] =
        qx_said(doc,
                qx_df_value(doc->arena,
                            d->method_small_sample == NULL ? d->df : d->df_small_sample));
    cell[4] =
        qx_said(doc, qx_range(doc->arena, scale * d->lower, scale * d->upper, decimals));
    cell[5] = qx_said(doc, qx_p_value(doc->arena, qx_verdict_p(d)));
    cell[6] = qx_words_verdict(d);
    if (with_ratio) {
        const qx_back *q = &d->ratio;
        cell[7] = !(q->estimate > 0.0)
                      ? DASH
                      : qx_say(doc,
                               "%s (%s to %s)",
                               qx_said(doc, qx_short_number(doc->arena, q->estimate, 3)),
                               qx_said(doc, qx_short_number(doc->arena, q->lower, 3)),
                               qx_said(doc, qx_short_number(doc->arena, q->upper, 3)));
    }
}

/* " (points)", " (cm)", or "" */
static const char *in_brackets(qx_doc *doc, const char *unit)
{
    while (*unit == ' ') {
        unit++;
    }
    return unit[0] == '\0'  ? ""
           : unit[0] == '(' ? qx_say(doc, " %s", unit)
                            : qx_say(doc, " (%s)", unit);
}

static bool any_known(const qx_difference list[], size_t count)
{
    bool known = false;
    for (size_t i = 0; i < count; i++) {
        known = known || list[i].verdict != QX_CANNOT_TELL;
    }
    return known;
}

/* Where the protocol asks (`compare_as: ratio`), and of logarithms. */
static bool has_ratios(const qx_difference list[], size_t count)
{
    bool some = false;
    for (size_t i = 0; i < count; i++) {
        some = some || list[i].ratio.estimate > 0.0;
    }
    return some;
}

static void difference_table(qx_doc *doc,
                             const qx_findings *f,
                             const qx_result *r,
                             const qx_difference list[],
                             size_t count,
                             const char *caption)
{
    qx_doc_table *t = qx_doc_table_new(doc, caption);
    qx_table_column(t, "Difference", false);
    qx_table_column(
        t,
        qx_say(doc, "Estimate%s", in_brackets(doc, qx_words_difference_scale(doc, r))),
        true);
    qx_table_column(t, "SE", true);
    qx_table_column(t, "df", true);
    qx_table_column(t, qx_say(doc, "%s interval", level_text(doc, f)), true);
    qx_table_column(t, "P", true);
    qx_table_column(t, "Verdict", false);
    const bool ratios = has_ratios(list, count);
    if (ratios) {
        qx_table_column(t, qx_say(doc, "Ratio (%s interval)", level_text(doc, f)), true);
    }
    for (size_t i = 0; i < count; i++) {
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        difference_row(doc, f, r, &list[i], ratios, cell);
    }
    if (any_known(list, count)) {
        qx_table_foot(
            doc,
            t,
            qx_say(doc,
                   "Intervals and P are %s%s.",
                   qx_words_adjust(list[0].adjust),
                   list[0].tests > 1.0 ? ", and for the classes (Bonferroni)" : ""));
    }
    if (isnan(list[0].margin)) {
        qx_table_foot(doc,
                      t,
                      "The protocol gives no margin, so whether a difference is large "
                      "enough to matter is not judged.");
    } else {
        qx_table_foot(
            doc,
            t,
            qx_say(
                doc,
                "The least difference that would matter (margin): %s%s.",
                qx_said(doc,
                        qx_plain_number(doc->arena, qx_result_scale(r) * list[0].margin)),
                qx_words_difference_scale(doc, r)));
    }
}

static bool interacts(const qx_findings *f, const qx_result *r, const char *factor)
{
    return qx_result_interaction(r, factor, 1.0 - f->protocol->analysis.level) != NULL;
}

/* Nothing but dashes is no table. */
static bool any_estimate(const qx_difference list[], size_t count)
{
    bool any = false;
    for (size_t i = 0; i < count; i++) {
        any = any || !isnan(list[i].estimate);
    }
    return any;
}

static void each_family(qx_doc *doc,
                        const qx_findings *f,
                        const qx_result *r,
                        const qx_difference list[],
                        size_t all,
                        const char *what)
{
    for (size_t i = 0, end; i < all; i = end) {
        end = i + 1;
        while (end < all && strcmp(list[end].term, list[i].term) == 0) {
            end++;
        }
        if (!qx_result_matters(f, r, list[i].term) || !any_estimate(&list[i], end - i) ||
            (list[i].within.count > 0 && !interacts(f, r, list[i].term))) {
            continue;
        }
        const char *caption =
            qx_say(doc, "%s: %s %s", qx_words_heading(doc, r), what, list[i].term);
        if (end - i > PAIRS_MOST) {
            qx_doc_add(
                doc,
                QX_NODE_PARAGRAPH,
                qx_say(doc,
                       "%s: %zu pairs, too many to print; the letters of the means "
                       "sum them up, and the machine-readable findings hold each.",
                       caption,
                       end - i));
            continue;
        }
        difference_table(doc, f, r, &list[i], end - i, caption);
    }
}

void qx_doc_difference_tables(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    each_family(doc, f, r, r->difference, r->difference_count, "differences by");
    each_family(doc,
                f,
                r,
                r->simple,
                r->simple_count,
                "differences inside the levels of the other factors, by");
}

/* ---- contrasts, tests, components ----------------------------------------------------- */

void qx_doc_contrast_table(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    if (r->contrast_count == 0) {
        return;
    }
    qx_doc_table *t = qx_doc_table_new(
        doc, qx_say(doc, "%s: contrasts and trends", qx_words_label(doc, r)));
    qx_table_column(t, "Contrast", false);
    qx_table_column(t, "of", false);
    qx_table_column(t, qx_say(doc, "Estimate%s", qx_words_model_scale(doc, r)), true);
    qx_table_column(t, "SE", true);
    qx_table_column(t, "df", true);
    qx_table_column(t, qx_say(doc, "%s interval", level_text(doc, f)), true);
    qx_table_column(t, "P", true);
    for (size_t i = 0; i < r->contrast_count; i++) {
        const qx_contrast_line *c = &r->contrast[i];
        const int decimals = qx_decimals_for(c->se);
        const double half = qx_contrast_half(c);
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = c->name;
        cell[1] = c->of;
        cell[2] = rounded(doc, c->estimate, decimals);
        cell[3] = rounded(doc, c->se, decimals);
        cell[4] = qx_said(doc, qx_df_value(doc->arena, qx_contrast_df(c)));
        cell[5] = qx_said(
            doc, qx_range(doc->arena, c->estimate - half, c->estimate + half, decimals));
        cell[6] = qx_said(doc, qx_p_value(doc->arena, qx_contrast_p(c)));
    }
    qx_table_foot(doc,
                  t,
                  "Trends use orthogonal coefficients of unit length over the true level "
                  "values; contrasts were planned and are not adjusted.");
}

static void
test_row(qx_doc *doc, const qx_test_line *line, const char **cell, bool squares)
{
    const bool left = line->statistic == NULL;
    size_t at = 0;
    cell[at++] = left ? "Left over" : line->term;
    cell[at++] = qx_said(doc, qx_df_value(doc->arena, line->num_df));
    if (squares) {
        cell[at++] = qx_said(doc, qx_short_number(doc->arena, line->sum_of_squares, 5));
        cell[at++] = qx_said(doc, qx_short_number(doc->arena, line->mean_square, 5));
    }
    cell[at++] = left ? "" : qx_said(doc, qx_df_value(doc->arena, line->den_df));
    cell[at++] = left ? "" : qx_said(doc, qx_rounded(doc->arena, line->value, 2));
    cell[at++] = left ? "" : qx_said(doc, qx_p_value(doc->arena, line->p));
}

static bool in_stratum(const qx_test_line *line, const char *unit)
{
    return line->unit != NULL && strcmp(line->unit, unit) == 0;
}

static void stratum(qx_doc *doc, const qx_result *r, qx_doc_table *t, const char *unit)
{
    qx_table_group(doc, t, qx_say(doc, "Between %s", qx_words_path(doc, unit)));
    for (int pass = 0; pass < 2; pass++) { /* tests, then what is left */
        for (size_t i = 0; i < r->test_count; i++) {
            const qx_test_line *line = &r->test[i];
            if (!in_stratum(line, unit) || (line->statistic == NULL) != (pass == 1)) {
                continue;
            }
            const char **cell = qx_table_row(doc, t, false);
            if (cell != NULL) {
                test_row(doc, line, cell, true);
            }
        }
    }
}

void qx_doc_test_table(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    size_t left = 0, squares = 0, placed = 0;
    if (qx_result_counted(r) || r->class_count > 0) {
        qx_doc_ratio_table(doc, f, r);
        return;
    }
    for (size_t i = 0; i < r->test_count; i++) {
        const qx_test_line *line = &r->test[i];
        left += line->statistic == NULL ? 1 : 0;
        squares += isnan(line->sum_of_squares) ? 0 : 1;
        placed += line->unit != NULL ? 1 : 0;
    }
    if (r->test_count == left) {
        return;
    }
    const bool strata = left > 0 && placed == r->test_count;
    qx_doc_table *t = qx_doc_table_new(
        doc,
        qx_say(doc,
               "%s: %s",
               qx_words_heading(doc, r),
               left > 0 ? "analysis of variance" : "tests of the treatments"));
    qx_table_column(t, "Source", false);
    qx_table_column(t, "df", true);
    if (squares > 0) {
        qx_table_column(t, "Sum of squares", true);
        qx_table_column(t, "Mean square", true);
    }
    qx_table_column(t, "Error df", true);
    qx_table_column(t, "F", true);
    qx_table_column(t, "P", true);
    for (size_t i = 0; i < r->test_count; i++) {
        if (strata) {
            if (r->test[i].statistic == NULL) {
                stratum(doc, r, t, r->test[i].unit);
            }
            continue;
        }
        const char **cell = qx_table_row(doc, t, false);
        if (cell != NULL) {
            test_row(doc, &r->test[i], cell, squares > 0);
        }
    }
}

static bool is_residual(const qx_variance_line *v)
{
    return strncmp(v->term, "residual", 8) == 0 &&
           (v->term[8] == '\0' || v->term[8] == ' ');
}

/* "what is left (residual)", with the season where each has its own. */
static const char *variance_words(qx_doc *doc, const qx_variance_line *v)
{
    if (v->field) {
        return "better and worse parts of the field";
    }
    if (!is_residual(v)) {
        return qx_words_path(doc, v->term);
    }
    return v->term[8] == '\0' ? "what is left (residual)"
                              : qx_say(doc, "what is left (residual), %s", v->term + 9);
}

void qx_doc_variance_table(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    double total = 0.0;
    size_t residuals = 0;
    for (size_t i = 0; i < r->variance_count; i++) {
        total += r->variance[i].variance;
        residuals += is_residual(&r->variance[i]) ? 1 : 0;
    }
    if (residuals > 1) {
        total = NAN; /* no season has them all: shares of what? */
    }
    if (r->variance_count == 0) {
        return;
    }
    qx_doc_table *t = qx_doc_table_new(
        doc, qx_say(doc, "%s: where the variation lies", qx_words_heading(doc, r)));
    qx_table_column(t, "Between", false);
    qx_table_column(
        t, qx_say(doc, "SD%s", in_brackets(doc, qx_words_model_scale(doc, r))), true);
    qx_table_column(t, "Variance", true);
    qx_table_column(
        t, qx_say(doc, "%s interval of the variance", level_text(doc, f)), true);
    qx_table_column(t, "Share", true);
    for (size_t i = 0; i < r->variance_count; i++) {
        const qx_variance_line *v = &r->variance[i];
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        cell[0] = variance_words(doc, v);
        cell[1] = qx_said(doc, qx_short_number(doc->arena, v->sd, 3));
        cell[2] = qx_said(doc, qx_short_number(doc->arena, v->variance, 3));
        cell[3] = qx_said(doc, qx_short_range(doc->arena, v->lower, v->upper, 3));
        const double share =
            total > 0.0 ? round(100.0 * v->variance / total) / 100.0 : (double)NAN;
        cell[4] = isnan(share) ? DASH : qx_said(doc, qx_per_cent(doc->arena, share));
    }
}
