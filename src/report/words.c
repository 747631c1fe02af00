#include "report/words.h"

#include <math.h>
#include <string.h>

#include "report/parts.h"
#include "report/rounding.h"

/* Ratios as near to 1 as this are "about as many". */
#define ALIKE 0.05

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
    if (qx_result_transformed(r)) {
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
        return "unsettled";
    case QX_CANNOT_TELL:
        break;
    }
    return "cannot be told";
}

const char *qx_words_with(qx_doc *doc, const qx_protocol *p, const qx_cell *cell)
{
    if (cell->count == 0) {
        return "on average with the other combinations";
    }
    const bool season = strcmp(cell->factor[0], "season") == 0 ||
                        strcmp(cell->factor[0], p->seasons.column) == 0;
    return qx_say(doc, "%s %s", season ? "in" : "with", qx_words_cell(doc, p, cell));
}

const char *qx_words_subject(qx_doc *doc, const qx_protocol *p, const qx_cell *cell)
{
    return cell->count == 0 ? "the average of the other combinations"
                            : qx_words_cell(doc, p, cell);
}

const char *qx_words_head(qx_doc *doc, const qx_protocol *p, const qx_difference *d)
{
    return d->within.count == 0
               ? ""
               : qx_say(doc, "%s: ", capital(doc, qx_words_with(doc, p, &d->within)));
}

const char *
qx_words_times(qx_doc *doc, const char *as, qx_back ratio_of, const char *interval)
{
    const double ratio = ratio_of.estimate, lower = ratio_of.lower;
    const double upper = ratio_of.upper;
    const bool less = ratio < 1.0 - ALIKE;
    const double scale = less ? 100.0 : 1.0;
    const char *limits = "";
    if (!isnan(lower) && !isnan(upper)) {
        limits = qx_say(
            doc,
            " (%s%s%s)",
            interval,
            qx_said(doc, qx_short_range(doc->arena, scale * lower, scale * upper, 2)),
            less ? "\xc2\xa0%" : " times");
    }
    if (fabs(ratio - 1.0) <= ALIKE) {
        return qx_say(doc, "about as %s%s", as, limits);
    }
    return qx_say(doc,
                  "%s%s as %s%s",
                  qx_said(doc, qx_short_number(doc->arena, scale * ratio, 2)),
                  less ? "\xc2\xa0%" : " times",
                  as,
                  limits);
}

const char *qx_words_why_not(qx_doc *doc, const qx_difference *d)
{
    const char *why = d->why_not == NULL ? "these data hold no test of it" : d->why_not;
    return d->mend == NULL ? qx_say(doc, ": %s.", why)
                           : qx_say(doc, ": %s. %s.", why, capital(doc, d->mend));
}

const char *qx_words_topic(qx_doc *doc,
                           const qx_protocol *p,
                           const qx_result *r,
                           const qx_difference *d)
{
    const char *label = qx_words_label(doc, r);
    return d->within.count == 0
               ? label
               : qx_say(doc, "%s %s", label, qx_words_with(doc, p, &d->within));
}
