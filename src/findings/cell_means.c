#include "findings/cell_means.h"

#include <math.h>
#include <string.h>

#include "findings/family.h"
#include "findings/replicated.h"
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

size_t qx_replicate_unit(const qx_work *w, size_t count, const size_t factor[])
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

size_t qx_control_level(const qx_work *w, size_t factor)
{
    const size_t t = treatment_of(w, factor);
    if (t == QX_NONE || w->protocol->treatment[t].control == QX_NONE) {
        return QX_NO_COLUMN;
    }
    const char *want = w->protocol->treatment[t].level[w->protocol->treatment[t].control];
    const qx_factor *f = &w->data.frame.factor[factor];
    for (size_t l = 0; l < f->level_count; l++) {
        if (f->level[l] == want) {
            return l;
        }
    }
    return QX_NO_COLUMN;
}

/* The cell that is the control of a single treatment, or QX_NO_COLUMN. */
static size_t control_cell(const qx_work *w, const qx_cells *cells)
{
    const size_t control =
        cells->factor_count == 1 ? qx_control_level(w, cells->factor[0]) : QX_NO_COLUMN;
    for (size_t c = 0; c < cells->count && control != QX_NO_COLUMN; c++) {
        if (cells->level[c] == control) {
            return c;
        }
    }
    return QX_NO_COLUMN;
}

/* The responses of all cells: averaged over the random terms and at their zero. */
typedef struct both {
    qx_responses mean, typical;
} both;

/* Means of counts, shares and classes in the unit that was measured. */
static qx_status response_mean(qx_work *w,
                               const both *r,
                               const qx_cells *cells,
                               size_t cell,
                               size_t class_,
                               double df,
                               qx_mean *mean)
{
    const qx_estimator *e = &w->estimator;
    const double z = qx_t_q(w->alpha / 2.0, df, QX_UPPER);
    double t = z;
    qx_response m = qx_responses_at(&r->mean, cell, class_);
    mean->estimate = m.value;
    mean->se = m.se;
    if (w->small_means) {
        qx_allowance a;
        QX_TRY(qx_small_allowance(w, &QX_AT(cells->row, 0, cell), &a));
        t = qx_t_q(w->alpha / 2.0, a.df, QX_UPPER);
        m.se *= sqrt(a.factor);
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
    return QX_OK;
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

/* The mean of these units stands; of what it is a sample is not known. */
static void without_replicate(qx_mean *mean)
{
    mean->se = mean->link_se = mean->df = mean->lower = mean->upper = NAN;
    mean->typical.se = mean->typical.lower = mean->typical.upper = NAN;
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
        bool replicated;
        QX_TRY(response_mean(w, r, cells, cell, class_, e.df, mean));
        QX_TRY(qx_replicated_row(w, &QX_AT(cells->row, 0, cell), &replicated));
        if (!replicated) {
            without_replicate(mean);
        }
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

qx_status qx_cell_means_add(qx_work *w,
                            const char *term,
                            const qx_cells *cells,
                            qx_array *means,
                            qx_array *differences)
{
    const size_t classes = w->estimator.class_count, start = means->count;
    const char **letters;
    both responses = {0};
    qx_pair_family family = {
        .term = term,
        .cells = cells,
        .member_count = cells->count,
        .named = cells->factor_count,
        .control = control_cell(w, cells),
        .unit = qx_replicate_unit(w, cells->factor_count, cells->factor)};
    QX_NEW(w->cx, letters, cells->count * classes);
    QX_TRY(list_members(w, cells->count, &family.member));
    QX_TRY(both_responses(w, &family, &responses));
    for (size_t cell = 0; cell < cells->count; cell++) {
        for (size_t k = 0; k < classes; k++) {
            qx_mean *mean = qx_array_push(means);
            if (mean == NULL) {
                return qx_fail(w->cx, QX_E_NOMEM, "no memory for the means");
            }
            QX_TRY(tell_mean(w, &family, &responses, cell, k, mean));
        }
    }
    QX_TRY(qx_family_compare(w, &family, differences, letters));
    for (size_t cell = 0; cell < cells->count; cell++) {
        for (size_t k = 0; k < classes; k++) {
            qx_mean *mean = qx_array_at(means, start + cell * classes + k);
            mean->letters = letters[k * cells->count + cell];
        }
    }
    return QX_OK;
}

qx_status qx_list_reopen(qx_work *w, const void *items, size_t count, qx_array *out)
{
    for (size_t i = 0; i < count; i++) {
        void *copy = qx_array_push(out);
        if (copy == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the findings");
        }
        memcpy(copy, (const char *)items + i * out->size, out->size);
    }
    return QX_OK;
}

qx_status qx_cell_means(qx_work *w, const char *term, const qx_cells *cells)
{
    qx_result *r = w->result;
    qx_array means = QX_ARRAY(w->arena, sizeof(qx_mean));
    qx_array differences = QX_ARRAY(w->arena, sizeof(qx_difference));
    QX_TRY(qx_list_reopen(w, r->mean, r->mean_count, &means));
    QX_TRY(qx_list_reopen(w, r->difference, r->difference_count, &differences));
    QX_TRY(qx_cell_means_add(w, term, cells, &means, &differences));
    r->mean = means.items;
    r->mean_count = means.count;
    r->difference = differences.items;
    r->difference_count = differences.count;
    return QX_OK;
}
