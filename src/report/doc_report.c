/* report/doc_report.c - the report: question, answer, pictures, tables, method, cautions. */
#include <math.h>
#include <string.h>

#include "layout/layout.h"
#include "report/chart.h"
#include "report/doc_parts.h"
#include "report/field_pictures.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

/* Does the text hold "invented", in capitals or not? */
static bool says_invented(const char *text)
{
    static const char word[] = "invented";
    for (; *text != '\0'; text++) {
        size_t i = 0;
        while (i < sizeof word - 1 && (text[i] | 0x20) == word[i]) { /* lower case */
            i++;
        }
        if (i == sizeof word - 1) {
            return true;
        }
    }
    return false;
}

static bool invented(const qx_protocol *p)
{
    return says_invented(p->title) || says_invented(p->question) ||
           says_invented(p->institution) || says_invented(p->site.name);
}

static void who_and_where(qx_doc *doc, const qx_protocol *p)
{
    const char *people = "";
    for (size_t i = 0; i < p->person_count; i++) {
        const bool role = p->person[i].role[0] != '\0';
        people = qx_say(doc,
                        "%s%s%s%s%s%s",
                        people,
                        i == 0 ? "" : "; ",
                        p->person[i].name,
                        role ? " (" : "",
                        p->person[i].role,
                        role ? ")" : "");
    }
    if (p->institution[0] != '\0') {
        qx_doc_define(doc, "Institution", p->institution);
    }
    if (people[0] != '\0') {
        qx_doc_define(doc, "People", people);
    }
    const qx_crop *c = &p->crop;
    if (c->species[0] != '\0') {
        const char *crop = qx_say(doc,
                                  "%s%s%s%s%s",
                                  c->species,
                                  c->cultivar[0] == '\0' ? "" : ", ",
                                  c->cultivar,
                                  c->rootstock[0] == '\0' ? "" : " on ",
                                  c->rootstock);
        qx_doc_define(doc,
                      "Crop",
                      c->planted == 0 ? crop
                                      : qx_say(doc, "%s, planted %d", crop, c->planted));
    }
    if (p->site.name[0] != '\0') {
        const char *site = p->site.name;
        if (p->site.country[0] != '\0') {
            site = qx_say(doc, "%s, %s", site, p->site.country);
        }
        if (!isnan(p->site.row_spacing_m) && !isnan(p->site.tree_spacing_m)) {
            site =
                qx_say(doc,
                       "%s; rows %s m apart, trees %s m",
                       site,
                       qx_said(doc, qx_plain_number(doc->arena, p->site.row_spacing_m)),
                       qx_said(doc, qx_plain_number(doc->arena, p->site.tree_spacing_m)));
        }
        qx_doc_define(doc, "Site", site);
    }
}

static void what_was_done(qx_doc *doc, const qx_protocol *p)
{
    for (size_t t = 0; t < p->treatment_count; t++) {
        const qx_treatment *x = &p->treatment[t];
        const char *levels = "";
        for (size_t l = 0; l < x->level_count; l++) {
            levels = qx_say(doc,
                            "%s%s%s%s",
                            levels,
                            l == 0 ? "" : ", ",
                            qx_words_level(doc, p, x->name, x->level[l]),
                            l == x->control ? " (control)" : "");
        }
        qx_doc_define(
            doc, x->name, qx_say(doc, "%s; on each %s", levels, p->unit[x->on].name));
    }
    if (p->seasons.level_count > 0) {
        const char *levels = "";
        for (size_t l = 0; l < p->seasons.level_count; l++) {
            levels =
                qx_say(doc, "%s%s%s", levels, l == 0 ? "" : ", ", p->seasons.level[l]);
        }
        qx_doc_define(doc, "Seasons", levels);
    }
}

static void draw(qx_doc *doc,
                 const qx_findings *f,
                 const qx_result *r,
                 const qx_chart_kind *kind,
                 const char *term)
{
    qx_chart_input in = {.doc = doc, .findings = f, .result = r, .term = term};
    size_t all = 0, first;
    if (!kind->suits(&in)) {
        return;
    }
    if (kind == &qx_chart_means) {
        all = qx_result_means(r, term, &first);
    } else if (kind == &qx_chart_classes) {
        all = qx_result_means(r, term, &first) / r->class_count;
    }
    for (size_t from = 0; from == 0 || from < all; from += QX_CHART_ROWS) {
        in.first = from;
        in.count = all > QX_CHART_ROWS ? QX_CHART_ROWS : 0;
        qx_doc_chart(doc, qx_chart_draw(kind, &in));
    }
}

/* Differences fit into one picture or are left to the table and the letters. */
#define DIFFERENCES_MOST 15

static void draw_differences(qx_doc *doc,
                             const qx_findings *f,
                             const qx_result *r,
                             const char *factor,
                             bool simple)
{
    const qx_difference *list = simple ? r->simple : r->difference;
    const size_t all = simple ? r->simple_count : r->difference_count;
    size_t count = 0, known = 0;
    for (size_t i = 0; i < all; i++) {
        const bool here = strcmp(list[i].term, factor) == 0;
        count += here ? 1 : 0;
        known += here && !isnan(list[i].estimate) ? 1 : 0;
    }
    if (known > 0 && count <= DIFFERENCES_MOST) {
        draw(doc,
             f,
             r,
             &qx_chart_differences,
             simple ? qx_say(doc, "@%s", factor) : factor);
    }
}

static void variate_charts(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    const double alpha = 1.0 - f->protocol->analysis.level;
    for (size_t k = 0; qx_result_term(r, k) != NULL; k++) {
        const char *term = qx_result_term(r, k);
        const bool one = qx_term_factors(term) == 1;
        const bool joint = one && qx_result_interaction(r, term, alpha) != NULL;
        if (!qx_result_matters(f, r, term) || !qx_result_known(r, term)) {
            continue;
        }
        const qx_chart_input in = {.doc = doc, .findings = f, .result = r, .term = term};
        const qx_chart_kind *kind = qx_chart_trend.suits(&in)     ? &qx_chart_trend
                                    : qx_chart_classes.suits(&in) ? &qx_chart_classes
                                                                  : &qx_chart_means;
        draw(doc, f, r, kind, term);
        if (one) {
            draw_differences(doc, f, r, term, joint);
        }
    }
}

/* What is not printed is said. */
static void tell_left_out(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    const char *list = "";
    for (size_t k = 0; qx_result_term(r, k) != NULL; k++) {
        const char *term = qx_result_term(r, k);
        if (!qx_result_matters(f, r, term)) {
            list = qx_say(doc, "%s%s%s", list, list[0] == '\0' ? "" : ", ", term);
        }
    }
    if (list[0] != '\0') {
        qx_doc_add(
            doc,
            QX_NODE_PARAGRAPH,
            qx_say(doc,
                   "Not printed: the cells of %s, where acting together has not been "
                   "shown. The machine-readable findings hold each.",
                   list));
    }
}

static void one_variate(qx_doc *doc,
                        const qx_findings *f,
                        const qx_result *r,
                        const qx_report_choice *choice)
{
    qx_doc_heading(doc, 3, NULL, qx_words_label(doc, r));
    if (choice->charts) {
        variate_charts(doc, f, r);
    }
    qx_doc_mean_tables(doc, f, r);
    qx_doc_difference_tables(doc, f, r);
    tell_left_out(doc, f, r);
    qx_doc_efficiency(doc, r);
    const char *words = qx_doc_variance_words(doc, f, r);
    if (words[0] != '\0') {
        qx_doc_add(doc, QX_NODE_PARAGRAPH, words);
    }
}

/* Above everything else: what the reader is about to trust was changed. */
static void changed_by_hand(qx_doc *doc, const qx_findings *f)
{
    if (f->by_hand_count == 0) {
        return;
    }
    qx_doc_heading(doc, 2, "by-hand", "The trial file is not as the program made it");
    qx_doc_add(
        doc,
        QX_NODE_PARAGRAPH,
        "Somebody changed it with another program, or it is damaged. What follows "
        "goes by the file as it is now. Before you trust it, compare it with a copy "
        "from before, or with the layout on paper.");
    for (size_t i = 0; i < f->by_hand_count; i++) {
        qx_doc_add(doc, QX_NODE_CAUTION, qx_say(doc, "Changed: %s.", f->by_hand[i]));
    }
}

static void question(qx_doc *doc, const qx_findings *f)
{
    qx_doc_heading(doc, 2, "question", "Question");
    qx_doc_add(doc,
               QX_NODE_PARAGRAPH,
               f->protocol->question[0] == '\0' ? "The protocol states no question."
                                                : f->protocol->question);
    who_and_where(doc, f->protocol);
    what_was_done(doc, f->protocol);
}

static void answer(qx_doc *doc, const qx_findings *f)
{
    qx_doc_heading(doc, 2, "answer", "Answer");
    if (!f->protocol->treatment_count) {
        qx_doc_add(doc,
                   QX_NODE_PARAGRAPH,
                   "No treatments were given: the trial says where the variation lies.");
    }
    for (size_t i = 0; i < f->result_count; i++) {
        qx_doc_answer(doc, f, &f->result[i]);
    }
}

static void checks(qx_doc *doc, const qx_findings *f, const qx_report_choice *choice)
{
    qx_doc_heading(doc, 2, "checks", "Checks");
    qx_doc_add(doc,
               QX_NODE_PARAGRAPH,
               "What the analysis assumes, looked at. A check that stands out comes with "
               "what an adviser would do next; nothing is left out by itself.");
    for (size_t i = 0; i < f->result_count; i++) {
        const qx_result *r = &f->result[i];
        qx_doc_heading(doc, 3, NULL, qx_words_label(doc, r));
        if (r->check_count == 0) {
            qx_doc_add(doc, QX_NODE_PARAGRAPH, "These data allow no checks.");
        }
        qx_doc_checks(doc, f, r);
        if (choice->charts) {
            draw(doc, f, r, &qx_chart_residual, NULL);
            draw(doc, f, r, &qx_chart_quantile, NULL);
        }
    }
}

/* Tables for those who check the analysis. */
static void behind_it(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    qx_doc_test_table(doc, f, r);
    qx_doc_classical(doc, r);
    qx_doc_contrast_table(doc, f, r);
    qx_doc_covariate_tables(doc, f, r);
    qx_doc_dose_table(doc, f, r);
    qx_doc_variance_table(doc, f, r);
    qx_doc_correlation_table(doc, r);
}

static void method(qx_doc *doc, const qx_findings *f)
{
    qx_doc_heading(doc, 2, "method", "How it was analysed");
    qx_doc_method(doc, f);
    for (size_t i = 0; i < f->result_count; i++) {
        const qx_result *r = &f->result[i];
        qx_doc_heading(doc, 3, NULL, qx_words_label(doc, r));
        qx_doc_model(doc, f, r);
        for (size_t k = 0; k < r->note_count; k++) {
            qx_doc_add(doc, QX_NODE_NOTE, r->note[k]);
        }
        behind_it(doc, f, r);
    }
}

/* What was drawn, where it stands, and what was done otherwise. */
static void layout(qx_doc *doc, const qx_findings *f, const qx_report_choice *choice)
{
    if (f->layout == NULL || (!choice->charts && f->change_count == 0)) {
        return;
    }
    qx_doc_heading(doc, 2, "layout", "Layout");
    qx_doc_add(doc, QX_NODE_PARAGRAPH, f->layout->describe);
    for (size_t i = 0; i < f->change_count; i++) {
        qx_doc_add(doc,
                   QX_NODE_NOTE,
                   qx_say(doc, "Done otherwise than drawn: %s.", f->change[i]));
    }
    if (!choice->charts) {
        return;
    }
    const qx_field field = {.protocol = f->protocol, .layout = f->layout};
    const qx_chart_input in = {.doc = doc, .field = &field};
    if (qx_chart_map.suits(&in)) {
        const qx_scene *scene = qx_chart_draw(&qx_chart_map, &in);
        doc->failed = doc->failed || scene == NULL;
        if (scene != NULL) {
            qx_doc_chart(doc, scene);
        }
    }
    draw(doc, f, NULL, &qx_chart_layout, NULL);
}

qx_doc *
qx_doc_report(qx_arena *arena, const qx_findings *f, const qx_report_choice *choice)
{
    qx_doc *doc = qx_doc_new(arena);
    if (doc == NULL) {
        return NULL;
    }
    doc->title =
        f->protocol->title[0] == '\0' ? "Trial without a title" : f->protocol->title;
    doc->question = f->protocol->question;
    doc->maker = "quincunx " QX_VERSION;
    if (invented(f->protocol)) {
        doc->warning =
            "Invented: the protocol says that this trial was made up. Do not use "
            "any number of it in an orchard.";
    }
    changed_by_hand(doc, f);
    question(doc, f);
    answer(doc, f);
    if (choice->answer_only) {
        return doc;
    }
    qx_doc_heading(doc, 2, "results", choice->charts ? "Pictures and tables" : "Tables");
    (void)qx_doc_summary_table(doc, f);
    for (size_t i = 0; i < f->result_count; i++) {
        if (f->result[i].used > 0) {
            one_variate(doc, f, &f->result[i], choice);
        }
    }
    checks(doc, f, choice);
    layout(doc, f, choice);
    method(doc, f);
    qx_doc_heading(doc, 2, "cautions", "Before anybody acts on it");
    qx_doc_cautions(doc, f);
    return doc;
}
