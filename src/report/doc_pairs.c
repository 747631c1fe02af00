/* report/doc_pairs.c - the pairs of one treatment as sentences: strongest first, many of them
 * counted, those that cannot be told by reason. */
#include "report/doc_pairs.h"

#include <math.h>
#include <string.h>

#include "report/pairs.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

#define SENTENCES_MOST 12 /* of one treatment; more are counted instead */
#define SENTENCES_KEPT 6
#define PAIRS_NAMED    6 /* without a verdict, in one sentence */
#define REASONS_MOST   4

int qx_pair_strength(const qx_result *r, const qx_difference *d)
{
    switch (qx_pair_verdict(r, d)) {
    case QX_HIGHER:
    case QX_LOWER_VERDICT:
        return d->beyond_margin ? 5 : 4;
    case QX_TRIVIAL:
        return 3;
    case QX_EQUIVALENT:
        return 2;
    case QX_UNSETTLED:
        return 1;
    case QX_CANNOT_TELL:
        break;
    }
    return 0;
}

static bool before(const qx_result *r, const qx_difference *a, const qx_difference *b)
{
    if (qx_pair_strength(r, a) != qx_pair_strength(r, b)) {
        return qx_pair_strength(r, a) > qx_pair_strength(r, b);
    }
    return fabs(a->value) > fabs(b->value);
}

const qx_difference **qx_pairs_strongest(qx_doc *doc,
                                         const qx_result *r,
                                         const qx_difference from[],
                                         size_t all,
                                         const char *factor,
                                         size_t *count)
{
    const qx_difference **list = qx_arena_alloc(doc->arena, all, sizeof *list);
    *count = 0;
    if (list == NULL) {
        doc->failed = true;
        return NULL;
    }
    for (size_t i = 0; i < all; i++) {
        if (strcmp(from[i].term, factor) != 0 || !qx_pair_speaks(r, &from[i])) {
            continue;
        }
        size_t at = (*count)++;
        while (at > 0 && before(r, &from[i], list[at - 1])) {
            list[at] = list[at - 1];
            at--;
        }
        list[at] = &from[i];
    }
    return list;
}

static const char *
counted(qx_doc *doc, const qx_result *r, const qx_difference *list[], size_t count)
{
    size_t of[6] = {0};
    const char *text = "";
    static const char *const words[] = {"cannot be told",
                                        "are unsettled",
                                        "are equivalent",
                                        "differ by too little to matter",
                                        "differ",
                                        "differ by more than the margin"};
    for (size_t i = 0; i < count; i++) {
        of[qx_pair_strength(r, list[i])]++;
    }
    for (size_t k = 6; k-- > 0;) {
        if (of[k] > 0) {
            text = qx_say(
                doc, "%s%s%zu %s", text, text[0] == '\0' ? "" : ", ", of[k], words[k]);
        }
    }
    return text;
}

/* "angle 60° and 30° with pinch early, 2.7 cm more" */
static const char *
pair_words(qx_doc *doc, const qx_findings *f, const qx_result *r, const qx_difference *d)
{
    const qx_protocol *p = f->protocol;
    const char *seen = "";
    if (!isnan(d->estimate) && d->class_ == NULL) {
        const double by = qx_result_scale(r) * d->estimate;
        seen = qx_say(doc,
                      ", %s%s %s",
                      qx_said(doc, qx_short_number(doc->arena, fabs(by), 3)),
                      qx_words_difference_scale(doc, r),
                      by < 0.0 ? "less" : "more");
    }
    return qx_say(doc,
                  "%s and %s%s%s%s",
                  qx_words_cell(doc, p, &d->first),
                  qx_words_levels(doc, p, &d->second),
                  d->within.count > 0 ? " " : "",
                  d->within.count > 0 ? qx_words_with(doc, p, &d->within) : "",
                  seen);
}

static bool same_reason(const qx_difference *a, const qx_difference *b)
{
    return a->why_not != NULL && b->why_not != NULL &&
           strcmp(a->why_not, b->why_not) == 0;
}

/* The pairs from i on that share its reason, as a list; each is taken off (NULL). */
static const char *alike_from(qx_doc *doc,
                              const qx_findings *f,
                              const qx_result *r,
                              const qx_difference *list[],
                              size_t i,
                              size_t count,
                              size_t *alike)
{
    const qx_difference *d = list[i];
    const char *pairs = "";
    *alike = 0;
    for (size_t k = i; k < count; k++) {
        if (list[k] == NULL || (k > i && !same_reason(d, list[k]))) {
            continue;
        }
        if ((*alike)++ < PAIRS_NAMED) {
            pairs = qx_say(doc,
                           "%s%s%s",
                           pairs,
                           pairs[0] == '\0' ? "" : "; ",
                           pair_words(doc, f, r, list[k]));
        }
        list[k] = NULL;
    }
    return *alike <= PAIRS_NAMED
               ? pairs
               : qx_say(doc, "%s and %zu more pairs", pairs, *alike - PAIRS_NAMED);
}

/* Pairs without a verdict for the same reason share a sentence; `list` holds them alone and is
 * used up. */
static void reasons(qx_doc *doc,
                    const qx_findings *f,
                    const qx_result *r,
                    const qx_difference *list[],
                    size_t count)
{
    size_t told = 0;
    for (size_t i = 0; i < count; i++) {
        const qx_difference *d = list[i];
        size_t alike;
        if (d == NULL) {
            continue;
        }
        const char *pairs = alike_from(doc, f, r, list, i, count, &alike);
        if (told++ >= REASONS_MOST) {
            continue;
        }
        qx_doc_finding(doc,
                       qx_pair_word(r, d),
                       alike == 1
                           ? qx_words_difference(doc, f->protocol, r, d)
                           : qx_say(doc,
                                    "%s: whether these differ%s cannot be told (%s)%s",
                                    qx_words_label(doc, r),
                                    isnan(d->estimate) ? "" : " by more than chance",
                                    pairs,
                                    qx_words_why_not(doc, d)));
    }
    if (told > REASONS_MOST) {
        qx_doc_add(
            doc,
            QX_NODE_PARAGRAPH,
            qx_say(doc,
                   "Other pairs cannot be told either, for %zu more reasons of the "
                   "same kind.",
                   told - REASONS_MOST));
    }
}

size_t qx_pairs_known(const qx_result *r, const qx_difference *const list[], size_t count)
{
    size_t known = 0;
    while (known < count && qx_pair_strength(r, list[known]) > 0) {
        known++;
    }
    return known;
}

void qx_doc_pairs(qx_doc *doc,
                  const qx_findings *f,
                  const qx_result *r,
                  const qx_difference *list[],
                  size_t count)
{
    const size_t known = qx_pairs_known(r, list, count);
    size_t told = known;
    /* Inside levels every pair comes once for each of them. */
    const bool inside = count > 0 && list[0]->within.count > 0;
    if (known > (inside ? SENTENCES_KEPT : SENTENCES_MOST)) {
        told = SENTENCES_KEPT;
        qx_doc_add(doc,
                   QX_NODE_PARAGRAPH,
                   qx_say(doc,
                          "Of %zu pairs%s, %s. The strongest %d are told here, the rest "
                          "stand in the tables of differences:",
                          count,
                          inside ? " inside the levels" : "",
                          counted(doc, r, list, count),
                          SENTENCES_KEPT));
    }
    for (size_t i = 0; i < told; i++) {
        qx_doc_finding(doc,
                       qx_pair_word(r, list[i]),
                       qx_words_difference(doc, f->protocol, r, list[i]));
    }
    reasons(doc, f, r, list + known, count - known);
}
