#include "report/words_response.h"

#include <math.h>
#include <string.h>

#include "report/pairs.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

/* ---- what sentences are made of --------------------------------------------------------- */

typedef struct parts {
    qx_doc *doc;
    const qx_protocol *p;
    const qx_result *r;
    const qx_difference *d;
    const char *head;           /* "With pinch early: " or "" */
    const char *label;          /* of the variate */
    const char *first, *second; /* "with angle 90°" */
    const char *level;          /* "95 %" */
    double scale;               /* 100 for shares */
} parts;

/* "Trunk growth", "Trunk growth with time winter" */
static const char *topic(const parts *s)
{
    return qx_words_topic(s->doc, s->p, s->r, s->d);
}

static const char *rounded(const parts *s, double x, int decimals)
{
    return qx_said(s->doc, qx_rounded(s->doc->arena, x, decimals));
}

/* A share as so many of 100: whole unless nearly none or nearly all. */
static const char *of_100(const parts *s, double share)
{
    const double x = 100.0 * share;
    return rounded(s, x, x >= 1.5 && x <= 98.5 ? 0 : 1);
}

/* A count for each thing: two digits are enough for a sentence. */
static const char *count_text(const parts *s, double x)
{
    const int decimals = fabs(x) >= 9.95 ? 0 : fabs(x) >= 0.095 ? 1 : 2;
    return rounded(s, x, decimals);
}

/* "about 81 of 100 buds with score cut against 6 with score none"; "" when unknown. */
static const char *both_means(const parts *s)
{
    const qx_variate *v = s->r->definition;
    double a, b;
    if (!qx_pair_means(s->r, s->d, &a, &b)) {
        return "";
    }
    if (v->kind == QX_PROPORTION) {
        return qx_say(s->doc,
                      "about %s of 100%s%s %s against %s %s",
                      of_100(s, a),
                      v->of[0] == '\0' ? "" : " ",
                      v->of,
                      s->first,
                      of_100(s, b),
                      s->second);
    }
    return qx_say(s->doc,
                  "about %s for each %s %s against %s %s",
                  count_text(s, a),
                  s->p->unit[v->on].name,
                  s->first,
                  count_text(s, b),
                  s->second);
}

/* "75.7 points", "5.9" */
static const char *amount(const parts *s, double x)
{
    const int decimals = qx_decimals_for(s->scale * s->d->se);
    return qx_say(s->doc,
                  "%s%s",
                  rounded(s, s->scale * x, decimals),
                  s->scale > 1.0 ? " points" : "");
}

static const char *range(const parts *s, double low, double high)
{
    const int decimals = qx_decimals_for(s->scale * s->d->se);
    return qx_said(s->doc,
                   qx_range(s->doc->arena, s->scale * low, s->scale * high, decimals));
}

/* "10 points", or NULL without a margin. */
static const char *margin_text(const parts *s)
{
    if (isnan(s->d->margin)) {
        return NULL;
    }
    return qx_say(s->doc,
                  "%s%s",
                  qx_said(s->doc,
                          qx_plain_number(s->doc->arena,
                                          round(1e6 * s->scale * s->d->margin) / 1e6)),
                  s->scale > 1.0 ? " points" : "");
}

static const char *ratio_text(const parts *s)
{
    const qx_back q = s->d->ratio;
    if (!(q.estimate > 0.0) || isnan(q.lower)) {
        return "";
    }
    return qx_say(s->doc, " That is %s.", qx_words_times(s->doc, "many", q, ""));
}

static const char *settle_text(const parts *s, double replicates)
{
    if (!isfinite(replicates)) {
        return "";
    }
    return qx_say(s->doc,
                  " About %s %s of each would settle it (with 80\xc2\xa0%% power).",
                  rounded(s, ceil(replicates), 0),
                  s->d->replicate == NULL ? "replicates"
                                          : qx_words_plural(s->doc, s->d->replicate));
}

/* What the margin makes of a difference that was shown. */
static const char *judged(const parts *s, qx_verdict verdict, bool beyond)
{
    const char *margin = margin_text(s);
    if (margin == NULL) {
        return "";
    }
    if (verdict == QX_TRIVIAL) {
        return qx_say(s->doc,
                      " The difference is real, but smaller than the %s that would "
                      "matter.",
                      margin);
    }
    return beyond ? qx_say(s->doc, " That is more than the %s that would matter.", margin)
                  : qx_say(s->doc,
                           " It is shown that they differ, but not whether by as much as "
                           "the %s that would matter.",
                           margin);
}

/* ---- counts and shares ------------------------------------------------------------------ */

static const char *differs(const parts *s)
{
    const qx_difference *d = s->d;
    const bool up = d->estimate > 0.0;
    const char *means = both_means(s);
    const char *size = range(s, up ? d->lower : -d->upper, up ? d->upper : -d->lower);
    const char *core = means[0] == '\0' ? qx_say(s->doc,
                                                 "%s: %s %s %s than %s (%s interval %s).",
                                                 topic(s),
                                                 amount(s, fabs(d->estimate)),
                                                 up ? "more" : "fewer",
                                                 s->first,
                                                 s->second,
                                                 s->level,
                                                 size)
                                        : qx_say(s->doc,
                                                 "%s: %s, %s %s (%s interval %s).",
                                                 topic(s),
                                                 means,
                                                 amount(s, fabs(d->estimate)),
                                                 up ? "more" : "fewer",
                                                 s->level,
                                                 size);
    return qx_say(
        s->doc, "%s%s%s", core, ratio_text(s), judged(s, d->verdict, d->beyond_margin));
}

static const char *equivalent(const parts *s)
{
    const qx_difference *d = s->d;
    const char *margin = margin_text(s), *means = both_means(s);
    const double level = 1.0 - 2.0 * (1.0 - s->p->analysis.level);
    return qx_say(s->doc,
                  "%s%s was alike %s and %s, as far as it matters%s%s: a difference as "
                  "large as %s is ruled out (estimate %s, %s interval %s).%s",
                  s->head,
                  s->label,
                  s->first,
                  s->second,
                  means[0] == '\0' ? "" : "; ",
                  means,
                  margin == NULL ? "the margin" : margin,
                  amount(s, d->estimate),
                  qx_said(s->doc, qx_per_cent(s->doc->arena, level)),
                  range(s, d->lower_equivalence, d->upper_equivalence),
                  ratio_text(s));
}

static const char *unsettled(const parts *s)
{
    const qx_difference *d = s->d;
    const char *margin = margin_text(s), *means = both_means(s);
    const char *core = qx_say(
        s->doc,
        "%s: this trial does not settle whether %s and %s differ. %s%s%s difference is "
        "%s, and anything from %s agrees with the data (%s interval).",
        topic(s),
        qx_words_subject(s->doc, s->p, &d->first),
        qx_words_subject(s->doc, s->p, &d->second),
        means[0] == '\0' ? "" : "It was ",
        means,
        means[0] == '\0' ? "The" : "; the",
        amount(s, d->estimate),
        range(s, d->lower, d->upper),
        s->level);
    core = qx_say(s->doc, "%s%s", core, ratio_text(s));
    if (margin != NULL) {
        core = qx_say(s->doc, "%s A difference of %s would matter.", core, margin);
    }
    return qx_say(s->doc, "%s%s", core, settle_text(s, d->replicates_to_settle));
}

/* `means`: what was seen, or "". */
static const char *cannot_tell(const parts *s, const char *means)
{
    return qx_say(s->doc,
                  "%s: whether %s and %s differ%s cannot be told%s%s%s",
                  topic(s),
                  qx_words_subject(s->doc, s->p, &s->d->first),
                  qx_words_subject(s->doc, s->p, &s->d->second),
                  isnan(s->d->estimate) ? "" : " by more than chance",
                  means[0] == '\0' ? "" : ", though in these data it was ",
                  means,
                  qx_words_why_not(s->doc, s->d));
}

/* ---- grades and classes ----------------------------------------------------------------- */

/* "strong 45 of 100 against 20, fair 40 against 50, weak 15 against 30": from the last grade
 * down, classes as they are listed. */
static const char *all_classes(const parts *s)
{
    const char *text = "";
    const size_t count = s->r->class_count;
    for (size_t k = 0; k < count; k++) {
        const size_t number = qx_classes_ordered(s->r) ? count - 1 - k : k;
        const qx_difference *e = qx_pair_in_class(s->r, s->d, number);
        double a, b;
        if (e == NULL || !qx_pair_means(s->r, e, &a, &b)) {
            return "";
        }
        text = qx_say(s->doc,
                      "%s%s%s %s%s against %s",
                      text,
                      k == 0 ? "" : ", ",
                      s->r->class_name[number],
                      of_100(s, a),
                      k == 0 ? " of 100" : "",
                      of_100(s, b));
    }
    return text;
}

/* The worst class of a pair: what would settle all of them; is any beyond the margin? */
static void over_classes(const parts *s, double *replicates, bool *beyond)
{
    *replicates = NAN;
    *beyond = false;
    for (size_t c = 0; c < s->r->class_count; c++) {
        const qx_difference *e = qx_pair_in_class(s->r, s->d, c);
        if (e != NULL) {
            *replicates = fmax(*replicates, e->replicates_to_settle);
            *beyond = *beyond || e->beyond_margin;
        }
    }
}

static const char *graded(const parts *s, bool up)
{
    const char *shares = all_classes(s);
    return qx_say(s->doc,
                  "%s%s was %s %s than %s%s%s.",
                  s->head,
                  s->label,
                  up ? "graded higher" : "graded lower",
                  s->first,
                  s->second,
                  shares[0] == '\0' ? "" : ": ",
                  shares);
}

static const char *sorted_otherwise(const parts *s)
{
    const char *shares = all_classes(s);
    return qx_say(s->doc,
                  "%s%s was not the same %s and %s%s%s.",
                  s->head,
                  s->label,
                  s->first,
                  s->second,
                  shares[0] == '\0' ? "" : ": ",
                  shares);
}

static const char *classes_sentence(const parts *s)
{
    const qx_verdict verdict = qx_pair_verdict(s->r, s->d);
    const char *shares = all_classes(s), *margin = margin_text(s);
    double replicates;
    bool beyond;
    over_classes(s, &replicates, &beyond);
    switch (verdict) {
    case QX_HIGHER:
    case QX_LOWER_VERDICT:
    case QX_TRIVIAL:
        return qx_say(s->doc,
                      "%s%s",
                      qx_classes_ordered(s->r) ? graded(s, s->d->link_estimate > 0.0)
                                               : sorted_otherwise(s),
                      judged(s, verdict, beyond));
    case QX_EQUIVALENT:
        return qx_say(s->doc,
                      "%s%s was alike %s and %s, as far as it matters (%s): for no class "
                      "a difference as large as %s is left open.",
                      s->head,
                      s->label,
                      s->first,
                      s->second,
                      shares,
                      margin == NULL ? "the margin" : margin);
    case QX_CANNOT_TELL:
        return cannot_tell(s, shares);
    case QX_UNSETTLED:
        break;
    }
    return qx_say(s->doc,
                  "%s: this trial does not settle whether %s and %s differ%s%s.%s",
                  topic(s),
                  qx_words_subject(s->doc, s->p, &s->d->first),
                  qx_words_subject(s->doc, s->p, &s->d->second),
                  shares[0] == '\0' ? "" : "; it was ",
                  shares,
                  settle_text(s, replicates));
}

const char *qx_words_response(qx_doc *doc,
                              const qx_protocol *p,
                              const qx_result *r,
                              const qx_difference *d)
{
    parts s = {.doc = doc, .p = p, .r = r, .d = d};
    s.head = qx_words_head(doc, p, d);
    s.label = qx_words_label(doc, r);
    s.first = qx_words_with(doc, p, &d->first);
    s.second = qx_words_with(doc, p, &d->second);
    s.level = qx_said(doc, qx_per_cent(doc->arena, p->analysis.level));
    s.scale = qx_result_scale(r);
    if (d->class_ != NULL) {
        return classes_sentence(&s);
    }
    switch (d->verdict) {
    case QX_HIGHER:
    case QX_LOWER_VERDICT:
    case QX_TRIVIAL:
        return differs(&s);
    case QX_EQUIVALENT:
        return equivalent(&s);
    case QX_UNSETTLED:
        return unsettled(&s);
    case QX_CANNOT_TELL:
        break;
    }
    return cannot_tell(&s, both_means(&s));
}
