#include "findings/means_of.h"

#include <math.h>

#include "findings/family.h"
#include "findings/not_estimable.h"
#include "findings/respond.h"
#include "findings/small_sample.h"
#include "findings/transform.h"
#include "numeric/dist.h"

/* Number of the protocol's treatment behind a frame factor, or QX_NONE (season). */
static size_t treatment_of(const qx_work *w, size_t factor)
{
    for (size_t t = 0; t < w->protocol->treatment_count; t++) {
        if (w->data.treatment[t] == factor) {
            return t;
        }
    }
    return QX_NONE;
}

/* What seasons are repeated in: the largest unit that was there in each of them. */
static size_t unit_of_seasons(const qx_work *w)
{
    for (size_t k = 0; k < w->data.unit_count; k++) {
        for (size_t j = 0; w->data.unit[k].by_season && j < k; j++) {
            const qx_frame_unit *u = &w->data.unit[j];
            if (u->unit == w->data.unit[k].unit && !u->by_season && u->count > 1) {
                return j;
            }
        }
    }
    return w->choice.residual_unit;
}

/* The unit that is the replicate of some factors: the one that the last of their
 * treatments is put on (the smallest); for the season alone, see above. */
static size_t replicate_unit(const qx_work *w, size_t count, const size_t factor[])
{
    size_t best = 0;
    bool found = false;
    for (size_t i = 0; i < count; i++) {
        const size_t t = treatment_of(w, factor[i]);
        for (size_t k = 0; t != QX_NONE && k < w->data.unit_count; k++) {
            const qx_frame_unit *u = &w->data.unit[k];
            if (u->unit == w->protocol->treatment[t].on && !u->by_season &&
                (!found || k > best)) {
                best = k;
                found = true;
            }
        }
    }
    return found ? best : unit_of_seasons(w);
}

/* Member whose level is the control's, for a single factor with a control. */
static size_t control_member(const qx_work *w, const qx_cells *cells)
{
    const size_t t = treatment_of(w, cells->factor[0]);
    if (cells->factor_count != 1 || t == QX_NONE ||
        w->protocol->treatment[t].control == QX_NONE) {
        return QX_NO_COLUMN;
    }
    const char *want = w->protocol->treatment[t].level[w->protocol->treatment[t].control];
    const qx_factor *f = &w->data.frame.factor[cells->factor[0]];
    for (size_t l = 0; l < f->level_count; l++) {
        if (f->level[l] == want) {
            return l;
        }
    }
    return QX_NO_COLUMN;
}

/* The responses of all cells: averaged over the random terms and at their zero. */
typedef struct both {
    qx_responses mean, typical;
} both;

/* Means of counts, shares and classes in the unit that was measured. */
static void response_mean(qx_work *w,
                          const both *r,
                          const qx_cells *cells,
                          size_t cell,
                          size_t class_,
                          double df,
                          qx_mean *mean)
{
    const qx_estimator *e = &w->estimator;
    const double z = qx_t_q(w->alpha / 2.0, df, QX_UPPER);
    /* Without units there is nothing but the model's own interval (contract). */
    const double t = w->small_method == NULL || !e->averaged
                         ? z
                         : qx_t_q(w->alpha / 2.0,
                                  qx_small_df(w, &QX_AT(cells->row, 0, cell)),
                                  QX_UPPER);
    qx_response m = qx_responses_at(&r->mean, cell, class_);
    mean->estimate = m.value;
    mean->se = m.se;
    if (w->small_method != NULL && e->averaged) {
        m.se *= sqrt(qx_small_factor(w, &QX_AT(cells->row, 0, cell)));
    }
    mean->lower = qx_limit_mean(e, m, -t);
    mean->upper = qx_limit_mean(e, m, t);
    mean->averaged = e->averaged;
    if (e->averaged) {
        const qx_response at_zero = qx_responses_at(&r->typical, cell, class_);
        mean->typical.estimate = at_zero.value;
        mean->typical.se = at_zero.se;
        mean->typical.lower = qx_limit_mean(e, at_zero, -z);
        mean->typical.upper = qx_limit_mean(e, at_zero, z);
    }
}

/* On the scale of the linear predictor; classes without order: on that of the logit. */
static qx_status link_mean(qx_work *w,
                           const qx_cells *cells,
                           size_t cell,
                           size_t class_,
                           const both *r,
                           qx_estimate *out)
{
    const qx_estimator *e = &w->estimator;
    if (e->kind->contrast != NULL) {
        return e->kind->contrast(w->cx, e, &QX_AT(cells->row, 0, cell), 1.0, out);
    }
    const double square = qx_responses_link_covariance(&r->typical, cell, cell, class_);
    *out =
        (qx_estimate){qx_responses_link(&r->typical, cell, class_), sqrt(square), e->df};
    return QX_OK;
}

static qx_status both_responses(qx_work *w, const qx_pair_family *family, both *out)
{
    const qx_cells *cells = family->cells;
    if (w->estimator.kind->respond == NULL) {
        return QX_OK;
    }
    QX_TRY(qx_responses_make(w, cells->row, cells->estimable, false, &out->mean));
    return qx_responses_make(w, cells->row, cells->estimable, true, &out->typical);
}

static void tell_back(const qx_work *w, qx_mean *mean)
{
    const qx_transform transform = w->variate->transform;
    if (transform != QX_TRANSFORM_NONE) {
        mean->back = (qx_back){qx_transform_back(transform, mean->estimate),
                               qx_transform_back(transform, mean->lower),
                               qx_transform_back(transform, mean->upper)};
    }
}

static qx_status tell_mean(qx_work *w,
                           const qx_pair_family *family,
                           const both *r,
                           size_t cell,
                           size_t class_,
                           qx_mean *mean)
{
    const qx_cells *cells = family->cells;
    const bool known = cells->estimable[cell];
    qx_estimate e = {NAN, NAN, NAN};
    if (known) {
        QX_TRY(link_mean(w, cells, cell, class_, r, &e));
    }
    const double half = qx_t_q(w->alpha / 2.0, e.df, QX_UPPER) * e.se;
    *mean = (qx_mean){.term = family->term,
                      .estimate = e.estimate,
                      .se = e.se,
                      .df = e.df,
                      .lower = e.estimate - half,
                      .upper = e.estimate + half,
                      .n = qx_cells_observations(w, cells, cell),
                      .link_estimate = e.estimate,
                      .link_se = e.se,
                      .back = {NAN, NAN, NAN}};
    if (w->estimator.class_count > 1) {
        mean->class_ = w->result->class_name[class_];
    }
    if (known && w->estimator.kind->respond != NULL) {
        response_mean(w, r, cells, cell, class_, e.df, mean);
    }
    tell_back(w, mean);
    return qx_cells_name(w, cells, cell, &mean->cell);
}

static qx_status list_members(qx_work *w, size_t count, const size_t **out)
{
    size_t *member;
    QX_NEW(w->cx, member, count);
    for (size_t i = 0; i < count; i++) {
        member[i] = i;
    }
    *out = member;
    return QX_OK;
}

static qx_status
one_term(qx_work *w, const qx_term *term, qx_array *means, qx_array *differences)
{
    qx_cells cells;
    const char **letters;
    if (qx_cells_count(w, term->factor_count, term->factor) > QX_CELLS_MOST) {
        return qx_note(w->cx,
                       "%s has more than %d means: they are not listed.",
                       term->name,
                       QX_CELLS_MOST);
    }
    QX_TRY(qx_cells_make(w, term->factor_count, term->factor, &cells));
    QX_TRY(qx_tell_not_estimable(w, term->name, &cells));
    const size_t classes = w->estimator.class_count;
    QX_NEW(w->cx, letters, cells.count * classes);
    qx_pair_family family = {.term = term->name,
                             .cells = &cells,
                             .member_count = cells.count,
                             .named = term->factor_count,
                             .control = control_member(w, &cells),
                             .unit = replicate_unit(w, term->factor_count, term->factor)};
    QX_TRY(list_members(w, cells.count, &family.member));
    if (w->protocol->analysis.compare == QX_COMPARE_DUNNETT && term->factor_count == 1 &&
        family.control == QX_NO_COLUMN) {
        QX_TRY(qx_note(w->cx,
                       "%s has no control: its levels are compared in all pairs "
                       "(Tukey).",
                       term->name));
    }
    const size_t start = means->count;
    both responses = {0};
    QX_TRY(both_responses(w, &family, &responses));
    for (size_t i = 0; i < cells.count * classes; i++) {
        qx_mean *mean = qx_array_push(means);
        if (mean == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the means");
        }
        QX_TRY(tell_mean(w, &family, &responses, i / classes, i % classes, mean));
    }
    QX_TRY(qx_family_compare(w, &family, differences, letters));
    for (size_t i = 0; i < cells.count * classes; i++) {
        ((qx_mean *)qx_array_at(means, start + i))->letters =
            letters[i % classes * cells.count + i / classes];
    }
    return QX_OK;
}

/* The margin on the scale of analysis, around the mean of all data there. */
static qx_status place_margin(qx_work *w)
{
    const qx_variate *v = w->variate;
    w->margin = v->margin;
    if (isnan(v->margin) || v->transform == QX_TRANSFORM_NONE) {
        return QX_OK;
    }
    double sum = 0.0;
    for (size_t i = 0; i < w->data.n; i++) {
        sum += w->data.scaled[i];
    }
    char given[QX_NUMBER_ROOM], there[QX_NUMBER_ROOM], mean[QX_NUMBER_ROOM];
    const double z = sum / (double)w->data.n;
    w->margin = qx_transform_margin(v->transform, v->margin, z);
    return qx_note(
        w->cx,
        "%s is analysed as %s; its margin of %s is %s on that scale, around the "
        "back-transformed mean of %s.",
        v->name,
        qx_transform_word(v->transform),
        qx_number_significant(v->margin, 4, given),
        qx_number_significant(w->margin, 4, there),
        qx_number_significant(qx_transform_back(v->transform, z), 4, mean));
}

qx_status qx_means_of(qx_work *w)
{
    qx_array means = QX_ARRAY(w->arena, sizeof(qx_mean));
    qx_array differences = QX_ARRAY(w->arena, sizeof(qx_difference));
    QX_TRY(place_margin(w));
    for (size_t t = 0; t < w->choice.term_count; t++) {
        qx_status status;
        if (!qx_choice_is_treatment_term(&w->choice, t) || w->design->term_df[t] == 0) {
            continue;
        }
        QX_SCRATCH(w->cx, status, one_term(w, &w->choice.term[t], &means, &differences));
        QX_TRY(status);
    }
    w->result->mean = means.items;
    w->result->mean_count = means.count;
    w->result->difference = differences.items;
    w->result->difference_count = differences.count;
    return QX_OK;
}

/* The factors that interact with `factor` in the model, in order. */
static size_t partners(const qx_work *w, size_t factor, size_t out[])
{
    size_t count = 0;
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        bool has = false;
        for (size_t i = 0; i < term->factor_count; i++) {
            has = has || term->factor[i] == factor;
        }
        if (!has || !qx_choice_is_treatment_term(&w->choice, t) ||
            w->design->term_df[t] == 0) {
            continue;
        }
        for (size_t i = 0; i < term->factor_count; i++) {
            size_t at = 0;
            while (at < count && out[at] != term->factor[i]) {
                at++;
            }
            if (at == count && term->factor[i] != factor) {
                out[count++] = term->factor[i];
            }
        }
    }
    return count;
}

static qx_status simple_effects(qx_work *w, size_t factor, qx_array *out)
{
    size_t all[QX_TERM_FACTORS_MOST + 1] = {factor};
    const size_t others = partners(w, factor, all + 1);
    const size_t levels = w->data.frame.factor[factor].level_count;
    qx_cells cells;
    size_t *member;
    if (others == 0 || qx_cells_count(w, others + 1, all) > QX_CELLS_MOST) {
        return QX_OK;
    }
    QX_TRY(qx_cells_make(w, others + 1, all, &cells));
    QX_NEW(w->cx, member, levels);
    const qx_cells alone = {.factor_count = 1, .factor = all};
    const size_t inside = cells.count / levels;
    qx_pair_family family = {.term = w->data.frame.factor[factor].name,
                             .cells = &cells,
                             .member_count = levels,
                             .member = member,
                             .named = 1,
                             .control = control_member(w, &alone),
                             .unit = replicate_unit(w, others + 1, all)};
    for (size_t c = 0; c < inside; c++) {
        for (size_t l = 0; l < levels; l++) {
            member[l] = l * inside + c; /* `factor` is the slowest */
        }
        QX_TRY(qx_family_compare(w, &family, out, NULL));
    }
    return QX_OK;
}

qx_status qx_simple_effects_of(qx_work *w)
{
    qx_array simple = QX_ARRAY(w->arena, sizeof(qx_difference));
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        qx_status status;
        if (!qx_choice_is_treatment_term(&w->choice, t) || term->factor_count != 1) {
            continue;
        }
        QX_SCRATCH(w->cx, status, simple_effects(w, term->factor[0], &simple));
        QX_TRY(status);
    }
    w->result->simple = simple.items;
    w->result->simple_count = simple.count;
    return QX_OK;
}
