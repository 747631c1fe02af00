#include "findings/slopes_of.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "findings/cell_means.h"
#include "findings/covariates.h"
#include "findings/family.h"
#include "numeric/dist.h"

#define DECILE 0.1

/* ---- values of the covariate ------------------------------------------------------------ */

static int by_size(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Of n sorted values, between neighbours in proportion. */
static double quantile(size_t n, const double sorted[], double share)
{
    const double at = share * (double)(n - 1);
    const size_t i = (size_t)floor(at);
    return i + 1 < n ? sorted[i] + (at - (double)i) * (sorted[i + 1] - sorted[i])
                     : sorted[n - 1];
}

/* As measured, from the inner scale. */
static double measured(const qx_work *w, size_t number, double inner)
{
    return w->data.centre[number] + w->data.scale[number] * inner;
}

/* Mean and deciles on the inner scale, whose values are of size 1 or less. */
static qx_status values_of(qx_work *w, size_t number, double out[3])
{
    const double *x = w->data.frame.number[number].value;
    double *sorted;
    QX_NEW(w->cx, sorted, w->data.n);
    memcpy(sorted, x, w->data.n * sizeof *sorted);
    qsort(sorted, w->data.n, sizeof *sorted, by_size);
    out[0] = 0.0;
    for (size_t i = 0; i < w->data.n; i++) {
        out[0] += x[i] / (double)w->data.n;
    }
    out[1] = quantile(w->data.n, sorted, DECILE);
    out[2] = quantile(w->data.n, sorted, 1.0 - DECILE);
    return QX_OK;
}

/* ---- slopes ----------------------------------------------------------------------------- */

static qx_status one_slope(qx_work *w,
                           size_t number,
                           size_t factor,
                           size_t level,
                           qx_slope_line *out,
                           bool *made)
{
    qx_estimate e;
    double *row;
    QX_NEW(w->cx, row, w->design->p);
    qx_covariate_slope(w, number, factor, level, row, made);
    if (!*made) {
        return QX_OK;
    }
    QX_TRY(w->estimator.kind->contrast(w->cx, &w->estimator, row, 0.0, &e));
    const double scale = w->data.scale[number];
    const double half =
        e.df > 0.0 ? qx_t_q(w->alpha / 2.0, e.df, QX_UPPER) * e.se : (double)NAN;
    *out = (qx_slope_line){.estimate = e.estimate / scale,
                           .se = e.se / scale,
                           .df = e.df,
                           .lower = (e.estimate - half) / scale,
                           .upper = (e.estimate + half) / scale,
                           .p = qx_t_two_sided(e.estimate / e.se, e.df)};
    return QX_OK;
}

static qx_status name_level(qx_work *w, size_t factor, size_t level, qx_cell *out)
{
    const char **name, **text;
    QX_NEW_IN(w->cx, w->arena, name, 1);
    QX_NEW_IN(w->cx, w->arena, text, 1);
    *name = w->data.frame.factor[factor].name;
    *text = w->data.frame.factor[factor].level[level];
    *out = (qx_cell){1, name, text};
    return QX_OK;
}

/* One slope for all, or one for each level of each treatment that has its own. */
static qx_status list_slopes(qx_work *w,
                             size_t number,
                             size_t count,
                             const size_t factor[],
                             qx_covariate_line *out)
{
    qx_slope_line *list;
    size_t all = 1, made = 0;
    for (size_t i = 0; i < count; i++) {
        all += w->data.frame.factor[factor[i]].level_count;
    }
    if (w->estimator.kind->contrast == NULL) {
        return QX_OK; /* classes without order: a slope for each class, see coefficients */
    }
    QX_NEW_IN(w->cx, w->arena, list, all);
    bool possible = false;
    if (count == 0) {
        QX_TRY(one_slope(w, number, QX_NO_COLUMN, 0, &list[0], &possible));
        made += possible ? 1 : 0;
    }
    for (size_t i = 0; i < count; i++) {
        for (size_t l = 0; l < w->data.frame.factor[factor[i]].level_count; l++) {
            QX_TRY(one_slope(w, number, factor[i], l, &list[made], &possible));
            if (possible) {
                QX_TRY(name_level(w, factor[i], l, &list[made++].cell));
            }
        }
    }
    out->slope = list;
    out->slope_count = made;
    return QX_OK;
}

/* ---- differences away from the mean ----------------------------------------------------- */

static qx_status
family_of(qx_work *w, const qx_term *term, qx_cells *cells, qx_pair_family *out)
{
    size_t *member;
    QX_TRY(qx_cells_make(w, term->factor_count, term->factor, cells));
    QX_NEW(w->cx, member, cells->count);
    for (size_t i = 0; i < cells->count; i++) {
        member[i] = i;
    }
    *out = (qx_pair_family){.term = term->name,
                            .cells = cells,
                            .member_count = cells->count,
                            .member = member,
                            .named = 1,
                            .control = qx_control_level(w, term->factor[0]),
                            .unit = qx_replicate_unit(w, 1, term->factor)};
    return QX_OK;
}

/* Adds the differences of a factor's means, moved along their slopes by `step`. */
static qx_status
differences_at(qx_work *w, size_t number, const qx_term *term, double step, qx_array *out)
{
    qx_pair_family family;
    qx_cells cells;
    double *slope;
    bool possible;
    QX_NEW(w->cx, slope, w->design->p);
    QX_TRY(family_of(w, term, &cells, &family));
    for (size_t c = 0; c < cells.count; c++) {
        qx_covariate_slope(w, number, term->factor[0], cells.level[c], slope, &possible);
        if (!possible) {
            return QX_OK;
        }
        for (size_t j = 0; j < w->design->p; j++) {
            QX_AT(cells.row, j, c) += step * slope[j];
        }
    }
    return qx_family_compare(w, &family, out, NULL);
}

static const qx_term *term_of(const qx_work *w, size_t factor)
{
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        if (term->factor_count == 1 && term->factor[0] == factor &&
            term->number == QX_NO_COLUMN) {
            return term;
        }
    }
    return NULL;
}

static qx_status both_ends(qx_work *w,
                           size_t number,
                           size_t count,
                           const size_t factor[],
                           const double value[3],
                           qx_covariate_line *out)
{
    qx_array low = QX_ARRAY(w->arena, sizeof(qx_difference));
    qx_array high = QX_ARRAY(w->arena, sizeof(qx_difference));
    for (size_t i = 0; i < count; i++) {
        const qx_term *term = term_of(w, factor[i]);
        if (term != NULL) {
            QX_TRY(differences_at(w, number, term, value[1] - value[0], &low));
            QX_TRY(differences_at(w, number, term, value[2] - value[0], &high));
        }
    }
    out->at_low = low.items;
    out->at_high = high.items;
    out->end_count = low.count;
    return QX_OK;
}

/* Frame factors whose levels have slopes of their own in the model. */
static size_t factors_of(const qx_work *w, size_t number, size_t factor[])
{
    size_t count = 0;
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        if (term->number == number && term->factor_count == 1 &&
            w->design->term_df[t] > 0) {
            factor[count++] = term->factor[0];
        }
    }
    return count;
}

static bool in_model(const qx_work *w, size_t number)
{
    for (size_t t = 0; t < w->choice.term_count; t++) {
        if (w->choice.term[t].number == number && w->design->term_df[t] > 0) {
            return true;
        }
    }
    return false;
}

static qx_status one_covariate(qx_work *w, size_t c, qx_covariate_line *out)
{
    const qx_covariate *covariate = &w->protocol->covariate[c];
    const size_t number = w->data.covariate[c];
    size_t *factor;
    double value[3] = {NAN, NAN, NAN}; /* mean, low, high */
    QX_NEW(w->cx, factor, w->choice.term_count);
    QX_TRY(values_of(w, number, value));
    *out = (qx_covariate_line){.name = covariate->name,
                               .unit = covariate->unit,
                               .held = measured(w, number, value[0]),
                               .low = measured(w, number, value[1]),
                               .high = measured(w, number, value[2])};
    const size_t count = factors_of(w, number, factor);
    QX_TRY(list_slopes(w, number, count, factor, out));
    return both_ends(w, number, count, factor, value, out);
}

qx_status qx_slopes_of(qx_work *w)
{
    qx_covariate_line *list;
    size_t count = 0;
    QX_NEW_IN(w->cx, w->arena, list, w->protocol->covariate_count);
    for (size_t c = 0; c < w->protocol->covariate_count; c++) {
        qx_status status;
        const size_t number = w->data.covariate[c];
        if (number == QX_NO_COLUMN || !in_model(w, number)) {
            continue;
        }
        QX_SCRATCH(w->cx, status, one_covariate(w, c, &list[count]));
        QX_TRY(status);
        count++;
    }
    w->result->covariate = list;
    w->result->covariate_count = count;
    return QX_OK;
}
