#include "report/words.h"

#include <math.h>
#include <string.h>

#include "report/parts.h"
#include "report/rounding.h"
#include "report/words_response.h"

/* Units that are written as a sign. */
static const struct {
    const char *word, *sign;
} signs[] = {{"degree", "\xc2\xb0"},
             {"degrees", "\xc2\xb0"},
             {"percent", " %"},
             {"per cent", " %"},
             {"mm2", " mm\xc2\xb2"},
             {"cm2", " cm\xc2\xb2"},
             {"m2", " m\xc2\xb2"},
             {"cm3", " cm\xc2\xb3"},
             {"m3", " m\xc2\xb3"}};

const char *qx_words_unit(qx_doc *doc, const char *unit)
{
    if (unit == NULL || unit[0] == '\0') {
        return "";
    }
    for (size_t i = 0; i < QX_COUNT(signs); i++) {
        if (strcmp(unit, signs[i].word) == 0) {
            return signs[i].sign;
        }
    }
    return qx_say(doc, " %s", unit);
}

const char *
qx_words_level(qx_doc *doc, const qx_protocol *p, const char *factor, const char *level)
{
    const size_t t = qx_protocol_find_treatment(p, factor);
    if (t == QX_NONE || p->treatment[t].unit[0] == '\0') {
        return level;
    }
    return qx_say(doc, "%s%s", level, qx_words_unit(doc, p->treatment[t].unit));
}

const char *qx_words_cell(qx_doc *doc, const qx_protocol *p, const qx_cell *cell)
{
    const char *text = "";
    for (size_t i = 0; i < cell->count; i++) {
        text = qx_say(doc,
                      "%s%s%s %s",
                      text,
                      i > 0 ? ", " : "",
                      cell->factor[i],
                      qx_words_level(doc, p, cell->factor[i], cell->level[i]));
    }
    return text;
}

const char *qx_words_levels(qx_doc *doc, const qx_protocol *p, const qx_cell *cell)
{
    const char *text = "";
    for (size_t i = 0; i < cell->count; i++) {
        text = qx_say(doc,
                      "%s%s%s",
                      text,
                      i > 0 ? ", " : "",
                      qx_words_level(doc, p, cell->factor[i], cell->level[i]));
    }
    return text;
}

/* A capital, unless the second letter shows that the first is meant as it is ("pH"). */
static const char *capital(qx_doc *doc, const char *text)
{
    const char first = text[0];
    const bool small = first >= 'a' && first <= 'z';
    if (!small || (text[1] >= 'A' && text[1] <= 'Z')) {
        return text;
    }
    return qx_say(doc, "%c%s", (int)first - 'a' + 'A', text + 1);
}

const char *qx_words_label(qx_doc *doc, const qx_result *r)
{
    return capital(doc, r->label);
}

static bool transformed(const qx_result *r)
{
    return r->definition != NULL && r->definition->transform != QX_TRANSFORM_NONE;
}

const char *qx_words_difference_scale(qx_doc *doc, const qx_result *r)
{
    return qx_result_scale(r) > 1.0 ? " points" : qx_words_scale(doc, r);
}

const char *qx_words_model_scale(qx_doc *doc, const qx_result *r)
{
    const bool linked = qx_result_counted(r) || r->class_count > 0;
    return linked && r->link != NULL ? qx_say(doc, " (%s)", r->link)
                                     : qx_words_scale(doc, r);
}

const char *qx_words_scale(qx_doc *doc, const qx_result *r)
{
    if (qx_result_scale(r) > 1.0) {
        return " %";
    }
    if (transformed(r)) {
        return qx_say(doc, " (%s)", qx_transform_word(r->definition->transform));
    }
    return qx_words_unit(doc, r->unit);
}

const char *qx_words_heading(qx_doc *doc, const qx_result *r)
{
    const char *unit = qx_words_unit(doc, r->unit);
    if (qx_result_scale(r) > 1.0) {
        const char *of = r->definition->of;
        unit = of[0] == '\0' ? "%" : qx_say(doc, "%% of %s", of);
    }
    while (*unit == ' ') {
        unit++;
    }
    return unit[0] == '\0' ? qx_words_label(doc, r)
                           : qx_say(doc, "%s (%s)", qx_words_label(doc, r), unit);
}

const char *qx_words_plural(qx_doc *doc, const char *noun)
{
    const size_t n = strlen(noun);
    if (n == 0) {
        return noun;
    }
    const char last = noun[n - 1];
    const char before = noun[n > 1 ? n - 2 : 0];
    if (last == 's' || last == 'x' || (last == 'h' && (before == 'c' || before == 's'))) {
        return qx_say(doc, "%ses", noun);
    }
    if (last == 'y' && strchr("aeiou", before) == NULL) {
        return qx_say(doc, "%.*sies", (int)(n - 1), noun);
    }
    return qx_say(doc, "%ss", noun);
}

const char *qx_words_path(qx_doc *doc, const char *path)
{
    if (strcmp(path, "residual") == 0) {
        return "what is left";
    }
    const char *last = strrchr(path, ':');
    if (last == NULL) {
        return qx_words_plural(doc, path);
    }
    const char *above = path;
    const char *text = "";
    /* From the lowest unit upwards: "limbs within trees within blocks". */
    for (const char *end = path + strlen(path); end > path;) {
        const char *start = end;
        while (start > path && start[-1] != ':') {
            start--;
        }
        const char *unit = qx_say(doc, "%.*s", (int)(end - start), start);
        text = text[0] == '\0'
                   ? qx_words_plural(doc, unit)
                   : qx_say(doc, "%s within %s", text, qx_words_plural(doc, unit));
        end = start > above ? start - 1 : above;
    }
    return text;
}

const char *qx_words_adjust(const char *adjust)
{
    static const char *const words[][2] = {
        {"tukey", "adjusted for all pairs (Tukey)"},
        {"dunnett", "adjusted for the comparisons with the control (Dunnett)"},
        {"sidak", "adjusted by \xc5\xa0id\xc3\xa1k"},
        {"holm", "adjusted by Holm"},
        {"bonferroni", "adjusted by Bonferroni"}};
    for (size_t i = 0; adjust != NULL && i < QX_COUNT(words); i++) {
        if (strcmp(adjust, words[i][0]) == 0) {
            return words[i][1];
        }
    }
    return "not adjusted for the number of comparisons";
}

const char *qx_words_verdict(const qx_difference *d)
{
    if (isnan(d->estimate)) {
        return "not estimable";
    }
    switch (d->verdict) {
    case QX_HIGHER:
        return "higher";
    case QX_LOWER_VERDICT:
        return "lower";
    case QX_TRIVIAL:
        return "too small to matter";
    case QX_EQUIVALENT:
        return "equivalent";
    case QX_UNSETTLED:
        break;
    }
    return "unsettled";
}

/* What one sentence is made of. */
typedef struct parts {
    qx_doc *doc;
    const qx_protocol *p;
    const qx_result *r;
    const qx_difference *d;
    const char *head;           /* "With pinch early: " or "" */
    const char *label;          /* of the variate */
    const char *first, *second; /* "with angle 90°" */
    const char *unit;           /* after numbers */
    const char *scale;          /* " on the scale sqrt" after an estimate, or "" */
    const char *margin;         /* "8 cm", or NULL */
    const char *level;          /* "95 %" */
    int decimals;
} parts;

static const char *with_cell(qx_doc *doc, const qx_protocol *p, const qx_cell *cell)
{
    const bool season =
        cell->count > 0 && (strcmp(cell->factor[0], "season") == 0 ||
                            strcmp(cell->factor[0], p->seasons.column) == 0);
    return qx_say(doc, "%s %s", season ? "in" : "with", qx_words_cell(doc, p, cell));
}

static const char *number(const parts *s, double x)
{
    return qx_said(s->doc, qx_rounded(s->doc->arena, x, s->decimals));
}

static const char *amount(const parts *s, double x)
{
    return qx_say(s->doc, "%s%s", number(s, x), s->unit);
}

/* "2.1 to 8.3 cm" */
static const char *range(const parts *s, double low, double high)
{
    return qx_say(s->doc, "%s to %s", number(s, low), amount(s, high));
}

static const char *margin_text(const parts *s)
{
    const double m = s->d->margin;
    if (isnan(m)) {
        return NULL;
    }
    const char *text = transformed(s->r) ? qx_short_number(s->doc->arena, m, 3)
                                         : qx_plain_number(s->doc->arena, m);
    return qx_say(s->doc, "%s%s%s", qx_said(s->doc, text), s->unit, s->scale);
}

/* Differences of logarithms are ratios. */
static const char *as_ratio(const parts *s)
{
    const qx_back q = s->d->ratio;
    if (!(q.estimate > 0.0)) {
        return ""; /* not analysed as logarithms */
    }
    return qx_say(s->doc,
                  ": the first is %s times the second (%s interval %s to %s)",
                  qx_said(s->doc, qx_short_number(s->doc->arena, q.estimate, 3)),
                  s->level,
                  qx_said(s->doc, qx_short_number(s->doc->arena, q.lower, 3)),
                  qx_said(s->doc, qx_short_number(s->doc->arena, q.upper, 3)));
}

/* What a difference on a transformed scale means in the unit that was measured. */
static const char *measured_means(const parts *s)
{
    double back[2] = {NAN, NAN};
    if (!transformed(s->r) || s->d->within.count > 0) {
        return "";
    }
    for (size_t i = 0; i < s->r->mean_count; i++) {
        const qx_mean *m = &s->r->mean[i];
        if (strcmp(m->term, s->d->term) != 0) {
            continue;
        }
        for (int k = 0; k < 2; k++) {
            const qx_cell *cell = k == 0 ? &s->d->first : &s->d->second;
            bool same = cell->count == m->cell.count;
            for (size_t f = 0; same && f < cell->count; f++) {
                same = strcmp(cell->level[f], m->cell.level[f]) == 0;
            }
            back[k] = same ? m->back.estimate : back[k];
        }
    }
    if (isnan(back[0]) || isnan(back[1])) {
        return "";
    }
    return qx_say(s->doc,
                  " Back on the scale of measurement the means are %s and %s%s%s.",
                  qx_said(s->doc, qx_short_number(s->doc->arena, back[0], 3)),
                  qx_said(s->doc, qx_short_number(s->doc->arena, back[1], 3)),
                  qx_words_unit(s->doc, s->r->unit),
                  as_ratio(s));
}

static const char *differs(const parts *s)
{
    const qx_difference *d = s->d;
    const bool up = d->estimate > 0.0;
    const char *size = range(s, up ? d->lower : -d->upper, up ? d->upper : -d->lower);
    const char *core = qx_say(s->doc,
                              "%s%s was %s %s than %s: by %s%s (%s interval %s).",
                              s->head,
                              s->label,
                              up ? "higher" : "lower",
                              s->first,
                              s->second,
                              amount(s, fabs(d->estimate)),
                              s->scale,
                              s->level,
                              size);
    if (s->margin == NULL) {
        return core;
    }
    if (d->verdict == QX_TRIVIAL) {
        return qx_say(s->doc,
                      "%s The difference is real, but smaller than the %s that would "
                      "matter.",
                      core,
                      s->margin);
    }
    if (d->beyond_margin) {
        return qx_say(
            s->doc, "%s That is more than the %s that would matter.", core, s->margin);
    }
    return qx_say(s->doc,
                  "%s It is shown that they differ, but not whether by as much as the %s "
                  "that would matter.",
                  core,
                  s->margin);
}

static const char *equivalent(const parts *s)
{
    const qx_difference *d = s->d;
    const double level = 1.0 - 2.0 * (1.0 - s->p->analysis.level);
    return qx_say(
        s->doc,
        "%s%s was alike %s and %s, as far as it matters: a difference as large as "
        "%s is ruled out (estimate %s%s, %s interval %s).",
        s->head,
        s->label,
        s->first,
        s->second,
        s->margin == NULL ? "the margin" : s->margin,
        amount(s, d->estimate),
        s->scale,
        qx_said(s->doc, qx_per_cent(s->doc->arena, level)),
        range(s, d->lower_equivalence, d->upper_equivalence));
}

/* Nothing to test with: an estimate that stands alone. */
static const char *untested(const parts *s)
{
    const qx_difference *d = s->d;
    return qx_say(
        s->doc,
        "%s%s: whether %s and %s differ cannot be tested with these data. The "
        "estimate of the difference is %s%s; how far it may be from the truth is "
        "not known. The notes say why.",
        s->head,
        s->label,
        qx_words_cell(s->doc, s->p, &d->first),
        qx_words_cell(s->doc, s->p, &d->second),
        amount(s, d->estimate),
        s->scale);
}

static const char *unsettled(const parts *s)
{
    const qx_difference *d = s->d;
    if (isnan(d->p) && isnan(d->lower)) {
        return untested(s);
    }
    const char *core = qx_say(
        s->doc,
        "%s%s: this trial does not settle whether %s and %s differ. The estimate of "
        "the difference is %s%s, and anything from %s agrees with the data (%s "
        "interval).",
        s->head,
        s->label,
        qx_words_cell(s->doc, s->p, &d->first),
        qx_words_cell(s->doc, s->p, &d->second),
        amount(s, d->estimate),
        s->scale,
        range(s, d->lower, d->upper),
        s->level);
    if (s->margin != NULL) {
        core = qx_say(s->doc, "%s A difference of %s would matter.", core, s->margin);
    }
    if (!isfinite(d->replicates_to_settle)) {
        return core;
    }
    const char *count = qx_rounded(s->doc->arena, ceil(d->replicates_to_settle), 0);
    return qx_say(s->doc,
                  "%s About %s %s of each would settle it (with 80\xc2\xa0%% power).",
                  core,
                  qx_said(s->doc, count),
                  d->replicate == NULL ? "replicates"
                                       : qx_words_plural(s->doc, d->replicate));
}

const char *qx_words_difference(qx_doc *doc,
                                const qx_protocol *p,
                                const qx_result *r,
                                const qx_difference *d)
{
    if (qx_result_counted(r) || r->class_count > 0) {
        return qx_words_response(doc, p, r, d);
    }
    parts s = {.doc = doc, .p = p, .r = r, .d = d, .head = ""};
    s.label = qx_words_label(doc, r);
    s.first = with_cell(doc, p, &d->first);
    s.second = with_cell(doc, p, &d->second);
    s.unit = transformed(r) ? "" : qx_words_unit(doc, r->unit);
    s.scale =
        transformed(r)
            ? qx_say(doc, " on the scale %s", qx_transform_word(r->definition->transform))
            : "";
    s.level = qx_said(doc, qx_per_cent(doc->arena, p->analysis.level));
    s.decimals = qx_decimals_for(d->se);
    s.margin = margin_text(&s);
    if (d->within.count > 0) {
        s.head = qx_say(doc, "%s: ", capital(doc, with_cell(doc, p, &d->within)));
    }
    if (isnan(d->estimate)) {
        return qx_say(doc,
                      "%s%s: the difference between %s and %s cannot be estimated from "
                      "these data.",
                      s.head,
                      s.label,
                      qx_words_cell(doc, p, &d->first),
                      qx_words_cell(doc, p, &d->second));
    }
    switch (d->verdict) {
    case QX_HIGHER:
    case QX_LOWER_VERDICT:
    case QX_TRIVIAL:
        return qx_say(doc, "%s%s", differs(&s), measured_means(&s));
    case QX_EQUIVALENT:
        return qx_say(doc, "%s%s", equivalent(&s), measured_means(&s));
    case QX_UNSETTLED:
        break;
    }
    return qx_say(doc, "%s%s", unsettled(&s), measured_means(&s));
}
