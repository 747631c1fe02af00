/* report/doc_against.c - a factorial with an added control: the control against the rest as a
 * sentence of the answer. */
#include <math.h>
#include <string.h>

#include "report/doc_parts.h"
#include "report/parts.h"
#include "report/rounding.h"
#include "report/words.h"

static const qx_contrast_line *find_against(const qx_result *r)
{
    for (size_t i = r->contrast_count; i-- > 0;) {
        if (strcmp(r->contrast[i].name, QX_AGAINST_REST) == 0) {
            return &r->contrast[i];
        }
    }
    return NULL;
}

static const char *sentence(qx_doc *doc,
                            const qx_findings *f,
                            const qx_result *r,
                            const qx_contrast_line *c,
                            const char *control)
{
    const double scale = qx_result_scale(r);
    const double half = scale * qx_contrast_half(f, c);
    const double by = scale * c->estimate;
    const int decimals = qx_decimals_for(scale * c->se);
    const char *label = qx_words_label(doc, r);
    const bool higher = by > 0.0;
    const double low = (higher ? by : -by) - half;
    if (c->p < 1.0 - f->protocol->analysis.level) {
        return qx_say(doc,
                      "%s was %s with the control (%s) than on average with the other "
                      "combinations: by %s%s (%s interval %s to %s).",
                      label,
                      higher ? "higher" : "lower",
                      control,
                      qx_said(doc, qx_rounded(doc->arena, fabs(by), decimals)),
                      qx_words_scale(doc, r),
                      qx_said(doc, qx_per_cent(doc->arena, f->protocol->analysis.level)),
                      qx_said(doc, qx_rounded(doc->arena, low, decimals)),
                      qx_said(doc, qx_rounded(doc->arena, low + 2.0 * half, decimals)));
    }
    if (isnan(c->p)) {
        return qx_say(
            doc,
            "%s: whether the control (%s) differs from the average of the other "
            "combinations cannot be tested with these data. The notes say why.",
            label,
            control);
    }
    return qx_say(
        doc,
        "%s: this trial does not settle whether the control (%s) differs from the "
        "average "
        "of the other combinations. The estimate of the difference is %s%s, and anything "
        "from %s to %s agrees with the data (%s interval).",
        label,
        control,
        qx_said(doc, qx_rounded(doc->arena, by, decimals)),
        qx_words_scale(doc, r),
        qx_said(doc, qx_rounded(doc->arena, by - half, decimals)),
        qx_said(doc, qx_rounded(doc->arena, by + half, decimals)),
        qx_said(doc, qx_per_cent(doc->arena, f->protocol->analysis.level)));
}

bool qx_doc_against(qx_doc *doc,
                    const qx_findings *f,
                    const qx_result *r,
                    const char *term)
{
    const qx_contrast_line *c = find_against(r);
    size_t first;
    if (c == NULL || strcmp(term, QX_ADDED_CONTROL) != 0 ||
        qx_result_means(r, term, &first) == 0) {
        return false;
    }
    qx_doc_heading(doc, 4, NULL, "Control against the rest");
    if (isnan(c->estimate) || isnan(c->p)) {
        qx_doc_finding(doc,
                       "not estimable",
                       qx_say(doc,
                              "%s: the difference between the control and the rest "
                              "cannot be estimated from these data.",
                              qx_words_label(doc, r)));
        return true;
    }
    const bool shown = c->p < 1.0 - f->protocol->analysis.level;
    qx_doc_finding(
        doc,
        shown ? (c->estimate > 0.0 ? "higher" : "lower") : "unsettled",
        sentence(doc, f, r, c, qx_words_levels(doc, f->protocol, &r->mean[first].cell)));
    return true;
}
