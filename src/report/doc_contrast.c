/* report/doc_contrast.c - planned contrasts with weights as sentences: they are the question
 * that the protocol asked. */
#include <math.h>
#include <string.h>

#include "report/doc_parts.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define WEIGHT_SLACK 1e-9

/* What one sentence is made of. */
typedef struct planned {
    qx_doc *doc;
    const qx_findings *f;
    const qx_result *r;
    const qx_contrast_line *c;
    const qx_contrast_def *def;
    const char *head;          /* "AA (planned): " */
    const char *above, *below; /* the levels with positive and negative weights */
    int decimals;
} planned;

/* "mown and sprayed", of the levels whose weights have this sign; weights that are not alike
 * are given. */
static const char *side(const planned *s, double sign)
{
    const qx_protocol *p = s->f->protocol;
    const bool season = s->def->of == QX_OF_SEASON;
    const size_t count =
        season ? p->seasons.level_count : p->treatment[s->def->of].level_count;
    const char *const *level = season ? p->seasons.level : p->treatment[s->def->of].level;
    const char *text = "";
    double first = 0.0;
    bool alike = true;
    for (size_t l = 0; l < count; l++) {
        const double weight = sign * s->def->weight[l];
        first = first == 0.0 && weight > 0.0 ? weight : first;
        alike = alike && (!(weight > 0.0) || fabs(weight - first) < WEIGHT_SLACK);
    }
    for (size_t l = 0; l < count; l++) {
        const double weight = sign * s->def->weight[l];
        if (!(weight > 0.0)) {
            continue;
        }
        const char *share =
            alike ? ""
                  : qx_say(s->doc,
                           "%s of ",
                           qx_said(s->doc, qx_short_number(s->doc->arena, weight, 2)));
        text = qx_say(s->doc,
                      "%s%s%s%s",
                      text,
                      text[0] == '\0' ? "" : " and ",
                      share,
                      qx_words_level(s->doc, p, s->c->of, level[l]));
    }
    return text;
}

static const char *number(const planned *s, double x)
{
    return qx_said(s->doc, qx_rounded(s->doc->arena, x, s->decimals));
}

static const char *level_text(const planned *s)
{
    return qx_said(s->doc, qx_per_cent(s->doc->arena, s->f->protocol->analysis.level));
}

static const char *p_text(const planned *s)
{
    return qx_say(s->doc,
                  "P %s%s",
                  qx_contrast_p(s->c) < 0.001 ? "" : "= ",
                  qx_said(s->doc, qx_p_value(s->doc->arena, qx_contrast_p(s->c))));
}

static const char *margin_text(const planned *s)
{
    return qx_say(s->doc,
                  "%s%s",
                  qx_said(s->doc, qx_plain_number(s->doc->arena, s->c->margin)),
                  qx_words_difference_scale(s->doc, s->r));
}

/* What the margin makes of it, or "". */
static const char *judged(const planned *s)
{
    if (isnan(s->c->margin)) {
        return "";
    }
    switch (s->c->verdict) {
    case QX_HIGHER:
    case QX_LOWER_VERDICT:
        return qx_say(s->doc,
                      s->c->beyond_margin
                          ? " That is more than the %s that would matter."
                          : " It is shown that they differ, but not whether by as much "
                            "as the %s that would matter.",
                      margin_text(s));
    case QX_TRIVIAL:
        return qx_say(s->doc,
                      " The difference is real, but smaller than the %s that would "
                      "matter.",
                      margin_text(s));
    case QX_EQUIVALENT:
        return qx_say(
            s->doc, " A difference as large as %s is ruled out.", margin_text(s));
    case QX_UNSETTLED:
    case QX_CANNOT_TELL:
        break;
    }
    return qx_say(s->doc, " A difference of %s would matter.", margin_text(s));
}

/* Differences of logarithms and logits are ratios. */
static const char *as_ratio(const planned *s)
{
    const bool log_ = strcmp(s->r->link, "log") == 0;
    if (!log_ && strcmp(s->r->link, "logit") != 0) {
        return "";
    }
    return qx_say(s->doc,
                  "; %s %s times (%s to %s)",
                  log_ ? "as a ratio" : "as a ratio of odds",
                  qx_said(s->doc, qx_short_number(s->doc->arena, exp(s->c->estimate), 3)),
                  qx_said(s->doc, qx_short_number(s->doc->arena, exp(s->c->lower), 3)),
                  qx_said(s->doc, qx_short_number(s->doc->arena, exp(s->c->upper), 3)));
}

/* A mean against a mean. */
static const char *against(const planned *s, bool shown)
{
    const bool up = s->c->estimate > 0.0;
    const char *label = qx_words_label(s->doc, s->r);
    const char *size = qx_say(s->doc,
                              "%s%s (%s interval %s to %s, %s%s)",
                              number(s, s->c->estimate),
                              qx_words_model_scale(s->doc, s->r),
                              level_text(s),
                              number(s, s->c->lower),
                              number(s, s->c->upper),
                              p_text(s),
                              as_ratio(s));
    if (shown) {
        return qx_say(s->doc,
                      "%s%s was %s with %s %s than with %s: the difference is %s.%s",
                      s->head,
                      label,
                      up ? "higher" : "lower",
                      s->c->of,
                      s->above,
                      s->below,
                      size,
                      judged(s));
    }
    return qx_say(
        s->doc,
        s->c->verdict == QX_EQUIVALENT
            ? "%s%s was alike with %s %s and with %s, as far as it matters: the "
              "difference is %s.%s"
            : "%sthis trial does not settle whether %s differs between %s %s "
              "and %s: the difference is %s.%s",
        s->head,
        label,
        s->c->of,
        s->above,
        s->below,
        size,
        judged(s));
}

/* Weights of another kind: the number that was asked for. */
static const char *weighted(const planned *s, bool shown)
{
    return qx_say(s->doc,
                  "%s%s, %s: the weighted sum over the levels of %s is %s%s (%s interval "
                  "%s to %s, %s).",
                  s->head,
                  qx_words_label(s->doc, s->r),
                  shown ? "shown to differ from nought" : "not settled",
                  s->c->of,
                  number(s, s->c->estimate),
                  qx_words_model_scale(s->doc, s->r),
                  level_text(s),
                  number(s, s->c->lower),
                  number(s, s->c->upper),
                  p_text(s));
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

static void one(planned *s)
{
    const qx_difference as_told = {.estimate = s->c->estimate, .verdict = s->c->verdict};
    const bool shown = s->c->verdict == QX_HIGHER || s->c->verdict == QX_LOWER_VERDICT ||
                       s->c->verdict == QX_TRIVIAL;
    s->head = qx_say(s->doc, "%s (planned): ", s->c->name);
    s->above = side(s, 1.0);
    s->below = side(s, -1.0);
    s->decimals = qx_decimals_for(s->c->se);
    if (isnan(qx_contrast_p(s->c))) {
        qx_doc_add(s->doc,
                   QX_NODE_NOTE,
                   qx_say(s->doc,
                          "The planned contrast %s of %s cannot be tested with these "
                          "data.",
                          s->c->name,
                          s->c->of));
        return;
    }
    qx_doc_finding(s->doc,
                   qx_words_verdict(&as_told),
                   s->c->compares ? against(s, shown) : weighted(s, shown));
}

void qx_doc_planned(qx_doc *doc,
                    const qx_findings *f,
                    const qx_result *r,
                    const char *factor)
{
    for (size_t i = 0; i < r->contrast_count; i++) {
        const qx_contrast_line *c = &r->contrast[i];
        const qx_contrast_def *def = definition(f, c->name);
        if (def != NULL && def->trend == QX_TREND_NONE && strcmp(c->of, factor) == 0) {
            planned s = {.doc = doc, .f = f, .r = r, .c = c, .def = def};
            one(&s);
        }
    }
}
