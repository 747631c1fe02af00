/* report/doc_answer.c - the answer: findings as sentences, by variate and treatment,
 * strongest first. Where an interaction matters, the effects inside the levels of the
 * other treatment lead, and a warning stands at the averages. */
#include <math.h>
#include <string.h>

#include "numeric/dist.h"
#include "report/doc_pairs.h"
#include "report/doc_parts.h"
#include "report/pairs.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define FACTORS_MOST (QX_NAMES_MOST + 1) /* treatments and the season */

/* "pinch and season": the term's factors but for one (NULL: all). */
static const char *spelled(qx_doc *doc, const char *term, const char *without)
{
    const char *text = "";
    while (term[0] != '\0') {
        const size_t length = strcspn(term, ":");
        const char *factor = qx_say(doc, "%.*s", (int)length, term);
        if (without == NULL || strcmp(factor, without) != 0) {
            text = qx_say(doc, "%s%s%s", text, text[0] == '\0' ? "" : " and ", factor);
        }
        term += length + (term[length] == ':' ? 1 : 0);
    }
    return text;
}

static const char *joint_p(qx_doc *doc, const qx_test_line *joint)
{
    const double p = qx_test_p(joint);
    return qx_say(
        doc, "P %s%s", p < 0.001 ? "" : "= ", qx_said(doc, qx_p_value(doc->arena, p)));
}

static void warn_average(qx_doc *doc, const char *factor, const qx_test_line *joint)
{
    const char *others = spelled(doc, joint->term, factor);
    qx_doc_add(doc,
               QX_NODE_NOTE,
               qx_say(doc,
                      "What %s does depends on %s (%s): go by what happens inside each "
                      "level of %s. The averages that follow mix different effects.",
                      factor,
                      others,
                      joint_p(doc, joint),
                      others));
}

/* Does a part of the factorial stand for this factor, because of an added control? */
static bool has_part(qx_doc *doc, const qx_result *r, const char *factor)
{
    size_t first;
    return qx_result_means(r, qx_say(doc, "%s%s", factor, QX_PART_SUFFIX), &first) > 0;
}

static void inside_levels(qx_doc *doc,
                          const qx_findings *f,
                          const qx_result *r,
                          const char *factor,
                          const qx_test_line *joint,
                          const qx_difference *list[],
                          size_t count)
{
    qx_doc_add(
        doc,
        QX_NODE_PARAGRAPH,
        qx_say(doc,
               "What %s does depends on %s (%s), so each level is looked at on its "
               "own.",
               factor,
               spelled(doc, joint->term, factor),
               joint_p(doc, joint)));
    (void)qx_doc_dose(doc, f, r, factor, true);
    qx_doc_pairs(doc, f, r, list, count);
}

/* The averages over the other treatments. */
static void averages(qx_doc *doc,
                     const qx_findings *f,
                     const qx_result *r,
                     const char *factor,
                     const qx_difference *list[],
                     size_t count)
{
    /* The curve says more than the sign of a trend; the contrasts stand in their table. */
    if (!qx_doc_dose(doc, f, r, factor, false) && qx_doc_trends(doc, f, r, factor) == 0 &&
        qx_factor_numeric(f->protocol, factor)) {
        qx_doc_add(doc,
                   QX_NODE_NOTE,
                   qx_say(doc,
                          "The levels of %s are amounts: a trend over them (contrasts in "
                          "the protocol) says more than comparing pair by pair.",
                          factor));
    }
    qx_doc_planned(doc, f, r, factor);
    qx_doc_pairs(doc, f, r, list, count);
}

/* Takes averages that are alike out of a list where levels are looked at one by one: they may
 * be the mean of opposite effects. Gives how many are left. */
static size_t without_alike(const qx_result *r, const qx_difference *list[], size_t count)
{
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        if (qx_pair_verdict(r, list[i]) != QX_EQUIVALENT) {
            list[kept++] = list[i];
        }
    }
    return kept;
}

static void
one_factor(qx_doc *doc, const qx_findings *f, const qx_result *r, const char *factor)
{
    size_t main_count, simple_count;
    const qx_difference **main_list = qx_pairs_strongest(
        doc, r, r->difference, r->difference_count, factor, &main_count);
    const qx_difference **simple_list =
        qx_pairs_strongest(doc, r, r->simple, r->simple_count, factor, &simple_count);
    const qx_test_line *joint =
        qx_result_interaction(r, factor, 1.0 - f->protocol->analysis.level);
    if (main_list == NULL || simple_list == NULL || qx_doc_against(doc, f, r, factor)) {
        return;
    }
    if (has_part(doc, r, factor)) { /* the part says what can be told of the averages */
        main_count = qx_pairs_known(r, main_list, main_count);
        simple_count = qx_pairs_known(r, simple_list, simple_count);
    }
    const bool lost = qx_pairs_known(r, main_list, main_count) == 0 && joint == NULL;
    const bool inside = simple_count > 0 && (joint != NULL || lost);
    if (main_count == 0 && !inside) {
        return;
    }
    qx_doc_heading(doc, 4, NULL, qx_say(doc, "Effect of %s", factor));
    qx_doc_covariate_slopes(doc, f, r, factor);
    if (inside && joint != NULL) {
        inside_levels(doc, f, r, factor, joint, simple_list, simple_count);
    } else if (inside) { /* no average, but what was tried can be compared */
        qx_doc_pairs(
            doc, f, r, simple_list, qx_pairs_known(r, simple_list, simple_count));
    }
    const size_t all = main_count;
    if (inside && joint != NULL) {
        main_count = without_alike(r, main_list, main_count);
    }
    if (joint != NULL && main_count > 0) {
        warn_average(doc, factor, joint);
    }
    if (main_count > 0) {
        averages(doc, f, r, factor, main_list, main_count);
    }
    if (main_count < all) {
        qx_doc_add(doc,
                   QX_NODE_PARAGRAPH,
                   qx_say(doc,
                          "Averages of %s that came out alike are not told here: they "
                          "may be the mean of opposite effects.",
                          factor));
    }
}

double qx_contrast_half(const qx_contrast_line *c)
{
    return (c->upper - c->lower) / 2.0;
}

static const qx_contrast_def *definition(const qx_findings *f, const char *name)
{
    for (size_t i = 0; i < f->protocol->contrast_count; i++) {
        if (strcmp(f->protocol->contrast[i].name, name) == 0) {
            return &f->protocol->contrast[i];
        }
    }
    return NULL;
}

static const char *trend_sentence(qx_doc *doc,
                                  const qx_findings *f,
                                  const qx_result *r,
                                  const qx_contrast_line *c,
                                  qx_trend trend)
{
    const bool shown = qx_contrast_p(c) < 1.0 - f->protocol->analysis.level;
    const char *label = qx_words_label(doc, r);
    const char *p = qx_say(doc,
                           "P %s%s",
                           qx_contrast_p(c) < 0.001 ? "" : "= ",
                           qx_said(doc, qx_p_value(doc->arena, qx_contrast_p(c))));
    if (isnan(c->estimate)) {
        return qx_say(doc, "The trend %s could not be estimated.", c->name);
    }
    if (trend == QX_TREND_LINEAR) {
        return shown ? qx_say(doc,
                              "%s %s with rising %s (linear trend, %s).",
                              label,
                              c->estimate > 0.0 ? "rises" : "falls",
                              c->of,
                              p)
                     : qx_say(doc,
                              "Whether %s rises or falls with %s is not settled (linear "
                              "trend, %s).",
                              label,
                              c->of,
                              p);
    }
    return shown
               ? qx_say(doc,
                        "The response of %s to %s is curved (%s part of the trend, %s).",
                        label,
                        c->of,
                        qx_trend_word(trend),
                        p)
               : qx_say(doc,
                        "A %s bend in the response of %s to %s has not been shown (%s).",
                        qx_trend_word(trend),
                        label,
                        c->of,
                        p);
}

size_t
qx_doc_trends(qx_doc *doc, const qx_findings *f, const qx_result *r, const char *factor)
{
    size_t count = 0;
    for (size_t i = 0; i < r->contrast_count; i++) {
        const qx_contrast_line *c = &r->contrast[i];
        const qx_contrast_def *def = definition(f, c->name);
        if (def == NULL || def->trend == QX_TREND_NONE || strcmp(c->of, factor) != 0) {
            continue;
        }
        const bool shown = qx_contrast_p(c) < 1.0 - f->protocol->analysis.level;
        qx_doc_finding(
            doc, shown ? "trend" : "unsettled", trend_sentence(doc, f, r, c, def->trend));
        count++;
    }
    return count;
}

const char *qx_doc_variance_words(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    double total = 0.0;
    const qx_variance_line *largest = NULL;
    const char *unknown = "";
    (void)f;
    if (qx_result_counted(r) || r->class_count > 0) {
        return qx_doc_unit_words(doc, r);
    }
    for (size_t i = 0; i < r->variance_count; i++) {
        const qx_variance_line *v = &r->variance[i];
        if (strncmp(v->term, "residual ", 9) == 0) {
            return ""; /* each season has its own: no whole to share */
        }
        if (isfinite(v->variance)) {
            total += v->variance;
            largest = largest == NULL || v->variance > largest->variance ? v : largest;
        } else {
            unknown = qx_say(doc,
                             " How much %s differ cannot be told: none is a replicate of "
                             "another.",
                             qx_words_path(doc, v->term));
        }
    }
    if (largest == NULL || !(total > 0.0)) {
        return "";
    }
    const double share = largest->variance / total;
    const char *rest =
        largest->field ? "between better and worse parts of the field"
        : strcmp(largest->term, "residual") == 0
            ? "between the smallest units measured, with the error of measuring"
            : qx_say(doc, "between %s", qx_words_path(doc, largest->term));
    if (r->variance_count == 1 || unknown[0] != '\0') {
        return qx_say(doc,
                      "Variation %s has a standard deviation of %s%s.%s",
                      rest,
                      qx_said(doc, qx_short_number(doc->arena, largest->sd, 3)),
                      qx_words_scale(doc, r),
                      unknown);
    }
    return qx_say(
        doc,
        "The largest part of the variation (%s) lies %s: a standard deviation of "
        "%s%s.",
        qx_said(doc, qx_per_cent(doc->arena, round(100.0 * share) / 100.0)),
        rest,
        qx_said(doc, qx_short_number(doc->arena, largest->sd, 3)),
        qx_words_scale(doc, r));
}

/* How strong the strongest pair of a factor is: those that are told first stand first. */
static double factor_strength(const qx_result *r, const char *factor)
{
    double best = 0.0;
    for (size_t i = 0; i < r->difference_count; i++) {
        const qx_difference *d = &r->difference[i];
        if (strcmp(d->term, factor) == 0) {
            const double size = isfinite(d->value) ? fabs(d->value) : 0.0;
            best = fmax(best, (double)qx_pair_strength(r, d) + size / (1.0 + size));
        }
    }
    return best;
}

static size_t factors_by_strength(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    const char *factor[FACTORS_MOST];
    size_t count = 0;
    for (size_t k = 0; qx_result_term(r, k) != NULL && count < FACTORS_MOST; k++) {
        const char *term = qx_result_term(r, k);
        if (qx_term_factors(term) > 1) {
            continue;
        }
        size_t at = count++;
        while (at > 0 && factor_strength(r, term) > factor_strength(r, factor[at - 1])) {
            factor[at] = factor[at - 1];
            at--;
        }
        factor[at] = term;
    }
    for (size_t i = 0; i < count; i++) {
        one_factor(doc, f, r, factor[i]);
    }
    return count;
}

static const char *nothing_to_say(qx_doc *doc, const qx_result *r)
{
    const char *label = qx_words_label(doc, r);
    return r->without == NULL
               ? qx_say(doc,
                        "Nothing can be said about %s: no value of it was recorded (%zu "
                        "missing).",
                        label,
                        r->missing)
               : qx_say(
                     doc,
                     "Nothing can be said about %s: its values were recorded, but %s is "
                     "not known for any of them. Record %s, or take it out of the "
                     "protocol, and analyse again.",
                     label,
                     r->without,
                     r->without);
}

/* What "factorial part" in the headings means. */
static void tell_control(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    if (r->against_count > 0) {
        qx_doc_add(doc,
                   QX_NODE_NOTE,
                   qx_say(doc,
                          "%s is a control beside the factorial: these levels were tried "
                          "together and with nothing else. \"Factorial part\" is all but "
                          "the control.",
                          qx_words_cell(doc, f->protocol, &r->against[0].first)));
    }
}

/* A treatment that was planned and cannot be compared: also an answer. */
static void tell_single(qx_doc *doc, const qx_result *r)
{
    for (size_t i = 0; i < r->single_count; i++) {
        qx_doc_add(doc,
                   QX_NODE_NOTE,
                   qx_say(doc,
                          "Nothing can be said about %s: only %s has data, and there is "
                          "nothing to compare it with.",
                          r->single[i],
                          r->single_level[i]));
    }
}

/* Looks that nobody declared move the error rate of every verdict below. */
static void looked(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    const double alpha = 1.0 - f->protocol->analysis.level;
    const char *unit = r->look.unit;
    if (r->look.error > 0.0) {
        qx_doc_add(
            doc,
            QX_NODE_CAUTION,
            qx_say(
                doc,
                "The results of %s were looked at before all values were in, and this "
                "was not declared: of 100 comparisons where nothing differs, about %s "
                "are called different here, not %s.",
                qx_words_label(doc, r),
                qx_said(doc, qx_short_number(doc->arena, 100.0 * r->look.error, 2)),
                qx_said(doc, qx_plain_number(doc->arena, round(1e4 * alpha) / 100.0))));
    } else if (r->look.early && unit != NULL) {
        qx_doc_add(
            doc,
            QX_NODE_CAUTION,
            qx_say(doc,
                   "Only %s of the planned %s values of %s are in. If more will "
                   "come and this look was not declared (analysis: {looks: 2}), "
                   "go by no verdict before they are.",
                   qx_said(doc,
                           qx_per_cent(doc->arena, round(100.0 * r->look.share) / 100.0)),
                   unit,
                   qx_words_label(doc, r)));
    }
}

void qx_doc_answer(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    qx_doc_heading(doc, 3, NULL, qx_words_label(doc, r));
    if (r->used == 0) {
        qx_doc_add(doc, QX_NODE_NOTE, nothing_to_say(doc, r));
        return;
    }
    if (!r->converged && r->mean_count == 0 && r->variance_count == 0) {
        for (size_t i = 0; i < r->note_count; i++) {
            qx_doc_add(doc, QX_NODE_NOTE, r->note[i]);
        }
        return;
    }
    if (r->difference_count > 0 && isnan(r->difference[0].margin)) {
        qx_doc_add(
            doc,
            QX_NODE_NOTE,
            "The protocol gives no margin, the least difference that would matter: "
            "the findings say whether a difference has been shown, not whether it "
            "is large enough to care.");
    }
    tell_control(doc, f, r);
    looked(doc, f, r);
    qx_doc_covariate_held(doc, r);
    tell_single(doc, r);
    const size_t told = factors_by_strength(doc, f, r);
    if (told == 0) {
        const char *words = qx_doc_variance_words(doc, f, r);
        qx_doc_add(doc,
                   QX_NODE_PARAGRAPH,
                   words[0] == '\0' ? "There are no treatments to compare." : words);
    }
}
