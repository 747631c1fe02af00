/* report/doc_method.c - how it was analysed, what the checks say, what to mind before
 * anybody acts on it. */
#include <math.h>
#include <string.h>

#include "layout/layout.h"
#include "report/doc_parts.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

static const char *joined(qx_doc *doc, size_t count, const char *const term[], bool units)
{
    const char *text = "";
    for (size_t i = 0; i < count; i++) {
        const char *link = i == 0 ? "" : i + 1 == count ? " and " : ", ";
        text = qx_say(
            doc, "%s%s%s", text, link, units ? qx_words_path(doc, term[i]) : term[i]);
    }
    return text;
}

void qx_doc_model(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    const qx_variate *v = r->definition;
    const char *text =
        r->missing == 0
            ? qx_say(doc, "%zu observations were used, none is missing.", r->used)
            : qx_say(doc,
                     "%zu observations were used, %zu %s missing.",
                     r->used,
                     r->missing,
                     r->missing == 1 ? "is" : "are");
    if (v != NULL && v->on < f->protocol->unit_count) {
        text = qx_say(doc,
                      "%s Measured on each %s%s%s.",
                      text,
                      f->protocol->unit[v->on].name,
                      v->method[0] == '\0' ? "" : ": ",
                      v->method);
    }
    if (r->fixed_count > 0) {
        text = qx_say(doc,
                      "%s Effects looked for (fixed): %s.",
                      text,
                      joined(doc, r->fixed_count, r->fixed, false));
    }
    if (r->random_count > 0) {
        text = qx_say(doc,
                      "%s Chance variation between (random): %s.",
                      text,
                      joined(doc, r->random_count, r->random, true));
    }
    if (v != NULL && v->transform != QX_TRANSFORM_NONE) {
        text =
            qx_say(doc,
                   "%s Analysed on the scale %s; means are also given back on the scale "
                   "of measurement.",
                   text,
                   qx_transform_word(v->transform));
    }
    if (r->method != NULL && r->method[0] != '\0') {
        text = qx_say(doc,
                      "%s Fitted by %s%s.",
                      text,
                      r->method,
                      r->converged ? ""
                                   : ", which did not converge: no number of this "
                                     "variate should be used");
    }
    if (!isnan(r->cv_percent)) {
        text = qx_say(doc,
                      "%s Coefficient of variation: %s %%.",
                      text,
                      qx_said(doc, qx_rounded(doc->arena, r->cv_percent, 1)));
    }
    qx_doc_add(doc, QX_NODE_PARAGRAPH, text);
}

static const struct {
    const char *key, *name, *asks;
} check_names[] = {
    {"shapiro-wilk", "Normal residuals (Shapiro\xe2\x80\x93Wilk)", "W"},
    {"brown-forsythe",
     "Even spread (Brown\xe2\x80\x93"
     "Forsythe)",
     "F"},
    {"bartlett", "Even spread (Bartlett)", "chi-squared"},
    {"kruskal-wallis", "The same question by ranks (Kruskal\xe2\x80\x93Wallis)", "H"},
    {"friedman", "The same question by ranks inside blocks (Friedman)", "chi-squared"},
    {"box-cox",
     "Power that would even the data (Box\xe2\x80\x93"
     "Cox)",
     "lambda"},
    {"outlier", "Largest residual", "studentised"},
    {"odd unit", "Oddest unit", "studentised"},
    {"influence", "Unit that the means lean on most", "Cook's distance"},
    {"shapiro-wilk units", "Normal units (Shapiro\xe2\x80\x93Wilk)", "W"},
    {"brown-forsythe units",
     "Even spread of units (Brown\xe2\x80\x93"
     "Forsythe)",
     "F"},
    {"slopes differ", "Slopes that differ between treatments", "F"},
    {"residual by season", "Residuals that differ between seasons", "chi-squared"}};

/* A test by ranks answers the question of the F test: does it say the same? */
static const char *
result_of(const qx_findings *f, const qx_result *r, const qx_check_line *c)
{
    const double alpha = 1.0 - f->protocol->analysis.level;
    const bool ranks =
        strcmp(c->check, "kruskal-wallis") == 0 || strcmp(c->check, "friedman") == 0;
    const char *term = qx_result_term(r, 0);
    const qx_test_line *t =
        term == NULL || qx_result_term(r, 1) != NULL ? NULL : qx_result_test(r, term);
    if (c->advice != NULL) {
        return "look: see below";
    }
    if (isnan(c->value) && isnan(c->p)) {
        return "cannot be computed";
    }
    if (!ranks) {
        return "nothing unusual";
    }
    if (t == NULL || isnan(t->p) || isnan(c->p)) {
        return "for comparison";
    }
    return (c->p < alpha) == (t->p < alpha) ? "says the same as the F test"
                                            : "does not say the same as the F test";
}

static void check_row(qx_doc *doc,
                      const qx_findings *f,
                      const qx_result *r,
                      const qx_check_line *c,
                      const char **cell)
{
    const char *name = c->check;
    const char *what = "";
    for (size_t i = 0; i < QX_COUNT(check_names); i++) {
        if (strcmp(c->check, check_names[i].key) == 0) {
            name = check_names[i].name;
            what = check_names[i].asks;
        }
    }
    cell[0] = c->row > 0 ? qx_say(doc, "%s, row %zu", name, c->row) : name;
    if (c->unit != NULL) {
        cell[0] = qx_say(doc, "%s: %s", name, c->unit);
    } else if (c->stratum != NULL) {
        cell[0] = qx_say(doc, "%s: %s", name, qx_words_path(doc, c->stratum));
    }
    cell[1] = qx_say(doc,
                     "%s%s%s",
                     what,
                     what[0] == '\0' ? "" : " ",
                     qx_said(doc, qx_short_number(doc->arena, c->value, 4)));
    if (!isnan(c->lower)) {
        cell[1] = qx_say(doc,
                         "%s (%s)",
                         cell[1],
                         qx_said(doc, qx_short_range(doc->arena, c->lower, c->upper, 3)));
    }
    cell[2] = qx_said(doc, qx_p_value(doc->arena, c->p));
    cell[3] = result_of(f, r, c);
}

void qx_doc_checks(qx_doc *doc, const qx_findings *f, const qx_result *r)
{
    if (r->check_count == 0) {
        return;
    }
    qx_doc_table *t = qx_doc_table_new(
        doc, qx_say(doc, "%s: checks of the analysis", qx_words_label(doc, r)));
    qx_table_column(t, "Check", false);
    qx_table_column(t, "Value", true);
    qx_table_column(t, "P", true);
    qx_table_column(t, "Result", false);
    for (size_t i = 0; i < r->check_count; i++) {
        const char **cell = qx_table_row(doc, t, false);
        if (cell == NULL) {
            return;
        }
        check_row(doc, f, r, &r->check[i], cell);
    }
    for (size_t i = 0; i < r->check_count; i++) {
        if (r->check[i].advice != NULL) {
            qx_doc_add(doc, QX_NODE_NOTE, r->check[i].advice);
        }
    }
}

static bool uses(const qx_findings *f, const char *method)
{
    for (size_t i = 0; i < f->result_count; i++) {
        const qx_result *r = &f->result[i];
        if (r->method != NULL && strcmp(r->method, method) == 0) {
            return true;
        }
        for (size_t k = 0; k < r->test_count; k++) {
            if (r->test[k].method != NULL && strcmp(r->test[k].method, method) == 0) {
                return true;
            }
        }
    }
    return false;
}

static bool adjusts(const qx_findings *f, const char *adjust)
{
    for (size_t i = 0; i < f->result_count; i++) {
        const qx_result *r = &f->result[i];
        for (size_t k = 0; k < r->difference_count; k++) {
            if (r->difference[k].adjust != NULL &&
                r->difference[k].verdict != QX_CANNOT_TELL &&
                strcmp(r->difference[k].adjust, adjust) == 0 &&
                qx_result_matters(f, r, r->difference[k].term)) {
                return true;
            }
        }
    }
    return false;
}

static bool has_letters(const qx_findings *f)
{
    for (size_t i = 0; i < f->result_count; i++) {
        for (size_t k = 0; k < f->result[i].mean_count; k++) {
            const qx_mean *m = &f->result[i].mean[k];
            if (m->letters != NULL && qx_result_matters(f, &f->result[i], m->term)) {
                return true;
            }
        }
    }
    return false;
}

static bool has_turn(const qx_findings *f)
{
    for (size_t i = 0; i < f->result_count; i++) {
        for (size_t k = 0; k < f->result[i].dose_count; k++) {
            if (!isnan(f->result[i].dose[k].turn)) {
                return true;
            }
        }
    }
    return false;
}

static bool has_counted(const qx_findings *f)
{
    bool any = false;
    for (size_t i = 0; i < f->result_count; i++) {
        any = any || qx_result_counted(&f->result[i]) || f->result[i].class_count > 0;
    }
    return any;
}

static bool has_margin(const qx_findings *f)
{
    for (size_t i = 0; i < f->protocol->variate_count; i++) {
        if (!isnan(f->protocol->variate[i].margin)) {
            return true;
        }
    }
    return false;
}

/* Are dates or neighbours correlated; or (field) was a field trend looked for? */
static bool has_correlation(const qx_findings *f, bool field)
{
    for (size_t i = 0; i < f->result_count; i++) {
        if (field ? f->result[i].field_count > 1 : f->result[i].correlation_count > 0) {
            return true;
        }
    }
    return false;
}

/* Methods with their sources, only those that were used. */
static void sources(qx_doc *doc, const qx_findings *f)
{
    const struct {
        bool used;
        const char *name, *source;
    } list[] = {
        {uses(f, "REML"),
         "Mixed model by restricted maximum likelihood",
         "Patterson & Thompson 1971, Biometrika 58:545; profiled as Bates et al. 2015, J "
         "Stat Softw 67(1)"},
        {uses(f, "Kenward-Roger"),
         "Standard errors and degrees of freedom",
         "Kenward & Roger 1997, Biometrics 53:983"},
        {uses(f, "Satterthwaite"),
         "Degrees of freedom",
         "Satterthwaite 1946, Biometrics Bulletin 2:110"},
        {has_correlation(f, false),
         "Dates or neighbours that are alike",
         "Jones & Boadi-Boateng 1991, Biometrics 47:161; Cullis & Gleeson 1991, "
         "Biometrics "
         "47:1449; with the bias of correlations as in Kenward & Roger 2009, Comput Stat "
         "Data Anal 53:2583"},
        {has_correlation(f, true),
         "Choice of the field trend",
         "Akaike 1974, IEEE Trans Automat Contr 19:716; Gilmour, Cullis & Verbyla 1997, "
         "J "
         "Agric Biol Environ Stat 2:269"},
        {adjusts(f, "tukey"),
         "All pairs compared",
         "Tukey\xe2\x80\x93Kramer: Kramer 1956, Biometrics 12:307"},
        {adjusts(f, "dunnett"),
         "Comparisons with the control",
         "Dunnett 1955, J Am Stat Assoc 50:1096"},
        {adjusts(f, "holm"), "Comparisons adjusted", "Holm 1979, Scand J Stat 6:65"},
        {adjusts(f, "sidak"),
         "Comparisons adjusted",
         "\xc5\xa0id\xc3\xa1k 1967, J Am Stat Assoc 62:626"},
        {has_counted(f),
         "Limits of differences between shares or counts",
         "Zou & Donner 2008, Stat Med 27:1693"},
        {has_turn(f),
         "Limits of the amount at which a curve turns",
         "Fieller 1954, J R Stat Soc B 16:175"},
        {has_letters(f), "Letters", "Piepho 2004, J Comput Graph Stat 13:456"},
        {has_margin(f),
         "Equivalence by two one-sided tests",
         "Schuirmann 1987, J Pharmacokinet Biopharm 15:657"}};
    for (size_t i = 0; i < QX_COUNT(list); i++) {
        if (list[i].used) {
            qx_doc_define(doc, list[i].name, list[i].source);
        }
    }
}

static const char *treated_units(qx_doc *doc, const qx_findings *f)
{
    const qx_protocol *p = f->protocol;
    const char *text = "";
    for (size_t t = 0; t < p->treatment_count; t++) {
        text = qx_say(doc,
                      "%s%s%s on each %s",
                      text,
                      t == 0 ? "" : ", ",
                      p->treatment[t].name,
                      p->unit[p->treatment[t].on].name);
    }
    return text;
}

static const char *df_name(qx_df_choice df)
{
    switch (df) {
    case QX_DF_KENWARD_ROGER:
        return "Kenward\xe2\x80\x93Roger";
    case QX_DF_SATTERTHWAITE:
        return "Satterthwaite";
    case QX_DF_CONTAINMENT:
        break;
    }
    return "containment";
}

static const char *compare_name(qx_compare_choice compare)
{
    return compare == QX_COMPARE_NONE ? "each pair on its own, not adjusted"
                                      : qx_words_adjust(qx_compare_word(compare));
}

static bool any_continuous(const qx_findings *f)
{
    bool some = false;
    for (size_t i = 0; i < f->result_count; i++) {
        const qx_result *r = &f->result[i];
        some = some || (!qx_result_counted(r) && r->class_count == 0);
    }
    return some;
}

void qx_doc_method(qx_doc *doc, const qx_findings *f)
{
    const qx_protocol *p = f->protocol;
    if (p->treatment_count > 0) {
        qx_doc_add(
            doc,
            QX_NODE_PARAGRAPH,
            qx_say(doc,
                   "The analysis follows from the layout. Treatments were put on as "
                   "follows: %s; each is tested against the variation between those "
                   "units, however many smaller things were measured on them.",
                   treated_units(doc, f)));
    }
    qx_doc_define(
        doc, "Confidence", qx_said(doc, qx_per_cent(doc->arena, p->analysis.level)));
    if (any_continuous(f)) { /* counts, shares and classes have rules of their own */
        qx_doc_define(doc, "Degrees of freedom", df_name(p->analysis.df));
    }
    qx_doc_define(doc, "Comparisons asked for", compare_name(p->analysis.compare));
    sources(doc, f);
    if (f->layout != NULL) {
        qx_doc_define(doc, "Layout", f->layout->describe);
        qx_doc_define(doc,
                      "Seed of the layout",
                      qx_say(doc,
                             "%llu (algorithm version %u): the same seed gives the same "
                             "layout",
                             (unsigned long long)f->layout->seed,
                             (unsigned)f->layout->version));
    }
    qx_doc_define(doc, "Protocol", qx_say(doc, "SHA-256 %s", p->digest));
    qx_doc_define(doc, "Software", doc->maker);
}

void qx_doc_cautions(qx_doc *doc, const qx_findings *f)
{
    if (f->protocol->seasons.level_count < 2) {
        qx_doc_add(doc,
                   QX_NODE_CAUTION,
                   "One site and one season. What another season, soil, cultivar or "
                   "rootstock would give has not been tried here.");
    } else {
        qx_doc_add(
            doc,
            QX_NODE_CAUTION,
            "One site. What another soil, cultivar or rootstock would give has not "
            "been tried here.");
    }
    qx_doc_add(doc,
               QX_NODE_CAUTION,
               "The label of a product, local rules and a licensed adviser come before "
               "anything in this report.");
    qx_doc_add(doc,
               QX_NODE_CAUTION,
               "Cutting, scoring and tying are done with blades and on ladders: gloves, "
               "firm ground, nobody below. Wounds let disease in: clean blades between "
               "trees, no cuts in wet weather or where fire blight or canker is about.");
    qx_doc_add(
        doc,
        QX_NODE_CAUTION,
        "Unsettled means that this trial is too small to tell. It never means that "
        "two treatments do the same.");
}
