/* report/words_difference.c - the sentence of one difference of continuous values; on a
 * logarithmic scale as so many times as much. */
#include <math.h>

#include "report/pairs.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"
#include "report/words_response.h"

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

/* "Trunk growth", "Trunk growth with time winter" */
static const char *topic(const parts *s)
{
    return qx_words_topic(s->doc, s->p, s->r, s->d);
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
    return qx_say(s->doc,
                  "%s%s",
                  qx_said(s->doc, qx_range(s->doc->arena, low, high, s->decimals)),
                  s->unit);
}

/* How many times as much a difference of logarithms is; NAN on other scales. */
static double as_factor(const parts *s, double difference)
{
    switch (qx_result_transformed(s->r) ? s->r->definition->transform
                                        : QX_TRANSFORM_NONE) {
    case QX_TRANSFORM_LOG:
        return exp(difference);
    case QX_TRANSFORM_LOG10:
        return pow(10.0, difference);
    case QX_TRANSFORM_NONE:
    case QX_TRANSFORM_LOG10_1:
    case QX_TRANSFORM_SQRT:
    case QX_TRANSFORM_SQRT_HALF:
    case QX_TRANSFORM_ARCSINE:
        break;
    }
    return NAN;
}

/* "8 cm"; on another scale "10 g that would matter" with what stands for it there. */
static const char *margin_text(const parts *s)
{
    const double m = s->d->margin;
    if (isnan(m)) {
        return NULL;
    }
    if (!qx_result_transformed(s->r)) {
        return qx_say(
            s->doc, "%s%s", qx_said(s->doc, qx_plain_number(s->doc->arena, m)), s->unit);
    }
    const char *given =
        qx_say(s->doc,
               "%s%s",
               qx_said(s->doc, qx_plain_number(s->doc->arena, s->r->definition->margin)),
               qx_words_unit(s->doc, s->r->unit));
    const double factor = as_factor(s, m);
    return isnan(factor)
               ? qx_say(s->doc,
                        "%s (%s%s)",
                        given,
                        qx_said(s->doc, qx_short_number(s->doc->arena, m, 3)),
                        s->scale)
               : qx_say(s->doc,
                        "%s (a factor of %s)",
                        given,
                        qx_said(s->doc, qx_short_number(s->doc->arena, factor, 3)));
}

/* The factor that stands for a difference, without limits. */
static const char *times(const parts *s, double ratio)
{
    return qx_words_times(s->doc, "much", (qx_back){ratio, NAN, NAN}, "");
}

/* A difference with its limits: "22.6 cm (95 % interval 18.9 to 26.3 cm)"; of logarithms
 * "2.7 times as much (95 % interval 1.5 to 4.9 times)". */
static const char *difference_text(
    const parts *s, double estimate, double low, double high, const char *level)
{
    const qx_back ratio = {as_factor(s, estimate), as_factor(s, low), as_factor(s, high)};
    const char *interval = qx_say(s->doc, "%s interval ", level);
    return isnan(ratio.estimate) ? qx_say(s->doc,
                                          "%s%s (%s%s)",
                                          amount(s, estimate),
                                          s->scale,
                                          interval,
                                          range(s, low, high))
                                 : qx_words_times(s->doc, "much", ratio, interval);
}

/* What a difference on another scale means in the unit that was measured: "54.7 against
 * 20.2 g"; "" where it is that unit, or not known. */
static const char *measured_means(const parts *s)
{
    const qx_mean *a = qx_mean_of_pair(s->r, s->d, &s->d->first);
    const qx_mean *b = qx_mean_of_pair(s->r, s->d, &s->d->second);
    if (a == NULL || b == NULL || isnan(a->back.estimate) || isnan(b->back.estimate)) {
        return "";
    }
    return qx_say(s->doc,
                  "%s against %s%s",
                  qx_said(s->doc, qx_short_number(s->doc->arena, a->back.estimate, 3)),
                  qx_said(s->doc, qx_short_number(s->doc->arena, b->back.estimate, 3)),
                  qx_words_unit(s->doc, s->r->unit));
}

static const char *differs(const parts *s)
{
    const qx_difference *d = s->d;
    const bool up = d->estimate > 0.0, ratio = !isnan(as_factor(s, 0.0));
    const bool turned = !up && !ratio; /* "lower by 3"; a ratio says it itself */
    const char *means = measured_means(s);
    const char *core = qx_say(s->doc,
                              "%s%s was %s %s than %s: %s%s%s%s.",
                              s->head,
                              s->label,
                              up ? "higher" : "lower",
                              s->first,
                              s->second,
                              means,
                              means[0] == '\0' ? "" : ", ",
                              ratio ? "" : "by ",
                              difference_text(s,
                                              turned ? -d->estimate : d->estimate,
                                              turned ? -d->upper : d->lower,
                                              turned ? -d->lower : d->upper,
                                              s->level));
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
    const char *means = measured_means(s);
    return qx_say(s->doc,
                  "%s%s was alike %s and %s, as far as it matters: a difference as large "
                  "as %s is ruled out. The estimate is %s%s%s.",
                  s->head,
                  s->label,
                  s->first,
                  s->second,
                  s->margin == NULL ? "the margin" : s->margin,
                  means,
                  means[0] == '\0' ? "" : ", ",
                  difference_text(s,
                                  d->estimate,
                                  d->lower_equivalence,
                                  d->upper_equivalence,
                                  qx_said(s->doc, qx_per_cent(s->doc->arena, level))));
}

static const char *unsettled(const parts *s)
{
    const qx_difference *d = s->d;
    const char *means = measured_means(s);
    const double ratio = as_factor(s, d->estimate);
    const char *core = qx_say(
        s->doc,
        "%s: this trial does not settle whether %s and %s differ. The %s %s%s%s, and "
        "anything from %s agrees with the data (%s interval).",
        topic(s),
        qx_words_subject(s->doc, s->p, &d->first),
        qx_words_subject(s->doc, s->p, &d->second),
        means[0] == '\0' ? "estimate of the difference is" : "means are",
        means,
        means[0] == '\0' ? "" : ", ",
        isnan(ratio) ? qx_say(s->doc, "%s%s", amount(s, d->estimate), s->scale)
                     : times(s, ratio),
        isnan(ratio) ? range(s, d->lower, d->upper)
                     : qx_say(s->doc,
                              "%s times",
                              qx_said(s->doc,
                                      qx_short_range(s->doc->arena,
                                                     as_factor(s, d->lower),
                                                     as_factor(s, d->upper),
                                                     2))),
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

static const char *cannot_tell(const parts *s)
{
    const qx_difference *d = s->d;
    const double ratio = as_factor(s, d->estimate);
    const bool up = d->estimate > 0.0;
    if (isnan(d->estimate)) {
        return qx_say(s->doc,
                      "%s: whether %s and %s differ cannot be told%s",
                      topic(s),
                      qx_words_subject(s->doc, s->p, &d->first),
                      qx_words_subject(s->doc, s->p, &d->second),
                      qx_words_why_not(s->doc, d));
    }
    const char *by =
        qx_say(s->doc,
               "%s%s %s",
               qx_said(s->doc, qx_short_number(s->doc->arena, fabs(d->estimate), 3)),
               qx_result_transformed(s->r) ? s->scale : s->unit,
               up ? "higher" : "lower");
    return qx_say(
        s->doc,
        "%s%s was %s %s than %s in these data, but whether that is more than "
        "chance cannot be told%s",
        s->head,
        s->label,
        isnan(ratio)
            ? by
            : qx_say(s->doc, "%s (%s)", up ? "higher" : "lower", times(s, ratio)),
        s->first,
        s->second,
        qx_words_why_not(s->doc, d));
}

const char *qx_words_difference(qx_doc *doc,
                                const qx_protocol *p,
                                const qx_result *r,
                                const qx_difference *d)
{
    if (qx_result_counted(r) || r->class_count > 0) {
        return qx_words_response(doc, p, r, d);
    }
    parts s = {.doc = doc, .p = p, .r = r, .d = d};
    s.head = qx_words_head(doc, p, d);
    s.label = qx_words_label(doc, r);
    s.first = qx_words_with(doc, p, &d->first);
    s.second = qx_words_with(doc, p, &d->second);
    s.unit = qx_result_transformed(r) ? "" : qx_words_unit(doc, r->unit);
    s.scale =
        qx_result_transformed(r)
            ? qx_say(doc, " on the scale %s", qx_transform_word(r->definition->transform))
            : "";
    s.level = qx_said(doc, qx_per_cent(doc->arena, p->analysis.level));
    s.decimals = qx_decimals_for(d->se);
    s.margin = margin_text(&s);
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
    return cannot_tell(&s);
}
