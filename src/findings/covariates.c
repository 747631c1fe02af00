#include "findings/covariates.h"

#include <math.h>
#include <string.h>

/* Columns of a term before aliased ones are left out. */
static size_t columns_of(const qx_frame *frame, const qx_term *term)
{
    size_t columns = 1;
    for (size_t i = 0; i < term->factor_count; i++) {
        columns *= frame->factor[term->factor[i]].level_count - 1;
    }
    return columns;
}

/* Number of the first full column of a term; the intercept is column 0. */
static size_t first_of(const qx_design *d, size_t term)
{
    size_t first = 1;
    for (size_t t = 0; t < term; t++) {
        first += columns_of(d->frame, &d->term[t]);
    }
    return first;
}

/* Is `slope` the term of `term` (QX_NO_COLUMN: the intercept) with a covariate? */
static bool is_slope_of(const qx_design *d, size_t slope, size_t term)
{
    const qx_term *s = &d->term[slope];
    const size_t count = term == QX_NO_COLUMN ? 0 : d->term[term].factor_count;
    bool same = s->number != QX_NO_COLUMN && s->factor_count == count;
    for (size_t i = 0; same && i < count; i++) {
        same = s->factor[i] == d->term[term].factor[i];
    }
    return same;
}

void qx_covariate_row(const qx_work *w, size_t column, double row[])
{
    const qx_design *d = w->design;
    const size_t term = d->term_of[column];
    memset(row, 0, d->p * sizeof *row);
    row[column] = 1.0;
    if (term != QX_NO_COLUMN && d->term[term].number != QX_NO_COLUMN) {
        row[column] = 1.0 / w->data.scale[d->term[term].number];
        return;
    }
    const size_t inside = term == QX_NO_COLUMN ? 0 : d->kept[column] - first_of(d, term);
    for (size_t t = 0; t < d->term_count; t++) {
        if (!is_slope_of(d, t, term)) {
            continue;
        }
        const size_t full = first_of(d, t) + inside;
        const size_t number = d->term[t].number;
        for (size_t j = 0; j < d->p; j++) {
            if (d->kept[j] == full) {
                row[j] = -w->data.centre[number] / w->data.scale[number];
            }
        }
    }
}

/* Share of column `inside` of a slope term in the slope of one level. */
static double slope_share(
    const qx_design *d, const qx_term *s, size_t inside, size_t factor, size_t level)
{
    double share = 1.0;
    for (size_t i = 0; i < s->factor_count; i++) {
        const size_t levels = d->frame->factor[s->factor[i]].level_count;
        const size_t at = 1 + inside % (levels - 1);
        inside /= levels - 1;
        share *= s->factor[i] != factor ? 1.0 / (double)levels : at == level ? 1.0 : 0.0;
    }
    return share;
}

void qx_covariate_slope(const qx_work *w,
                        size_t number,
                        size_t factor,
                        size_t level,
                        double row[],
                        bool *estimable)
{
    const qx_design *d = w->design;
    memset(row, 0, d->p * sizeof *row);
    *estimable = false;
    for (size_t t = 0; t < d->term_count; t++) {
        const qx_term *s = &d->term[t];
        if (s->number != number) {
            continue;
        }
        const size_t columns = columns_of(d->frame, s), first = first_of(d, t);
        *estimable = d->term_df[t] == columns && (s->factor_count == 0 || *estimable);
        for (size_t j = 0; j < d->p; j++) {
            if (d->kept[j] >= first && d->kept[j] < first + columns) {
                row[j] = slope_share(d, s, d->kept[j] - first, factor, level);
            }
        }
        if (!*estimable) {
            return;
        }
    }
}

double qx_covariate_log_det(const qx_work *w)
{
    const qx_design *d = w->design;
    double sum = 0.0;
    for (size_t j = 0; j < d->p; j++) {
        const size_t term = d->term_of[j];
        if (term != QX_NO_COLUMN && d->term[term].number != QX_NO_COLUMN) {
            sum += 2.0 * log(w->data.scale[d->term[term].number]);
        }
    }
    return sum;
}
