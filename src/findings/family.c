#include "findings/family.h"

#include <math.h>
#include <string.h>

#include "findings/settle.h"
#include "findings/verdict.h"
#include "model/equivalence.h"

/* One family while it is worked on. */
typedef struct pairs {
    qx_adjust adjust;
    size_t count;
    size_t *first, *second; /* member numbers */
    qx_comparison *compared;
    qx_mat row; /* p x count */
} pairs;

static qx_adjust adjust_of(const qx_work *w, const qx_pair_family *family)
{
    static const qx_adjust adjust[] = {[QX_COMPARE_TUKEY] = QX_ADJUST_TUKEY,
                                       [QX_COMPARE_DUNNETT] = QX_ADJUST_DUNNETT,
                                       [QX_COMPARE_SIDAK] = QX_ADJUST_SIDAK,
                                       [QX_COMPARE_HOLM] = QX_ADJUST_HOLM,
                                       [QX_COMPARE_BONFERRONI] = QX_ADJUST_BONFERRONI,
                                       [QX_COMPARE_NONE] = QX_ADJUST_NONE};
    const qx_compare_choice choice = w->protocol->analysis.compare;
    if (choice == QX_COMPARE_DUNNETT && family->control == QX_NO_COLUMN) {
        return QX_ADJUST_TUKEY;
    }
    return adjust[choice];
}

static const char *adjust_word(qx_adjust adjust)
{
    switch (adjust) {
    case QX_ADJUST_TUKEY:
        return "tukey";
    case QX_ADJUST_DUNNETT:
        return "dunnett";
    case QX_ADJUST_SIDAK:
        return "sidak";
    case QX_ADJUST_HOLM:
        return "holm";
    case QX_ADJUST_BONFERRONI:
        return "bonferroni";
    case QX_ADJUST_NONE:
        break;
    }
    return "none";
}

/* Which members are compared: all pairs (the later level first, so that a treatment is
 * taken minus what stands before it), or each with the control. */
static qx_status list_pairs(qx_work *w, const qx_pair_family *family, pairs *out)
{
    const size_t k = family->member_count;
    const size_t most = k * (k - 1) / 2;
    QX_NEW(w->cx, out->first, most);
    QX_NEW(w->cx, out->second, most);
    out->count = 0;
    for (size_t i = 0; i < k; i++) {
        for (size_t j = i + 1; j < k; j++) {
            const bool turned = family->control == j;
            if (out->adjust == QX_ADJUST_DUNNETT && family->control != i && !turned) {
                continue;
            }
            out->first[out->count] = turned ? i : j;
            out->second[out->count++] = turned ? j : i;
        }
    }
    return QX_OK;
}

static qx_status estimate_pairs(qx_work *w, const qx_pair_family *family, pairs *ps)
{
    const qx_cells *cells = family->cells;
    QX_NEW(w->cx, ps->compared, ps->count);
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), w->fit->p, ps->count, &ps->row));
    for (size_t k = 0; k < ps->count; k++) {
        const size_t a = family->member[ps->first[k]];
        const size_t b = family->member[ps->second[k]];
        qx_estimate e = {NAN, NAN, NAN};
        for (size_t j = 0; j < w->fit->p; j++) {
            QX_AT(ps->row, j, k) = QX_AT(cells->row, j, a) - QX_AT(cells->row, j, b);
        }
        if (cells->estimable[a] && cells->estimable[b]) {
            QX_TRY(qx_lmm_contrast(w->cx, w->fit, &QX_AT(ps->row, 0, k), 0.0, &e));
        }
        ps->compared[k] = (qx_comparison){.estimate = e.estimate, .se = e.se, .df = e.df};
    }
    return QX_OK;
}

static qx_status correlate_pairs(qx_work *w, const pairs *ps, qx_mat *out)
{
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), ps->count, ps->count, out));
    for (size_t a = 0; a < ps->count; a++) {
        for (size_t b = 0; b < ps->count; b++) {
            const double cov =
                qx_lmm_covariance(w->fit, &QX_AT(ps->row, 0, a), &QX_AT(ps->row, 0, b));
            QX_AT(*out, a, b) =
                a == b ? 1.0 : cov / (ps->compared[a].se * ps->compared[b].se);
        }
    }
    return QX_OK;
}

/* Units behind the mean with fewer of them. */
static qx_status
replicates_of(qx_work *w, const qx_pair_family *family, size_t a, size_t b, double *out)
{
    size_t of_a, of_b;
    QX_TRY(qx_cells_units(w, family->cells, a, family->unit, &of_a));
    QX_TRY(qx_cells_units(w, family->cells, b, family->unit, &of_b));
    *out = (double)(of_a < of_b ? of_a : of_b);
    return QX_OK;
}

static qx_status settle_pair(
    qx_work *w, const qx_pair_family *family, const pairs *ps, size_t k, qx_difference *d)
{
    qx_settle s = {.se = d->se,
                   .df = d->df,
                   .margin = w->margin,
                   .alpha = w->alpha,
                   .adjust = ps->adjust,
                   .means = family->member_count,
                   .family = ps->count};
    if (d->verdict != QX_UNSETTLED || isnan(w->margin)) {
        return QX_OK;
    }
    QX_TRY(replicates_of(w,
                         family,
                         family->member[ps->first[k]],
                         family->member[ps->second[k]],
                         &s.replicates));
    return qx_settle_replicates(w->cx, &w->settled, &s, &d->replicates_to_settle);
}

/* Splits a cell's name into what is compared and what it lies within. */
static qx_status
name_pair(qx_work *w, const qx_pair_family *family, size_t a, size_t b, qx_difference *d)
{
    qx_cell first, second;
    QX_TRY(qx_cells_name(w, family->cells, a, &first));
    QX_TRY(qx_cells_name(w, family->cells, b, &second));
    d->first = (qx_cell){family->named, first.factor, first.level};
    d->second = (qx_cell){family->named, second.factor, second.level};
    d->within = (qx_cell){first.count - family->named,
                          first.factor + family->named,
                          first.level + family->named};
    return QX_OK;
}

static const char *replicate_name(const qx_work *w, const qx_pair_family *family)
{
    return w->protocol->unit[w->data.unit[family->unit].unit].name;
}

static qx_status tell_pair(
    qx_work *w, const qx_pair_family *family, const pairs *ps, size_t k, qx_difference *d)
{
    const qx_comparison *c = &ps->compared[k];
    const qx_equivalence e =
        qx_equivalence_test(c->estimate, c->se, c->df, w->margin, w->alpha);
    *d = (qx_difference){.term = family->term,
                         .estimate = c->estimate,
                         .se = c->se,
                         .df = c->df,
                         .value = c->value,
                         .p = c->p,
                         .p_adjusted = c->p_adjusted,
                         .adjust = adjust_word(ps->adjust),
                         .lower = c->lower,
                         .upper = c->upper,
                         .link_estimate = c->estimate,
                         .link_se = c->se,
                         .margin = w->margin,
                         .p_lower = e.p_lower,
                         .p_upper = e.p_upper,
                         .p_equivalence = e.p,
                         .lower_equivalence = e.lower,
                         .upper_equivalence = e.upper,
                         .replicates_to_settle = NAN,
                         .replicate = replicate_name(w, family)};
    QX_TRY(name_pair(
        w, family, family->member[ps->first[k]], family->member[ps->second[k]], d));
    qx_verdict_give(d, w->alpha);
    return QX_OK;
}

/* Members from the largest mean to the smallest. */
static qx_status order_members(qx_work *w, const qx_pair_family *family, size_t order[])
{
    double *mean;
    QX_NEW(w->cx, mean, family->member_count);
    for (size_t i = 0; i < family->member_count; i++) {
        mean[i] = qx_dot(
            w->fit->p, &QX_AT(family->cells->row, 0, family->member[i]), w->fit->beta);
        size_t at = i;
        while (at > 0 && mean[order[at - 1]] < mean[i]) {
            order[at] = order[at - 1];
            at--;
        }
        order[at] = i;
    }
    return QX_OK;
}

static qx_status give_letters(qx_work *w,
                              const qx_pair_family *family,
                              const pairs *ps,
                              const char *letters[])
{
    const size_t k = family->member_count;
    bool *differ;
    size_t *order;
    if (ps->adjust == QX_ADJUST_DUNNETT) {
        return QX_OK; /* letters claim something of every pair; Dunnett looks at few */
    }
    QX_NEW(w->cx, differ, k * k);
    QX_NEW(w->cx, order, k);
    for (size_t i = 0; i < ps->count; i++) {
        if (isnan(ps->compared[i].p_adjusted)) {
            return QX_OK; /* not every pair could be compared: no letters at all */
        }
        const bool differs = ps->compared[i].p_adjusted < w->alpha;
        differ[ps->first[i] + ps->second[i] * k] = differs;
        differ[ps->second[i] + ps->first[i] * k] = differs;
    }
    QX_TRY(order_members(w, family, order));
    return qx_letters(w->cx, w->arena, k, differ, order, letters);
}

static qx_status
compare(qx_work *w, const qx_pair_family *family, qx_array *out, const char *letters[])
{
    pairs ps = {.adjust = adjust_of(w, family)};
    qx_mat correlation = {0};
    QX_TRY(list_pairs(w, family, &ps));
    QX_TRY(estimate_pairs(w, family, &ps));
    if (ps.adjust == QX_ADJUST_DUNNETT) {
        QX_TRY(correlate_pairs(w, &ps, &correlation));
    }
    QX_TRY(qx_compare(w->cx,
                      ps.adjust,
                      family->member_count,
                      w->level,
                      ps.count,
                      ps.compared,
                      correlation));
    for (size_t k = 0; k < ps.count; k++) {
        qx_difference *one = qx_array_push(out);
        if (one == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the differences");
        }
        QX_TRY(tell_pair(w, family, &ps, k, one));
        QX_TRY(settle_pair(w, family, &ps, k, one));
    }
    return letters == NULL ? QX_OK : give_letters(w, family, &ps, letters);
}

qx_status qx_family_compare(qx_work *w,
                            const qx_pair_family *family,
                            qx_array *out,
                            const char *letters[])
{
    qx_status status;
    if (family->member_count < 2) {
        return QX_OK;
    }
    QX_SCRATCH(w->cx, status, compare(w, family, out, letters));
    return status;
}
