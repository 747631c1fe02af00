#include "findings/family.h"

#include <math.h>
#include <string.h>

#include "findings/cannot_tell.h"
#include "findings/replicated.h"
#include "findings/respond.h"
#include "findings/settle.h"
#include "findings/small_sample.h"
#include "findings/transform.h"
#include "findings/verdict.h"
#include "numeric/dist.h"

/* Stands for infinitely many degrees of freedom where a whole number is planned with. */
#define SETTLE_DF 10000.0

/* One family while it is worked on: of one class, where there are classes. */
typedef struct pairs {
    qx_adjust adjust;
    size_t count, made;      /* pairs, and those of them that can be estimated */
    size_t means;            /* members that are in one of those */
    double tests;            /* of each pair: classes without order, less one; else 1 */
    bool *compares;          /* member_count: is it one of these means? */
    size_t *first, *second;  /* member numbers */
    qx_comparison *compared; /* on the link scale */
    double *one_sided;       /* quantiles of t at alpha, for equivalence */
    double *factor;          /* with `small`: of the variances */
    qx_comparison *small; /* the same with the degrees of freedom of few units, or NULL */
    bool *replicated;     /* count: is there a replicate behind the difference? */
    qx_mat row;           /* design->p x count: first minus second */
    size_t class_;
    const qx_responses *mean;    /* of the members; NULL with an identity link */
    const qx_responses *typical; /* classes without order are tested here, else NULL */
} pairs;

/* Level of the limits of one pair in one class. */
static double level_of(const qx_work *w, const pairs *ps)
{
    return ps->tests > 1.0 ? 1.0 - w->alpha / ps->tests : w->level;
}

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

/* A difference of two classes' logits, where there is no linear predictor to ask. */
static qx_estimate logit_pair(const qx_estimator *e, const pairs *ps, size_t a, size_t b)
{
    const qx_responses *r = ps->typical;
    const size_t c = ps->class_;
    const double square = qx_responses_link_covariance(r, a, a, c) +
                          qx_responses_link_covariance(r, b, b, c) -
                          2.0 * qx_responses_link_covariance(r, a, b, c);
    return (qx_estimate){qx_responses_link(r, a, c) - qx_responses_link(r, b, c),
                         square > 0.0 ? sqrt(square) : (double)NAN,
                         e->df};
}

static qx_status estimate_pairs(qx_work *w, const qx_pair_family *family, pairs *ps)
{
    const qx_estimator *e = &w->estimator;
    const qx_cells *cells = family->cells;
    QX_NEW(w->cx, ps->compared, ps->count);
    QX_NEW(w->cx, ps->replicated, ps->count);
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), w->design->p, ps->count, &ps->row));
    for (size_t k = 0; k < ps->count; k++) {
        const size_t a = family->member[ps->first[k]];
        const size_t b = family->member[ps->second[k]];
        qx_estimate d = {NAN, NAN, NAN};
        for (size_t j = 0; j < w->design->p; j++) {
            QX_AT(ps->row, j, k) = QX_AT(cells->row, j, a) - QX_AT(cells->row, j, b);
        }
        if (e->kind->contrast == NULL) {
            d = logit_pair(e, ps, ps->first[k], ps->second[k]);
        } else if (cells->estimable[a] && cells->estimable[b]) {
            QX_TRY(e->kind->contrast(w->cx, e, &QX_AT(ps->row, 0, k), 0.0, &d));
        }
        QX_TRY(qx_replicated_row(w, &QX_AT(ps->row, 0, k), &ps->replicated[k]));
        d = ps->replicated[k] ? d : (qx_estimate){d.estimate, NAN, NAN};
        ps->compared[k] = (qx_comparison){.estimate = d.estimate, .se = d.se, .df = d.df};
    }
    return QX_OK;
}

/* Cells without data, and what cannot be estimated for their sake, are no part of the
 * family: neither of its means nor of its comparisons. */
static qx_status count_made(qx_work *w, const qx_pair_family *family, pairs *ps)
{
    QX_NEW(w->cx, ps->compares, family->member_count);
    ps->made = ps->means = 0;
    for (size_t k = 0; k < ps->count; k++) {
        const qx_comparison *c = &ps->compared[k];
        if (isfinite(c->estimate) && c->se > 0.0 && c->df > 0.0) {
            ps->made++;
            ps->compares[ps->first[k]] = ps->compares[ps->second[k]] = true;
        }
    }
    for (size_t i = 0; i < family->member_count; i++) {
        ps->means += ps->compares[i] ? 1 : 0;
    }
    ps->means = ps->means < 2 ? 2 : ps->means;
    return QX_OK;
}

static double covariance_of(const qx_work *w, const pairs *ps, size_t a, size_t b)
{
    const qx_estimator *e = &w->estimator;
    if (e->kind->covariance != NULL) {
        return e->kind->covariance(e, &QX_AT(ps->row, 0, a), &QX_AT(ps->row, 0, b));
    }
    const size_t pair[2][2] = {{ps->first[a], ps->second[a]},
                               {ps->first[b], ps->second[b]}};
    double sum = 0.0;
    for (size_t i = 0; i < 2; i++) {
        for (size_t j = 0; j < 2; j++) {
            const double c = qx_responses_link_covariance(
                ps->typical, pair[0][i], pair[1][j], ps->class_);
            sum += i == j ? c : -c;
        }
    }
    return sum;
}

static qx_status correlate_pairs(qx_work *w, const pairs *ps, qx_mat *out)
{
    QX_TRY(qx_mat_new(w->cx, qx_ctx_scratch(w->cx), ps->count, ps->count, out));
    for (size_t a = 0; a < ps->count; a++) {
        for (size_t b = 0; b < ps->count; b++) {
            QX_AT(*out, a, b) = a == b ? 1.0
                                       : covariance_of(w, ps, a, b) /
                                             (ps->compared[a].se * ps->compared[b].se);
        }
    }
    return QX_OK;
}

/* Signed root of the likelihood ratio where it is to be had, else Wald's statistic; its
 * standard error is 1. */
static qx_status
root_of(qx_work *w, const pairs *ps, size_t k, const qx_allowance *a, double *out)
{
    const qx_comparison *c = &ps->compared[k];
    double root = NAN;
    if (w->estimator.kind->contrast != NULL && ps->count <= QX_RATIOS_MOST &&
        isfinite(c->estimate)) {
        QX_TRY(qx_small_root(w, &QX_AT(ps->row, 0, k), a, &root));
    }
    *out = isfinite(root) ? copysign(root, c->estimate)
                          : c->estimate / (c->se * sqrt(a->factor));
    return QX_OK;
}

/* The same comparisons against t with the degrees of freedom of the treated units. */
static qx_status compare_small(qx_work *w, pairs *ps, qx_mat correlation)
{
    if (w->small_method == NULL) {
        return QX_OK;
    }
    QX_NEW(w->cx, ps->small, ps->count);
    QX_NEW(w->cx, ps->factor, ps->count);
    for (size_t k = 0; k < ps->count; k++) {
        double root;
        qx_allowance a;
        QX_TRY(qx_small_allowance(w, &QX_AT(ps->row, 0, k), &a));
        QX_TRY(root_of(w, ps, k, &a, &root));
        root = ps->replicated[k] ? root : (double)NAN;
        ps->factor[k] = a.factor;
        ps->small[k] = isnan(root)
                           ? (qx_comparison){.estimate = NAN, .se = NAN, .df = NAN}
                           : (qx_comparison){.estimate = root, .se = 1.0, .df = a.df};
    }
    return qx_compare(
        w->cx, ps->adjust, ps->means, level_of(w, ps), ps->count, ps->small, correlation);
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
    const double df = d->method_small_sample == NULL ? d->df : d->df_small_sample;
    qx_settle s = {.se = d->se,
                   .df = w->estimator.kind->respond == NULL || isfinite(df) ? df
                                                                            : SETTLE_DF,
                   .margin = w->margin,
                   .alpha = w->alpha,
                   .adjust = ps->adjust,
                   .means = ps->means,
                   .family = ps->made};
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

/* The quantiles that equivalence asks for: most pairs share their degrees of freedom. */
static qx_status quantiles(qx_work *w, pairs *ps)
{
    QX_NEW(w->cx, ps->one_sided, ps->count);
    for (size_t k = 0; k < ps->count; k++) {
        const double df = ps->compared[k].df;
        if (k > 0 && df == ps->compared[k - 1].df) {
            ps->one_sided[k] = ps->one_sided[k - 1];
        } else {
            ps->one_sided[k] = df > 0.0 ? qx_t_q(w->alpha, df, QX_UPPER) : (double)NAN;
        }
    }
    return QX_OK;
}

/* What holds on the link scale, which is all there is with an identity link. */
static qx_difference
link_part(const qx_work *w, const qx_pair_family *family, const pairs *ps, size_t k)
{
    const qx_comparison *c = &ps->compared[k];
    const qx_equivalence e =
        qx_equivalence_by(c->estimate, c->se, c->df, w->margin, ps->one_sided[k]);
    return (qx_difference){.term = family->term,
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
                           .replicate = replicate_name(w, family),
                           .ratio = {NAN, NAN, NAN},
                           .df_small_sample = NAN,
                           .p_small_sample = NAN,
                           .p_adjusted_small_sample = NAN};
}

/* The test is on the link scale, the limits are not: at the border of alpha they may
 * disagree. The limit then stands at nought, so that sentence and interval say the same. */
static void agree_at_nought(qx_difference *d, double alpha)
{
    const bool shown = qx_verdict_p(d) < alpha;
    if (d->class_ != NULL) {
        return; /* a class in the middle may stand still while the grades move */
    }
    if (shown == (d->lower > 0.0 || d->upper < 0.0) || isnan(d->lower) ||
        isnan(d->upper)) {
        return;
    }
    if (shown) {
        *(d->estimate > 0.0 ? &d->lower : &d->upper) = 0.0;
    } else {
        *(d->lower > 0.0 ? &d->lower : &d->upper) = 0.0;
    }
}

/* The difference in the unit that was measured, with its limits and equivalence. */
static void response_part(const qx_work *w, const pairs *ps, size_t k, qx_difference *d)
{
    const qx_estimator *e = &w->estimator;
    const size_t a = ps->first[k], b = ps->second[k], c = ps->class_;
    qx_response mean[2] = {qx_responses_at(ps->mean, a, c),
                           qx_responses_at(ps->mean, b, c)};
    const double r = qx_responses_correlation(ps->mean, a, b, c);
    const double shared = qx_responses_covariance(ps->mean, a, b, c);
    d->estimate = mean[0].value - mean[1].value;
    const double square =
        mean[0].se * mean[0].se + mean[1].se * mean[1].se - 2.0 * shared;
    d->se = isnan(square) || !ps->replicated[k] ? (double)NAN : sqrt(fmax(square, 0.0));
    for (size_t i = 0; ps->small != NULL && i < 2; i++) {
        mean[i].se *=
            sqrt(ps->factor[k]); /* limits allow for variances taken too small */
    }
    const double critical =
        ps->small == NULL ? ps->compared[k].critical : ps->small[k].critical;
    const double df = ps->small == NULL ? ps->compared[k].df : ps->small[k].df;
    const qx_equivalence q = qx_limit_equivalence(e, mean, r, df, w->margin, w->alpha);
    if (!ps->replicated[k]) {
        d->lower = d->upper = d->p_lower = d->p_upper = d->p_equivalence = NAN;
        d->lower_equivalence = d->upper_equivalence = NAN;
        return;
    }
    d->lower = qx_limit_difference(e, mean[0], mean[1], r, -critical);
    d->upper = qx_limit_difference(e, mean[0], mean[1], r, critical);
    d->p_lower = q.p_lower;
    d->p_upper = q.p_upper;
    d->p_equivalence = q.p;
    d->lower_equivalence = q.lower;
    d->upper_equivalence = q.upper;
    if (w->variate->compare_as_ratio) {
        double limit[2];
        if (qx_limit_ratio(e, mean[0], mean[1], r, critical, limit)) {
            d->ratio = (qx_back){mean[0].value / mean[1].value, limit[0], limit[1]};
        }
    }
    agree_at_nought(d, w->alpha);
    if (d->lower == 0.0) {
        d->ratio.lower = 1.0;
    }
    if (d->upper == 0.0) {
        d->ratio.upper = 1.0;
    }
}

/* A difference of logarithms is a ratio of geometric means. */
static void log_ratio(qx_transform transform, qx_difference *d)
{
    if (transform == QX_TRANSFORM_LOG || transform == QX_TRANSFORM_LOG10) {
        d->ratio = (qx_back){qx_transform_back(transform, d->estimate),
                             qx_transform_back(transform, d->lower),
                             qx_transform_back(transform, d->upper)};
    }
}

static qx_status tell_pair(
    qx_work *w, const qx_pair_family *family, const pairs *ps, size_t k, qx_difference *d)
{
    *d = link_part(w, family, ps, k);
    d->tests = ps->tests;
    log_ratio(w->variate->transform, d);
    if (w->estimator.class_count > 1) {
        d->class_ = w->result->class_name[ps->class_];
    }
    if (ps->small != NULL) {
        d->df_small_sample = ps->small[k].df;
        d->p_small_sample = ps->small[k].p;
        d->p_adjusted_small_sample = ps->small[k].p_adjusted;
        d->method_small_sample = w->small_method;
    }
    if (ps->mean != NULL) {
        response_part(w, ps, k, d);
    }
    QX_TRY(name_pair(
        w, family, family->member[ps->first[k]], family->member[ps->second[k]], d));
    qx_verdict_give(d, w->alpha);
    return QX_OK;
}

static qx_status why_not(
    qx_work *w, const qx_pair_family *family, const pairs *ps, size_t k, qx_difference *d)
{
    if (d->verdict != QX_CANNOT_TELL) {
        return QX_OK;
    }
    return qx_cannot_tell(
        w, family, family->member[ps->first[k]], family->member[ps->second[k]], d);
}

/* What a member is ordered by. */
static qx_status
size_of(qx_work *w, const qx_pair_family *family, const pairs *ps, size_t i, double *out)
{
    qx_estimate e;
    if (ps->mean != NULL && w->estimator.class_count == 1) {
        *out = qx_responses_at(ps->mean, i, 0).value;
        return QX_OK;
    }
    if (ps->typical != NULL) {
        *out = qx_responses_link(ps->typical, i, ps->class_);
        return QX_OK;
    }
    QX_TRY(w->estimator.kind->contrast(
        w->cx, &w->estimator, &QX_AT(family->cells->row, 0, family->member[i]), 0.0, &e));
    *out = e.estimate;
    return QX_OK;
}

/* Members from the largest mean to the smallest. */
static qx_status
order_members(qx_work *w, const qx_pair_family *family, const pairs *ps, size_t order[])
{
    double *mean;
    QX_NEW(w->cx, mean, family->member_count);
    for (size_t i = 0; i < family->member_count; i++) {
        QX_TRY(size_of(w, family, ps, i, &mean[i]));
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
    const size_t k = ps->means;
    bool *differ;
    size_t *order, *place; /* place: number of a member among those that compare */
    const char **letter;
    if (ps->adjust == QX_ADJUST_DUNNETT) {
        return QX_OK; /* letters claim something of every pair; Dunnett looks at few */
    }
    if (ps->made != k * (k - 1) / 2) {
        return QX_OK; /* means that cannot all be compared with each other */
    }
    QX_NEW(w->cx, differ, k * k);
    QX_NEW(w->cx, order, family->member_count);
    QX_NEW(w->cx, place, family->member_count);
    QX_NEW(w->cx, letter, k);
    for (size_t i = 0, at = 0; i < family->member_count; i++) {
        place[i] = ps->compares[i] ? at++ : 0;
    }
    for (size_t i = 0; i < ps->count; i++) {
        const size_t a = place[ps->first[i]], b = place[ps->second[i]];
        const double p =
            ps->small == NULL ? ps->compared[i].p_adjusted : ps->small[i].p_adjusted;
        if (ps->compares[ps->first[i]] && ps->compares[ps->second[i]]) {
            differ[a + b * k] = differ[b + a * k] = ps->tests * p < w->alpha;
        }
    }
    QX_TRY(order_members(w, family, ps, order));
    for (size_t i = 0, at = 0; i < family->member_count; i++) {
        if (ps->compares[order[i]]) {
            order[at++] = place[order[i]];
        }
    }
    QX_TRY(qx_letters(w->cx, w->arena, k, differ, order, letter));
    for (size_t i = 0; i < family->member_count; i++) {
        letters[i] = ps->compares[i] ? letter[place[i]] : NULL;
    }
    return QX_OK;
}

static qx_status compare_class(qx_work *w,
                               const qx_pair_family *family,
                               pairs ps,
                               qx_array *out,
                               const char *letters[])
{
    qx_mat correlation = {0};
    QX_TRY(list_pairs(w, family, &ps));
    QX_TRY(estimate_pairs(w, family, &ps));
    QX_TRY(count_made(w, family, &ps));
    if (ps.adjust == QX_ADJUST_DUNNETT) {
        QX_TRY(correlate_pairs(w, &ps, &correlation));
    }
    const qx_compare_request request = {.adjust = ps.adjust,
                                        .k = ps.means,
                                        .level = level_of(w, &ps),
                                        .m = ps.count,
                                        .correlation = correlation,
                                        .tables = &w->settled.ranges};
    QX_TRY(qx_compare_family(w->cx, &request, ps.compared));
    QX_TRY(quantiles(w, &ps));
    QX_TRY(compare_small(w, &ps, correlation));
    for (size_t k = 0; k < ps.count; k++) {
        qx_difference *one = qx_array_push(out);
        if (one == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the differences");
        }
        QX_TRY(tell_pair(w, family, &ps, k, one));
        if (!w->brief) {
            QX_TRY(settle_pair(w, family, &ps, k, one));
            QX_TRY(why_not(w, family, &ps, k, one));
        }
    }
    return letters == NULL || w->brief ? QX_OK : give_letters(w, family, &ps, letters);
}

/* Rows of the members alone. */
static qx_status
member_rows(qx_work *w, const qx_pair_family *family, qx_mat *rows, bool estimable[])
{
    QX_TRY(qx_mat_new(
        w->cx, qx_ctx_scratch(w->cx), w->design->p, family->member_count, rows));
    for (size_t i = 0; i < family->member_count; i++) {
        const size_t cell = family->member[i];
        estimable[i] = family->cells->estimable[cell];
        for (size_t j = 0; j < w->design->p; j++) {
            QX_AT(*rows, j, i) = QX_AT(family->cells->row, j, cell);
        }
    }
    return QX_OK;
}

static qx_status
compare(qx_work *w, const qx_pair_family *family, qx_array *out, const char *letters[])
{
    const qx_estimator *e = &w->estimator;
    const size_t count = family->member_count;
    pairs ps = {.adjust = adjust_of(w, family), .tests = 1.0};
    qx_responses mean, typical;
    bool *estimable;
    qx_mat rows;
    if (e->kind->respond != NULL) {
        QX_NEW(w->cx, estimable, count);
        QX_TRY(member_rows(w, family, &rows, estimable));
        QX_TRY(qx_responses_make(w, rows, estimable, false, &mean));
        ps.mean = &mean;
        if (e->kind->contrast == NULL) {
            QX_TRY(qx_responses_make(w, rows, estimable, true, &typical));
            ps.typical = &typical;
            ps.tests = fmax(1.0, (double)e->class_count - 1.0);
        }
    }
    for (size_t c = 0; c < e->class_count; c++) {
        ps.class_ = c;
        QX_TRY(compare_class(
            w, family, ps, out, letters == NULL ? NULL : letters + c * count));
    }
    return QX_OK;
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
