#include "findings/plain_means.h"

#include <math.h>
#include <string.h>

#include "findings/family.h"
#include "findings/transform.h"
#include "numeric/dist.h"

static size_t treatment_of(const qx_work *w, size_t factor)
{
    for (size_t t = 0; t < w->protocol->treatment_count; t++) {
        if (w->data.treatment[t] == factor) {
            return t;
        }
    }
    return QX_NONE;
}

size_t qx_plain_unit(const qx_work *w, size_t count, const size_t factor[])
{
    size_t best = QX_NONE;
    for (size_t i = 0; i < count; i++) {
        const size_t t = treatment_of(w, factor[i]);
        for (size_t k = 0; t != QX_NONE && k < w->data.unit_count; k++) {
            const qx_frame_unit *u = &w->data.unit[k];
            if (u->unit == w->protocol->treatment[t].on && !u->by_season &&
                (best == QX_NONE || k > best)) {
                best = k;
            }
        }
    }
    return best == QX_NONE ? w->choice.residual_unit : best;
}

/* The cell that is the control of a single treatment, or QX_NO_COLUMN. */
static size_t control_cell(const qx_work *w, const qx_cells *cells)
{
    const size_t t =
        cells->factor_count == 1 ? treatment_of(w, cells->factor[0]) : QX_NONE;
    if (t == QX_NONE || w->protocol->treatment[t].control == QX_NONE) {
        return QX_NO_COLUMN;
    }
    const char *want = w->protocol->treatment[t].level[w->protocol->treatment[t].control];
    for (size_t c = 0; c < cells->count; c++) {
        if (w->data.frame.factor[cells->factor[0]].level[cells->level[c]] == want) {
            return c;
        }
    }
    return QX_NO_COLUMN;
}

static qx_status
tell_mean(qx_work *w, const char *term, const qx_cells *cells, size_t c, qx_mean *mean)
{
    const qx_transform transform = w->variate->transform;
    qx_estimate e = {NAN, NAN, NAN};
    if (cells->estimable[c]) {
        QX_TRY(w->estimator.kind->contrast(
            w->cx, &w->estimator, &QX_AT(cells->row, 0, c), 1.0, &e));
    }
    const double half = qx_t_q(w->alpha / 2.0, e.df, QX_UPPER) * e.se;
    *mean = (qx_mean){.term = term,
                      .estimate = e.estimate,
                      .se = e.se,
                      .df = e.df,
                      .lower = e.estimate - half,
                      .upper = e.estimate + half,
                      .n = qx_cells_observations(w, cells, c),
                      .link_estimate = e.estimate,
                      .link_se = e.se,
                      .back = {NAN, NAN, NAN}};
    if (transform != QX_TRANSFORM_NONE) {
        mean->back = (qx_back){qx_transform_back(transform, mean->estimate),
                               qx_transform_back(transform, mean->lower),
                               qx_transform_back(transform, mean->upper)};
    }
    return qx_cells_name(w, cells, c, &mean->cell);
}

/* The result's lists again as arrays that grow. */
static qx_status reopen(qx_work *w, const void *items, size_t count, qx_array *out)
{
    for (size_t i = 0; i < count; i++) {
        void *copy = qx_array_push(out);
        if (copy == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the means");
        }
        memcpy(copy, (const char *)items + i * out->size, out->size);
    }
    return QX_OK;
}

static qx_status
compare(qx_work *w, const char *term, const qx_cells *cells, const char *letters[])
{
    qx_array list = QX_ARRAY(w->arena, sizeof(qx_difference));
    size_t *member;
    QX_NEW(w->cx, member, cells->count);
    for (size_t i = 0; i < cells->count; i++) {
        member[i] = i;
    }
    const qx_pair_family family = {
        .term = term,
        .cells = cells,
        .member_count = cells->count,
        .member = member,
        .named = cells->factor_count,
        .control = control_cell(w, cells),
        .unit = qx_plain_unit(w, cells->factor_count, cells->factor)};
    QX_TRY(reopen(w, w->result->difference, w->result->difference_count, &list));
    QX_TRY(qx_family_compare(w, &family, &list, letters));
    w->result->difference = list.items;
    w->result->difference_count = list.count;
    return QX_OK;
}

qx_status qx_plain_means(qx_work *w, const char *term, const qx_cells *cells)
{
    qx_array list = QX_ARRAY(w->arena, sizeof(qx_mean));
    const char **letters;
    QX_NEW(w->cx, letters, cells->count);
    QX_TRY(compare(w, term, cells, letters));
    QX_TRY(reopen(w, w->result->mean, w->result->mean_count, &list));
    for (size_t c = 0; c < cells->count; c++) {
        qx_mean *mean = qx_array_push(&list);
        if (mean == NULL) {
            return qx_fail(w->cx, QX_E_NOMEM, "no memory for the means");
        }
        QX_TRY(tell_mean(w, term, cells, c, mean));
        mean->letters = letters[c];
    }
    w->result->mean = list.items;
    w->result->mean_count = list.count;
    return QX_OK;
}
